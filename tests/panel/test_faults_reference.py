"""Faults against a published analysis of the same model: two imperfect tests, no gold standard.

Source: Joseph, L., Gyorkos, T. W., Coupal, L. (1995). Bayesian estimation of disease prevalence and the parameters of
diagnostic tests in the absence of a gold standard. American Journal of Epidemiology 141(3), 263-272: 162 people,
serology and stool examination for Strongyloides. Counts, prior laws and posterior medians with 95 % intervals are given
here from memory; the sampler below, written out step by step, confirms that they belong together.
"""

import numpy as np
import pytest

from evenhand.panel.faults import FaultPrior, TasterPrior, fit

# (serology, stool): people.
COUNTS = {(1, 1): 38, (1, 0): 87, (0, 1): 2, (0, 0): 35}
# Beta laws: sensitivity, then specificity.
SEROLOGY = (21.96, 5.49, 4.1, 1.76)
STOOL = (4.44, 13.31, 71.25, 3.75)
# Posterior median and 95 % interval, both tests together.
PUBLISHED = {
    "prevalence": (0.76, 0.52, 0.91),
    "serology sensitivity": (0.89, 0.80, 0.95),
    "serology specificity": (0.67, 0.36, 0.95),
    "stool sensitivity": (0.31, 0.22, 0.44),
    "stool specificity": (0.96, 0.91, 0.99),
}


def as_prior(a, b, c, d):
    return TasterPrior(
        sensitivity=a / (a + b), sensitivity_strength=a + b, false_alarm=d / (c + d), false_alarm_strength=c + d
    )


def fitted():
    heard, batch, taster = [], [], []
    for (serology, stool), people in COUNTS.items():
        for i in range(people):
            heard += [serology, stool]
            batch += [f"{serology}{stool}-{i}"] * 2
            taster += ["serology", "stool"]
    prior = FaultPrior(
        prevalence=0.5,
        prevalence_strength=2.0,
        repeat_correlation=0.0,
        tasters={("serology", "worm"): as_prior(*SEROLOGY), ("stool", "worm"): as_prior(*STOOL)},
    )
    result = fit(heard, batch, taster, ["worm"] * len(heard), prior=prior)
    assert result.converged
    (s1, s2), (f1, f2) = result.sensitivity[:, 0], result.false_alarm[:, 0]
    (d1, d2), (e1, e2) = result.sensitivity_sd[:, 0], result.false_alarm_sd[:, 0]
    mean = dict(zip(PUBLISHED, (result.prevalence[0], s1, 1 - f1, s2, 1 - f2), strict=True))
    sd = dict(zip(PUBLISHED, (result.prevalence_sd[0], d1, e1, d2, e2), strict=True))
    return mean, sd


def sampled():
    """Return draws from the same posterior by alternating truth and rates (Gibbs), plain arithmetic."""
    rng = np.random.default_rng(1)
    people = np.array(list(COUNTS.values()))
    yes = np.array(list(COUNTS)).T
    a, b, c, d = np.array([SEROLOGY, STOOL]).T
    pi, s, t = 0.5, np.array([0.8, 0.25]), np.array([0.7, 0.95])
    draws = []
    for _ in range(8000):
        ill = pi * np.prod(np.where(yes, s[:, None], 1 - s[:, None]), axis=0)
        well = (1 - pi) * np.prod(np.where(yes, 1 - t[:, None], t[:, None]), axis=0)
        z = rng.binomial(people, ill / (ill + well))
        pi = rng.beta(1 + z.sum(), 1 + (people - z).sum())
        s = rng.beta(a + yes @ z, b + (1 - yes) @ z)
        t = rng.beta(c + (1 - yes) @ (people - z), d + yes @ (people - z))
        draws.append([pi, s[0], t[0], s[1], t[1]])
    return np.array(draws[500:])


@pytest.mark.parametrize("name", PUBLISHED)
def test_estimates_agree_with_the_published_medians(name):
    mean, sd = fitted()
    median, low, high = PUBLISHED[name]
    assert mean[name] == pytest.approx(median, abs=0.02)
    assert sd[name] == pytest.approx((high - low) / (2 * 1.96), rel=0.25)


def test_the_published_figures_belong_to_these_counts_and_priors():
    low, middle, high = np.quantile(sampled(), [0.025, 0.5, 0.975], axis=0)
    for got, column in ((middle, 0), (low, 1), (high, 2)):
        assert got == pytest.approx([row[column] for row in PUBLISHED.values()], abs=0.04)
