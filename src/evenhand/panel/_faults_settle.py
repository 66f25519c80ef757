"""How many more reports it takes until a fault is settled: an exact walk over all that may still be heard.

References
----------
Wald, A. (1945). Sequential tests of statistical hypotheses. Annals of Mathematical Statistics 16(2), 117-186.
(Stopping when the odds leave a zone; here the walk is counted exactly instead of approximated.)
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import expit

from evenhand.errors import DesignError
from evenhand.words import say, say_many

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class CupsToSettle:
    """What more tasting would do to one fault in one batch.

    Attributes
    ----------
    expected
        Expected number of further reports until the probability leaves the undecided zone, counting a walk that is
        still undecided at `most` as `most`; so it is a lower bound when `p_undecided` is not small.
    p_release, p_hold, p_undecided
        Probability that the walk ends below `release_below`, above `hold_above`, or is still open after `most` reports.
    most
        Where the counting stops.
    settled_by
        (most + 1,) probability that it is settled after 0, 1, ... reports.
    sentence
        The same in words.
    """

    expected: float
    p_release: float
    p_hold: float
    p_undecided: float
    most: int
    settled_by: tuple[float, ...]
    sentence: str


def cups_to_settle(
    p: float,
    sensitivity: ArrayLike,
    false_alarm: ArrayLike,
    release_below: float = 0.05,
    hold_above: float = 0.8,
    *,
    most: int = 24,
    repeat_correlation: float = 0.2,
    heard_before: ArrayLike = 0,
    asked_before: ArrayLike = 0,
) -> CupsToSettle:
    """Count the further cups that a fault is expected to need before it can be called in or out.

    One cup here is one report: one taster, one cup. Tasters take turns in the order given; a single pair of rates means
    one taster who tastes cup after cup. Every sequence of answers is followed, and sequences with the same counts are
    joined, so the answer is exact for the stated rates.

    Parameters
    ----------
    p
        Present probability that the fault is in the batch, in [0, 1].
    sensitivity, false_alarm
        (m,) each taster's rates, strictly between 0 and 1; or one number each.
    release_below, hold_above
        The undecided zone is [release_below, hold_above].
    most
        Stop counting after so many reports (1 to 60).
    repeat_correlation
        Correlation between two reports of the same taster on the same batch, given the truth, in [0, 1).
    heard_before, asked_before
        (m,) reports that each taster has already given on this batch and fault (they are in `p` already; they matter
        because a taster's next report repeats them in part).

    Raises
    ------
    DesignError
        A probability or a count is out of range.
    """
    s, f, k0, n0 = np.broadcast_arrays(
        *(np.atleast_1d(np.asarray(x, dtype=float)) for x in (sensitivity, false_alarm, heard_before, asked_before))
    )
    if s.ndim != 1 or np.any(~((s > 0) & (s < 1) & (f > 0) & (f < 1))):
        raise DesignError(say("Sensitivity and false alarm must be lists of numbers between 0 and 1, one a taster."))
    if np.any(~((k0 >= 0) & (k0 <= n0))):
        raise DesignError(say("A taster cannot have heard a fault more often than was asked: check heard_before."))
    check_zone(p, release_below, hold_above, most)
    if not 0.0 <= repeat_correlation < 1.0:
        raise DesignError(
            say(
                "The repeat correlation must lie in [0, 1), not {repeat_correlation}.",
                repeat_correlation=repeat_correlation,
            )
        )
    weight = (1.0 - repeat_correlation) / repeat_correlation if repeat_correlation > 0.0 else np.inf
    concentration = np.full(s.shape, weight)
    return walk(p, s, f, release_below, hold_above, most, concentration, concentration, k0, n0)


def check_zone(p: float, release_below: float, hold_above: float, most: int) -> None:
    """Refuse a probability, a zone or a number of cups that cannot be."""
    if not 1 <= most <= 60:
        raise DesignError(say("Count between 1 and 60 further cups, not {most}.", most=most))
    if not 0.0 <= p <= 1.0:
        raise DesignError(say("The probability of the fault must lie in [0, 1], not {p}.", p=p))
    if not 0.0 < release_below < hold_above < 1.0:
        raise DesignError(
            say(
                "The undecided zone must satisfy 0 < release_below < hold_above < 1, not {release_below} and "
                "{hold_above}.",
                release_below=release_below,
                hold_above=hold_above,
            )
        )


def walk(
    p: float,
    sensitivity: Floats,
    false_alarm: Floats,
    release_below: float,
    hold_above: float,
    most: int,
    concentration_yes: Floats,
    concentration_no: Floats,
    heard_before: Floats,
    asked_before: Floats,
) -> CupsToSettle:
    """Follow every sequence of answers; concentrations (m,) say how alike a taster's reports are (inf: independent)."""
    m = len(sensitivity)
    if p < release_below or p > hold_above:
        return _sum_up(
            0.0, float(p < release_below), float(p > hold_above), [1.0] * (most + 1), m, release_below, hold_above
        )
    base = most + 2
    places = [base**i for i in range(m)] if base**m < 2**62 else None
    # A state is what each taster has newly heard, its probability, and the log odds of the fault there.
    heard = np.zeros((1, m), dtype=np.int64)
    mass = np.ones(1)
    odds = np.array([np.log(p) - np.log1p(-p)])
    low, high = np.log(release_below / (1 - release_below)), np.log(hold_above / (1 - hold_above))
    p_release = p_hold = expected = 0.0
    settled = [0.0]
    for cup in range(most):
        t, turn = cup % m, cup // m
        expected += float(mass.sum())
        k, n = heard_before[t] + heard[:, t], asked_before[t] + turn
        yes = _next_yes(sensitivity[t], concentration_yes[t], k, n)
        no = _next_yes(false_alarm[t], concentration_no[t], k, n)
        chance = expit(odds) * yes + expit(-odds) * no
        bump = np.zeros((1, m), dtype=np.int64)
        bump[0, t] = 1
        heard = np.concatenate([heard, heard + bump])
        odds = np.concatenate([odds + np.log1p(-yes) - np.log1p(-no), odds + np.log(yes) - np.log(no)])
        mass = np.concatenate([mass * (1.0 - chance), mass * chance])
        out_low, out_high = odds < low, odds > high
        p_release += float(mass[out_low].sum())
        p_hold += float(mass[out_high].sum())
        settled.append(p_release + p_hold)
        stay = ~(out_low | out_high)
        heard, odds, mass = heard[stay], odds[stay], mass[stay]
        if not len(mass):
            break
        keys = heard @ np.array(places, dtype=np.int64) if places else heard
        _, first, back = np.unique(keys, axis=0, return_index=True, return_inverse=True)
        mass = np.bincount(back.ravel(), mass).astype(np.float64)
        heard, odds = heard[first], odds[first]
    settled += [settled[-1]] * (most + 1 - len(settled))
    return _sum_up(expected, p_release, p_hold, settled, m, release_below, hold_above)


def _next_yes(rate: float, concentration: float, heard: Floats, asked: float) -> Floats:
    """Return the chance of a further yes after `heard` of `asked`: Beta-binomial, or the bare rate if independent."""
    if np.isinf(concentration):
        return np.full(np.shape(heard), rate)
    return np.asarray((rate * concentration + heard) / (concentration + asked), dtype=float)


def _sum_up(
    expected: float,
    p_release: float,
    p_hold: float,
    settled: Sequence[float],
    n_tasters: int,
    release_below: float,
    hold_above: float,
) -> CupsToSettle:
    most = len(settled) - 1
    p_open = max(0.0, 1.0 - settled[-1])
    half = next((i for i, share in enumerate(settled) if share >= 0.5), None)
    zone = say("below {low:.0%} or above {high:.0%}", low=release_below, high=hold_above)
    if expected == 0.0:
        sentence = say("The fault is settled as it stands: its probability is already {zone}.", zone=zone)
    elif p_open > 0.5:
        sentence = say_many(
            "Further cups from this taster would probably not settle it: the chance to come {zone} within {most} "
            "reports is {chance:.0%}; ask another taster, or look at colour and curve.",
            "Further cups from these {count} tasters would probably not settle it: the chance to come {zone} within "
            "{most} reports is {chance:.0%}; ask another taster, or look at colour and curve.",
            count=n_tasters,
            zone=zone,
            most=most,
            chance=1.0 - p_open,
        )
    elif p_open > 0.02:
        sentence = say(
            "At least {expected:.1f} further reports are expected to settle it ({zone}); half of all cases need no "
            "more than {half}.",
            expected=expected,
            zone=zone,
            half=half,
        )
    else:
        sentence = say(
            "About {expected:.1f} further reports are expected to settle it ({zone}); half of all cases need no more "
            "than {half}.",
            expected=expected,
            zone=zone,
            half=half,
        )
    return CupsToSettle(
        expected=expected,
        p_release=p_release,
        p_hold=p_hold,
        p_undecided=p_open,
        most=most,
        settled_by=tuple(settled),
        sentence=sentence,
    )
