"""What is assumed of faults and of tasters before anybody has tasted."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from evenhand.errors import DesignError
from evenhand.panel._faults_core import RateLaw
from evenhand.words import say

Kind = Literal["sensitivity", "false_alarm"]


@dataclass(frozen=True, slots=True, kw_only=True)
class TasterPrior:
    """What is known beforehand of one taster and one fault, for instance from last season; it replaces the panel's.

    Strengths are in reports: a mean of 0.8 with strength 20 weighs as much as 16 heard of 20.
    """

    sensitivity: float
    sensitivity_strength: float
    false_alarm: float
    false_alarm_strength: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultPrior:
    """What is assumed before anybody has tasted; all defaults are judgement, common practice, no source.

    Attributes
    ----------
    prevalence
        Share of batches with the fault, in (0, 1); one number for all faults, or a mapping by fault. See
        `split_prevalence` for a share of bad batches that is to be split over several faults.
    prevalence_strength
        What that share is worth, in batches.
    sensitivity, sensitivity_strength
        The panel's mean sensitivity, and how alike tasters are: one taster's rate is Beta around the panel's mean,
        worth this many reports. A small number lets a deaf taster be found with few reports.
    false_alarm, false_alarm_strength
        The same for reports of what is not there.
    pool_strength
        What the prior means of both rates are worth, in tasters.
    repeat_correlation
        Correlation between two reports of one taster on one batch, the truth given, in [0, 1). With 0.2 the reports on
        five cups of one batch teach as much of a taster as 5 / (1 + 4 * 0.2) = 2.8 reports on separate batches.
    tasters
        Priors of single tasters by (taster, fault).
    """

    prevalence: float | Mapping[str, float] = 0.05
    prevalence_strength: float = 20.0
    sensitivity: float = 0.7
    sensitivity_strength: float = 4.0
    false_alarm: float = 0.05
    false_alarm_strength: float = 20.0
    pool_strength: float = 10.0
    repeat_correlation: float = 0.2
    tasters: Mapping[tuple[str, str], TasterPrior] = field(default_factory=dict)


def split_prevalence(prior_bad: float, n_faults: int) -> float:
    """Return the prevalence of each of `n_faults` independent faults if `prior_bad` of all batches have one or more.

    Raises
    ------
    DesignError
        `prior_bad` is not in (0, 1) or there is no fault.
    """
    if not 0.0 < prior_bad < 1.0 or n_faults < 1:
        raise DesignError(say("Splitting a share of bad batches needs a share between 0 and 1 and one fault or more."))
    return float(1.0 - (1.0 - prior_bad) ** (1.0 / n_faults))


def rate_law(prior: FaultPrior, kind: Kind, tasters: Sequence[str], faults: Sequence[str]) -> RateLaw:
    """Lay one kind of rate out as arrays for the arithmetic."""
    own_mean = np.full((len(tasters), len(faults)), np.nan)
    own_strength = np.full((len(tasters), len(faults)), np.nan)
    for (one_taster, one_fault), law in prior.tasters.items():
        if one_taster in tasters and one_fault in faults:
            where = tasters.index(one_taster), faults.index(one_fault)
            own_mean[where] = getattr(law, kind)
            own_strength[where] = getattr(law, f"{kind}_strength")
    return RateLaw(
        mean=getattr(prior, kind),
        strength=getattr(prior, f"{kind}_strength"),
        pool_strength=prior.pool_strength,
        own_mean=own_mean.ravel(),
        own_strength=own_strength.ravel(),
    )


def prevalence_of(prior: FaultPrior, faults: Sequence[str]) -> NDArray[np.float64]:
    """Check the prior against the faults and return the prevalence of each, (faults,)."""
    if isinstance(prior.prevalence, Mapping):
        absent = [x for x in faults if x not in prior.prevalence]
        if absent:
            raise DesignError(
                say("The prior gives no prevalence for the fault '{fault}'; add it to the mapping.", fault=absent[0])
            )
        common = [prior.prevalence[x] for x in faults]
    else:
        common = [prior.prevalence] * len(faults)
    own = prior.tasters.values()
    means = [
        *common,
        prior.sensitivity,
        prior.false_alarm,
        *(x.sensitivity for x in own),
        *(x.false_alarm for x in own),
    ]
    strengths = [prior.prevalence_strength, prior.sensitivity_strength, prior.false_alarm_strength, prior.pool_strength]
    strengths += [x.sensitivity_strength for x in own] + [x.false_alarm_strength for x in own]
    if any(not 0.0 < x < 1.0 for x in means):
        raise DesignError(say("Every mean in the fault prior must lie strictly between 0 and 1."))
    if any(not 0.0 < x < np.inf for x in strengths):
        raise DesignError(say("Every strength in the fault prior must be above 0 and finite."))
    if not 0.0 <= prior.repeat_correlation < 1.0:
        raise DesignError(say("The repeat correlation in the fault prior must lie in [0, 1)."))
    return np.array(common, dtype=float)
