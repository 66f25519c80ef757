"""What is believed of a shop before its sheets, and how its attributes and coffees lend each other what they know.

All starting values are our own choice (no source): light beside a season of sheets, and there for the week when a shop
starts. Spreads of batches and coffees are counted in tolerances, all others in widths of the scale.
"""

from collections.abc import Mapping, Sequence

import numpy as np
from scipy.special import ndtri

from evenhand.panel import mixed
from evenhand.verdict.tables import Panel, Work

# Prior of each standard deviation: its median as a share of the scale, and the s.d. of its natural logarithm.
_SD_PRIORS = {
    "taster": (0.050, 0.8),
    "batch_taster": (0.030, 0.8),
    "pull": (0.025, 0.8),
    "residual": (0.070, 0.6),
}
_BATCH_LOG_SD = 0.6
# How far a coffee's mean lies from its target, in tolerances, where the shop's coffees cannot say; and what that is
# worth beside those that can, in coffees.
_COFFEE_SD, _COFFEE_SD_WEIGHT = 0.3, 2.0
_LEAST_COFFEE_SD = 0.05
# With this many attributes their spreads teach each other, against a prior worth so many attributes.
_ATTRIBUTES_TO_LEARN, _HELD = 3, 2.0
_LEAST_TOLD = 0.1  # what the sheets must tell of an attribute, as a share of what the prior tells


def batch_sd_in_tolerances(prior_bad: float, attributes: int) -> float:
    """Spread of batches about their coffee's target, in tolerances, that puts `prior_bad` of them out of tolerance.

    Attributes are taken as independent and centred on target. Between 0.05 and 5, so that a share next to 0 or to 1 is
    still a belief that sheets can change.

    Parameters
    ----------
    prior_bad
        Share of batches that are bad, between 0 and 1.
    attributes
        How many attributes have a target.
    """
    p_outside = -np.expm1(np.log1p(-prior_bad) / max(attributes, 1))
    return float(np.clip(-1.0 / ndtri(0.5 * max(p_outside, 1e-300)), 0.05, 5.0))


def first_priors(usual: float, panel: Panel) -> dict[str, tuple[float, float]]:
    """Priors before any sheet: median s.d. (the batches' in tolerances, others in scales) and s.d. of its logarithm."""
    # What coffees do not take of the spread about the targets is the batches'.
    about_target = batch_sd_in_tolerances(panel.bad_by_profile, panel.columns_of_a_coffee)
    of_batches = float(np.sqrt(max(about_target**2 - usual**2, 0.25 * about_target**2)))
    return _SD_PRIORS | {"batch": (of_batches, _BATCH_LOG_SD)}


def learn_priors(
    works: Sequence[Work], fits: Sequence[Sequence[mixed.Fit]], start: Mapping[str, tuple[float, float]]
) -> dict[str, tuple[float, float]]:
    """Priors that the shop's attributes lend each other: where their spreads agree, one attribute's learns from all.

    Each fit's log s.d. is taken as a normal belief; what the prior put into it is taken out again, which leaves what
    the sheets alone say of that attribute. The attributes' centre and spread then follow by expectation-maximisation,
    both held towards the prior as if by two further attributes.
    """
    doubts = [[np.diag(np.linalg.inv(fit.information)) for fit in attribute_fits] for attribute_fits in fits]
    learned = dict(start)
    for term, (median, spread) in start.items():
        before, prior_var = float(np.log(median)), spread**2
        found = [
            (fit.log_sd[fit.active.index(term)] - np.log(work.units(term)[a]), doubt[a][fit.active.index(term)])
            for work, attribute_fits, doubt in zip(works, fits, doubts, strict=True)
            for a, fit in enumerate(attribute_fits)
            if term in fit.active
        ]
        if len(found) < _ATTRIBUTES_TO_LEARN:
            continue
        mode, posterior_var = np.array(found).T
        precision = 1.0 / posterior_var - 1.0 / prior_var
        # Where the prior said nearly all there is, taking it out again leaves nothing but rounding.
        speaks = precision > _LEAST_TOLD / prior_var
        if np.count_nonzero(speaks) < _ATTRIBUTES_TO_LEARN:
            continue
        mode, posterior_var, precision = mode[speaks], posterior_var[speaks], precision[speaks]
        told = (mode / posterior_var - before / prior_var) / precision
        centre, between = before, prior_var
        for _ in range(200):
            var = 1.0 / (precision + 1.0 / between)
            own = var * (precision * told + centre / between)
            centre = (own.sum() + _HELD * before) / (len(own) + _HELD)
            between = (float(np.sum((own - centre) ** 2 + var)) + _HELD * prior_var) / (len(own) + _HELD)
        learned[term] = (float(np.exp(centre)), float(np.sqrt(between)))
    return learned


def coffee_sd(works: Sequence[Work], plain: Sequence[Sequence[mixed.Fit | None]]) -> float:
    """How far the shop's coffees lie from their targets, in tolerances, learned over its attributes by moments.

    A shift that all coffees share is the panel's, not theirs, and is left out.
    """
    total, freedom = _COFFEE_SD_WEIGHT * _COFFEE_SD**2, _COFFEE_SD_WEIGHT
    for work, fits in zip(works, plain, strict=True):
        for a, fit in enumerate(fits):
            if fit is None or len(fit.levels["coffee"]) != len(work.known):
                continue
            rows = np.flatnonzero(work.known[:, a])
            if len(rows) < 2:
                continue
            posterior = fit.posterior()
            found = np.array([posterior.new_batch(fit.levels["coffee"][row]) for row in rows])
            away = (found[:, 0] - work.coffee_mean[rows, a]) / work.unit[a]
            noise = np.maximum(found[:, 1] ** 2 - fit.variances["batch"], 0.0) / work.unit[a] ** 2
            total += float(np.sum((away - away.mean()) ** 2) - (1 - 1 / len(rows)) * noise.sum())
            freedom += len(rows) - 1
    return max(float(np.sqrt(max(total, 0.0) / freedom)), _LEAST_COFFEE_SD)
