"""The lines of lots against the published random-slope fit of the sleep study, and against a library run beside it.

Source: Bates, Maechler, Bolker and Walker (2015), "Fitting linear mixed-effects models using lme4", Journal of
Statistical Software 67(1): the model of Reaction with uncorrelated intercept and Days by Subject, on the data of
Belenky et al. (2003). Its printed output, from memory: REML criterion 1743.7; standard deviations 25.051, 5.988 and
25.565; intercept 251.405, Days 10.467 with standard error 1.560. The data come with the library mixedlm.
"""

import warnings

import numpy as np
import pytest

from evenhand.season._ageing_cells import lines_of, ln_evidence_of

SPREAD, SCATTER = np.array([25.051, 5.988]), 25.565
FLAT = 1e7  # a prior so wide that it says nothing


@pytest.fixture(scope="module")
def sleep():
    import mixedlm

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        data = mixedlm.load_sleepstudy()
    y, days = data.Reaction.to_numpy(float), data.Days.to_numpy(float)
    subjects, member = np.unique(data.Subject.astype(str).to_numpy(), return_inverse=True)
    assert (y.size, subjects.size) == (180, 18)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fitted = mixedlm.lmer("Reaction ~ Days + (1|Subject) + (0+Days|Subject)", data)
    return y, days, member, fitted


def sums_of(y, days, member, scatter):
    weight = np.full(y.size, scatter**-2)
    is_of = (member[:, None] == np.arange(member.max() + 1)).astype(float)
    sums = [(part @ is_of)[None, None] for part in (weight, weight * days, weight * days**2, weight * y)]
    return [*sums, (weight * y * days @ is_of)[None, None]], np.array([[(weight * y**2 - np.log(weight)).sum()]])


def criterion(y, days, member, spread, scatter):
    sums, constant = sums_of(y, days, member, scatter)
    return -2.0 * float(ln_evidence_of(sums, constant, spread, FLAT)[0, 0]) + (y.size - 2) * np.log(2 * np.pi)


def test_evidence_is_the_published_reml_criterion(sleep):
    y, days, member, fitted = sleep
    centred = y - y.mean()
    at_best = criterion(centred, days, member, SPREAD, SCATTER)
    assert at_best == pytest.approx(1743.7, abs=0.05)
    assert at_best == pytest.approx(-2.0 * float(fitted.logLik()), abs=1e-3)
    for factor in (0.9, 1.1):  # and it is at its least there
        assert criterion(centred, days, member, SPREAD * [factor, 1], SCATTER) > at_best
        assert criterion(centred, days, member, SPREAD * [1, factor], SCATTER) > at_best
        assert criterion(centred, days, member, SPREAD, SCATTER * factor) > at_best


def test_common_line_is_the_published_one(sleep):
    y, days, member, _ = sleep
    sums, _ = sums_of(y - y.mean(), days, member, SCATTER)
    mean, _, variance = lines_of([part[0] for part in sums], SPREAD[None], FLAT)
    assert mean[0, -1, 0] + y.mean() == pytest.approx(251.405, abs=5e-4)
    assert mean[0, -1, 1] == pytest.approx(10.467, abs=5e-4)
    assert np.sqrt(variance[0]) == pytest.approx(1.560, abs=5e-4)


def test_line_of_every_subject_is_that_of_the_library(sleep):
    y, days, member, fitted = sleep
    sums, _ = sums_of(y - y.mean(), days, member, SCATTER)
    mean, _, _ = lines_of([part[0] for part in sums], SPREAD[None], FLAT)
    coefficients = fitted.coef()
    table = coefficients["Subject"] if isinstance(coefficients, dict) and "Subject" in coefficients else coefficients
    assert mean[0, :-1, 0] + y.mean() == pytest.approx(np.asarray(table["(Intercept)"], float), abs=0.02)
    assert mean[0, :-1, 1] == pytest.approx(np.asarray(table["Days"], float), abs=0.005)
