"""How many batches pass until a chart signals: the mean run length, by integral equation or Markov chain.

Run lengths are told in usual batches, with centre and spread taken as known, from a start at the centre.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from evenhand.errors import DesignError, QuantityError
from evenhand.words import say

Floats = NDArray[np.float64]

_NODES = 80


def run_length_of_individuals(width: float = 3.0, shift: float = 0.0) -> float:
    """Mean run length of a chart of single batches after a shift of the mean, in standard deviations."""
    return float(1.0 / (ndtr(-width - shift) + ndtr(-width + shift)))


def run_length_of_ewma(smoothing: float = 0.2, width: float = 2.859, shift: float = 0.0) -> float:
    """Mean run length of an EWMA chart with steady limits.

    Parameters
    ----------
    smoothing, width
        As in `ewma`.
    shift
        Shift of the mean from the first batch on, in standard deviations of a batch.

    Raises
    ------
    QuantityError
        If the smoothing is not above 0 and at most 1, or the width is not positive.

    References
    ----------
    Crowder, S. V. (1987). A simple method for studying run-length distributions of exponentially weighted moving
    average charts. Technometrics 29(4), 401-407 (the integral equation).
    """
    if not 0 < smoothing <= 1 or width <= 0:
        raise QuantityError(say("The smoothing lies above 0 and at most at 1, and the width is positive."))
    limit = width * np.sqrt(smoothing / (2.0 - smoothing))
    nodes, weight = np.polynomial.legendre.leggauss(_NODES)
    y, weight = limit * nodes, limit * weight

    def step(start: Floats) -> Floats:
        reached = (y[None, :] - (1.0 - smoothing) * start[:, None]) / smoothing
        return np.asarray(_density(reached - shift) / smoothing * weight)

    lengths = np.linalg.solve(np.eye(_NODES) - step(y), np.ones(_NODES))
    return float(1.0 + (step(np.zeros(1)) @ lengths)[0])


def run_length_of_cusum(allowance: float = 0.5, decision: float = 5.0, shift: float = 0.0) -> float:
    """Mean run length of a two-sided CUSUM chart that starts at 0.

    Parameters
    ----------
    allowance, decision
        As in `cusum`.
    shift
        Shift of the mean from the first batch on, in standard deviations of a batch.

    Raises
    ------
    QuantityError
        If the allowance is negative or the decision limit is not positive.

    References
    ----------
    Page, E. S. (1954). Biometrika 41, 100-115 (the integral equation of one side). Lucas, J. M., and Crosier, R. B.
    (1982). Technometrics 24(3), 199-205. Two sides: 1 / ARL = 1 / ARL of rises + 1 / ARL of falls.
    """
    if allowance < 0 or decision <= 0:
        raise QuantityError(say("The allowance is 0 or more and the decision limit is positive."))
    return 1.0 / (1.0 / _one_sided(allowance, decision, shift) + 1.0 / _one_sided(allowance, decision, -shift))


def _one_sided(allowance: float, decision: float, shift: float) -> float:
    nodes, weight = np.polynomial.legendre.leggauss(_NODES)
    y = np.concatenate([[0.0], 0.5 * decision * (nodes + 1.0)])
    move = y[None, :] - y[:, None] + allowance - shift
    kernel = _density(move) * np.concatenate([[0.0], 0.5 * decision * weight])
    # All that would fall below 0 comes to rest at 0.
    kernel[:, 0] = ndtr(allowance - shift - y)
    return float(np.linalg.solve(np.eye(_NODES + 1) - kernel, np.ones(_NODES + 1))[0])


def run_length_of_rules(rules: Sequence[str], shift: float = 0.0) -> float:
    """Mean run length of a chart of single batches under a set of run rules.

    Parameters
    ----------
    rules
        Any of beyond, two_of_three, four_of_five, eight_on_one_side and nine_on_one_side. The other rules look at more
        than zones, and have no short chain.
    shift
        Shift of the mean from the first batch on, in standard deviations.

    Raises
    ------
    DesignError
        If there is no rule, or one that is not in the list above.

    References
    ----------
    Champ, C. W., and Woodall, W. H. (1987). Exact results for Shewhart control charts with supplementary runs rules.
    Technometrics 29(4), 393-399.
    """
    unknown = sorted(set(rules) - set(_CHAIN_RULES))
    if unknown or not rules:
        raise DesignError(
            say(
                "Run lengths are known for sets of {rules}; not for {unknown}.",
                rules=", ".join(_CHAIN_RULES),
                unknown=unknown or say("none"),
            )
        )
    cuts = np.array([-np.inf, -3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0, np.inf])
    chance = np.diff(ndtr(cuts - shift))
    number: dict[_State, int] = {_START: 0}
    rows: list[list[tuple[int, float]]] = []
    waiting = [_START]
    # New states are appended while the list is walked, until every state that can be reached has its row.
    for state in waiting:
        row = []
        for zone in range(8):
            after = _after(state, zone, frozenset(rules))
            if after is None:
                continue
            if after not in number:
                number[after] = len(number)
                waiting.append(after)
            row.append((number[after], float(chance[zone])))
        rows.append(row)
    leave = np.eye(len(rows))
    for i, row in enumerate(rows):
        for j, probability in row:
            leave[i, j] -= probability
    return float(np.linalg.solve(leave, np.ones(len(rows)))[0])


_CHAIN_RULES = ("beyond", "two_of_three", "four_of_five", "eight_on_one_side", "nine_on_one_side")
# For falls and for rises: which of the last two lay beyond two, which of the last four beyond one, and the run so far.
_Side = tuple[tuple[bool, ...], tuple[bool, ...], int]
_State = tuple[_Side, _Side]
_QUIET: _Side = ((False,) * 2, (False,) * 4, 0)
_START: _State = (_QUIET, _QUIET)


def _after(state: _State, zone: int, rules: frozenset[str]) -> _State | None:
    """Return the state after a batch in a zone (0 lowest, 7 highest), or None where a rule signals."""
    falls = _after_side(state[0], 3 - zone, rules)
    rises = _after_side(state[1], zone - 4, rules)
    return None if falls is None or rises is None else (falls, rises)


def _after_side(side: _Side, out: int, rules: frozenset[str]) -> _Side | None:
    """Follow one side; `out` is how many whole standard deviations the batch lies out, negative on the other side."""
    two, one, run = side
    run = run + 1 if out >= 0 else 0
    far, near = out >= 2, out >= 1
    longest = 8 if "eight_on_one_side" in rules else 9 if "nine_on_one_side" in rules else 0
    if (
        ("beyond" in rules and out >= 3)
        or ("two_of_three" in rules and far and any(two))
        or ("four_of_five" in rules and near and sum(one) >= 3)
        or (longest and run >= longest)
    ):
        return None
    return (
        (*two[1:], far) if "two_of_three" in rules else two,
        (*one[1:], near) if "four_of_five" in rules else one,
        run if longest else 0,
    )


def _density(z: Floats) -> Floats:
    return np.asarray(np.exp(-0.5 * z**2) / np.sqrt(2.0 * np.pi))
