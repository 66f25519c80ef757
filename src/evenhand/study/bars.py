"""The bars that the verdicts are held against, and whether each was met, with the figures."""

from collections.abc import Sequence
from dataclasses import dataclass

from evenhand.study.characteristics import Characteristics, Estimate

OWN_WORLD = "own"


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar in one world: what was asked, what was seen, and whether it was met."""

    world: str
    asked: str
    seen: str
    met: bool


def hold(results: Sequence[Characteristics]) -> tuple[Bar, ...]:
    """Hold every world against its bars.

    Parameters
    ----------
    results
        One for each world. The model's own world must cover 88 to 92 %, any other above 80 %; everywhere the
        calibration error of single attributes and of whole batches is to stay under 0.03, the cost at equal cups at
        half of naive averaging's or less, and the cups at an equal error at 60 % of naive averaging's or less.

    Returns
    -------
    tuple of Bar
        A figure counts as it is, without its Monte Carlo error taken off in our favour.
    """
    found = []
    for one in results:
        if one.world == OWN_WORLD:
            found.append(_bar(one, "coverage 88 to 92 %", one.coverage, 0.88 <= one.coverage.value <= 0.92, "%"))
        else:
            found.append(_bar(one, "coverage above 80 %", one.coverage, one.coverage.value > 0.80, "%"))
        for what, error in (
            ("attributes", one.calibration_within),
            ("batches", one.calibration_good),
            ("batches, tasting again", one.calibration_adaptive),
        ):
            found.append(_bar(one, f"calibration error of {what} under 0.03", error, error.value < 0.03))
        found.append(_bar(one, "cost at most half of naive", one.cost_ratio, one.cost_ratio.value <= 0.5))
        bar = _bar(one, "cups at most 60 % of naive", one.cups_ratio, one.cups_ratio.value <= 0.6)
        if not one.naive_gets_there:
            bar = Bar(bar.world, bar.asked, f"{bar.seen} or less: naive never got there", bar.met)
        found.append(bar)
    return tuple(found)


def _bar(one: Characteristics, asked: str, seen: Estimate, met: bool, unit: str = "") -> Bar:
    if unit == "%":
        return Bar(one.world, asked, f"{100 * seen.value:.1f} ± {100 * seen.error:.1f} %", met)
    return Bar(one.world, asked, f"{seen.value:.3f} ± {seen.error:.3f}", met)
