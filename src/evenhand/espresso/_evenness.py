"""Whether a finer grind still extracts more and pours as steadily; where not, the flow is read as uneven."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenhand.errors import DesignError
from evenhand.units import Measured
from evenhand.words import join, say

FloatArray = NDArray[np.float64]

# Common practice, no source: said aloud only when the odds are about forty to one, since two signs are looked at.
SURE = 0.975
_LEAST_FREEDOM = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Evenness:
    """What grind does to extraction and to scatter in a shop's pulls; None where the pulls cannot tell.

    Attributes
    ----------
    extraction_per_step
        Points of extraction gained by one step finer, at equal ratio.
    p_finer_lowers
        Probability that one step finer lowers extraction.
    scatter_ratio
        Spread of ln time on the finer settings over that on the coarser ones.
    p_finer_scatters
        Probability that the finer settings scatter more.
    """

    extraction_per_step: Measured | None
    p_finer_lowers: float | None
    scatter_ratio: float | None
    p_finer_scatters: float | None

    @property
    def uneven(self) -> bool:
        """Whether either sign is sure enough to be read as uneven flow."""
        return any(p is not None and p >= SURE for p in (self.p_finer_lowers, self.p_finer_scatters))

    def describe(self) -> str:
        """Say in words what was read, or nothing where the flow gives no sign of being uneven."""
        signs: list[str] = []
        if self.p_finer_lowers is not None and self.p_finer_lowers >= SURE and self.extraction_per_step is not None:
            signs.append(
                say(
                    "a step finer lowered extraction by {lost:.1f} points (P = {p:.2f})",
                    lost=-self.extraction_per_step.value,
                    p=self.p_finer_lowers,
                )
            )
        if self.p_finer_scatters is not None and self.p_finer_scatters >= SURE and self.scatter_ratio is not None:
            signs.append(
                say("the finer settings scattered {ratio:.1f} times as much in time", ratio=self.scatter_ratio)
            )
        if not signs:
            return ""
        return say(
            "Uneven flow is likely: {signs}. A finer grind should extract more and pour as steadily; where it does "
            "not, part of the bed is passed by (Cameron et al. 2020, Matter 2(3) 631). Go no finer.",
            signs=join(signs, " and "),
        )


def read_evenness(
    *, fineness: ArrayLike, extraction_pct: ArrayLike, log_ratio: ArrayLike, log_time: ArrayLike, group: ArrayLike,
    cell: ArrayLike,
) -> Evenness:  # fmt: skip
    """Read from many pulls whether finer still means more extracted and no more scatter.

    Extraction is compared between the means of cells (a batch at one setting), since the pulls of a batch share its
    roast: its pulls are not so many witnesses. Scatter is compared within cells.

    Parameters
    ----------
    fineness
        Grind in steps, higher is finer, shape (pulls,).
    extraction_pct
        Extraction yield, %, NaN where not measured, shape (pulls,).
    log_ratio
        ln of the pull's ratio over the recipe's, shape (pulls,).
    log_time
        ln of the time, less what dose, beverage mass and pressure explain where that is known, shape (pulls,).
    group
        What shares a level of extraction and one sense of the settings, such as the coffee, shape (pulls,).
    cell
        What was pulled alike, such as the batch; cells are split by fineness as well, shape (pulls,).

    Raises
    ------
    DesignError
        If the arrays are not of one length.

    References
    ----------
    Cameron et al. (2020), Systematically improving espresso: insights from mathematical modeling and experiment,
    Matter 2(3) 631: below some grind the extraction falls and the shots scatter, which they put down to uneven flow.
    """
    fine = np.asarray(fineness, dtype=float)
    arrays = [np.asarray(a, dtype=float) for a in (extraction_pct, log_ratio, log_time)]
    labels = [np.asarray(a) for a in (group, cell)]
    if any(len(a) != len(fine) for a in [*arrays, *labels]):
        raise DesignError(say("Fineness, extraction, ratio, time, group and cell must have one entry a pull each."))
    if not len(fine):
        return Evenness(extraction_per_step=None, p_finer_lowers=None, scatter_ratio=None, p_finer_scatters=None)
    groups = np.unique(labels[0], return_inverse=True)[1]
    codes = [groups, *(np.unique(values, return_inverse=True)[1] for values in (labels[1], fine))]
    cells = np.unique(np.column_stack(codes), axis=0, return_inverse=True)[1].reshape(-1)
    slope, p_lowers = _extraction_slope(fine, arrays[0], arrays[1], groups, cells)
    ratio, p_scatters = _scatter(fine, arrays[2], groups, cells)
    return Evenness(
        extraction_per_step=slope, p_finer_lowers=p_lowers, scatter_ratio=ratio, p_finer_scatters=p_scatters
    )


def _means(values: FloatArray, index: NDArray[np.intp]) -> FloatArray:
    return np.asarray(np.bincount(index, values) / np.bincount(index), dtype=float)


def _extraction_slope(
    fine: FloatArray, extraction: FloatArray, log_ratio: FloatArray, groups: NDArray[np.intp], cells: NDArray[np.intp]
) -> tuple[Measured | None, float | None]:
    from scipy.special import stdtr

    read = np.isfinite(extraction)
    if not np.any(read):
        return None, None
    cell = np.unique(cells[read], return_inverse=True)[1]
    of_group = np.unique(np.rint(_means(groups[read].astype(float), cell)), return_inverse=True)[1]
    level = np.eye(of_group.max() + 1)[of_group]
    design = np.column_stack([_means(fine[read], cell), _means(log_ratio[read], cell), level])
    y = _means(extraction[read], cell)
    free = len(y) - np.linalg.matrix_rank(design)
    # The slope must be told by the cells: its column may not be made of the others.
    if free < _LEAST_FREEDOM or np.linalg.matrix_rank(design) == np.linalg.matrix_rank(design[:, 1:]):
        return None, None
    inverse = np.linalg.pinv(design)
    left = y - design @ (inverse @ y)
    sd = float(np.sqrt(left @ left / free * (inverse @ inverse.T)[0, 0]))
    slope = float(inverse[0] @ y)
    if sd == 0:
        return Measured(slope), float(slope < 0)
    return Measured(slope, sd), float(stdtr(free, -slope / sd))


def _scatter(
    fine: FloatArray, log_time: FloatArray, groups: NDArray[np.intp], cells: NDArray[np.intp]
) -> tuple[float | None, float | None]:
    from scipy.special import fdtr

    left = log_time - _means(log_time, cells)[cells]
    squares, count = np.bincount(cells, left**2), np.bincount(cells)
    at, of_group = _means(fine, cells), np.rint(_means(groups.astype(float), cells)).astype(int)
    # A group's middle setting belongs to neither side: only clearly finer is set against clearly coarser.
    middle = np.array([np.median(at[of_group == g]) for g in range(groups.max() + 1)])[of_group]
    finer, coarser = at > middle + 1e-9, at < middle - 1e-9
    fine_squares, coarse_squares = float(squares[finer].sum()), float(squares[coarser].sum())
    fine_free, coarse_free = int((count[finer] - 1).sum()), int((count[coarser] - 1).sum())
    if min(fine_free, coarse_free) < _LEAST_FREEDOM or coarse_squares == 0:
        return None, None
    ratio = (fine_squares / fine_free) / (coarse_squares / coarse_free)
    return float(ratio**0.5), float(fdtr(fine_free, coarse_free, ratio))
