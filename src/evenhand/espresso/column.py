"""A pull computed cell by cell: the bed as a column of cells through which the water moves, wetting stage included.

The column knows the same two pools as `kinetics` and may wet at another flow than it pours. Each step moves the
liquor by exactly one cell, so that advection smears nothing; between two moves every wet cell exchanges solubles with
its liquor by the exact solution of its three linear equations (Strang splitting, second order). At one steady flow the
exact plug-flow solution is known (`kinetics.extraction_pct`) and is the column's oracle.
"""

from dataclasses import dataclass

import numpy as np

from evenhand.errors import QuantityError
from evenhand.espresso._kinetics_model import Brew, filling_s, rate_factor
from evenhand.espresso._kinetics_plug_flow import FloatArray
from evenhand.espresso._kinetics_priors import Kinetics

CELLS = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnRun:
    """One computed pull.

    Attributes
    ----------
    time_s, cup_g, cup_solids_g, stream_pct
        From the first drip to the end, shape (steps,): seconds since the pump's start, beverage and dissolved solids
        in the cup, and the strength of the stream just then, % by mass.
    extraction_pct, strength_pct
        Of the whole cup: % of the dose, % by mass.
    left_share
        Share of the solubles still in the grounds of each cell at the end, from top to bottom, shape (cells,).
    held_solids_g
        Dissolved solids in the liquor that stays in the bed.
    lost_g
        Solubles that the arithmetic lost or made: 0 but for rounding.
    """

    time_s: FloatArray
    cup_g: FloatArray
    cup_solids_g: FloatArray
    stream_pct: FloatArray
    extraction_pct: float
    strength_pct: float
    left_share: FloatArray
    held_solids_g: float
    lost_g: float


def run_column(
    kinetics: Kinetics,
    brew: Brew,
    *,
    wetting_s: float | None = None,
    cells: int = CELLS,
) -> ColumnRun:
    """Compute a pull cell by cell.

    Parameters
    ----------
    kinetics
        Taken as exact; `KineticsFit.propagate` carries their uncertainty through this function too.
    brew
        The pull; its time runs from the pump's start to the stop.
    wetting_s
        Seconds until the first drip; the time that the mean flow takes to fill the bed where None is given.
    cells
        Number of cells, 2 or more.

    Raises
    ------
    QuantityError
        If the wetting takes no time or outlasts the pull, or there are too few cells.
    """
    wetting = _check(kinetics, brew, wetting_s, cells)
    held_g = kinetics.held_g_per_g * brew.dose_g
    cell_g = held_g / cells
    exchange = _Exchange(kinetics, brew, cells, cell_g)

    # Rows: fast pool, slow pool (g in each cell), strength (g/g). Columns: cells, top to bottom.
    state = np.empty((3, cells))
    state[0], state[1], state[2] = exchange.fast_g, exchange.slow_g, 0.0
    _wet(state, exchange.over(wetting / cells), exchange.over(wetting / cells / 2))

    pour_s = brew.time_s - wetting
    moves = brew.beverage_g / cell_g
    step_s = pour_s / moves
    whole = int(moves + 1e-9)
    # Between two moves one whole exchange: the half that ends a step and the half that begins the next.
    out = _pour(state, exchange.over(step_s), exchange.over(step_s / 2), whole)
    part = moves - whole
    if part < 1e-9:
        last = np.zeros(0)
        grams = cell_g * np.arange(whole + 1)
    else:
        # The last step moves less than a cell: each cell gives that part to the one below, and is mixed.
        state[:] = exchange.over(part * step_s / 2) @ state
        last = np.array([part * state[2, -1]])
        state[2, 1:] += part * (state[2, :-1] - state[2, 1:])
        state[2, 0] *= 1 - part
        state[:] = exchange.over(part * step_s / 2) @ state
        grams = np.append(cell_g * np.arange(whole + 1), brew.beverage_g)
    solids = np.concatenate([[0.0], np.cumsum(np.concatenate([out, last])) * cell_g])
    stream = np.gradient(solids, grams) if len(grams) > 2 else np.full(len(grams), solids[-1] / grams[-1])
    total_g = exchange.fast_g + exchange.slow_g
    held_solids_g = float(np.sum(state[2]) * cell_g)
    in_grounds = state[0] + state[1]
    return ColumnRun(
        time_s=np.asarray(wetting + pour_s * grams / brew.beverage_g, dtype=float),
        cup_g=np.asarray(grams, dtype=float),
        cup_solids_g=solids,
        stream_pct=100 * stream,
        extraction_pct=float(100 * solids[-1] / brew.dose_g),
        strength_pct=float(100 * solids[-1] / brew.beverage_g),
        left_share=in_grounds / total_g,
        held_solids_g=held_solids_g,
        lost_g=float(cells * total_g - np.sum(in_grounds) - held_solids_g - solids[-1]),
    )


def estimate_cell_error_points(
    kinetics: Kinetics,
    brew: Brew,
    *,
    wetting_s: float | None = None,
    cells: int = CELLS,
) -> float:
    """Estimate how far the number of cells moves the extraction, in points, from a run with half as many.

    Notes
    -----
    The scheme is of second order, so a third of the difference is what is left at `cells` (Richardson 1911).
    """
    runs = [
        run_column(kinetics, brew, wetting_s=wetting_s, cells=count).extraction_pct for count in (cells, cells // 2)
    ]
    return abs(runs[0] - runs[1]) / 3


def _check(kinetics: Kinetics, brew: Brew, wetting_s: float | None, cells: int) -> float:
    """Check the settings and give the wetting time."""
    if cells < 2:
        raise QuantityError(f"A column needs 2 cells or more, not {cells}.")
    wetting = filling_s(kinetics, brew) if wetting_s is None else wetting_s
    if not 0 < wetting < brew.time_s:
        raise QuantityError(
            f"The wetting must take more than 0 s and end before the pull does at {brew.time_s:g} s, not {wetting:g} s."
        )
    return wetting


class _Exchange:
    """The exchange between grounds and liquor in one cell, as a matrix over any span of time."""

    def __init__(self, kinetics: Kinetics, brew: Brew, cells: int, cell_g: float) -> None:
        factor = float(rate_factor(kinetics, brew.water_c, brew.size_ratio))
        fast, slow = kinetics.fast_per_s * factor, kinetics.slow_per_s * factor
        solubles_g = kinetics.soluble_pct / 100 * brew.dose_g / cells
        saturated = kinetics.saturated_pct / 100
        self.fast_g = kinetics.fast_share * solubles_g
        self.slow_g = (1 - kinetics.fast_share) * solubles_g
        back = np.array([fast * self.fast_g, slow * self.slow_g]) / saturated
        generator = np.array(
            [
                [-fast, 0.0, back[0]],
                [0.0, -slow, back[1]],
                [fast / cell_g, slow / cell_g, -np.sum(back) / cell_g],
            ]
        )
        # In balance between each pool and the liquor the generator is a symmetric matrix seen through a diagonal one,
        # so that its eigenvalues are real and its exponential is safe.
        scale = np.sqrt(np.array([self.fast_g / saturated, self.slow_g / saturated, 1 / cell_g]))
        symmetric = generator * scale / scale[:, None]
        self._values, vectors = np.linalg.eigh(symmetric)
        self._left, self._right = scale[:, None] * vectors, vectors.T / scale

    def over(self, span_s: float) -> FloatArray:
        """Give the matrix that carries a cell's state over a span of seconds."""
        return np.ascontiguousarray((self._left * np.exp(self._values * span_s)) @ self._right)


def _wet(state: FloatArray, full: FloatArray, half: FloatArray) -> None:
    """Let the front run through the dry bed, one cell a move; behind it stands liquor, before it nothing."""
    cells = state.shape[1]
    # While it fills, a cell is in touch for half a move on average; with the half that begins the next move that
    # makes a whole one, as in the cells above it.
    for wet in range(1, cells):
        state[:, :wet] = full @ state[:, :wet]
        state[2, 1 : wet + 1] = state[2, :wet]
        state[2, 0] = 0.0
    state[:] = half @ state


def _pour(state: FloatArray, full: FloatArray, half: FloatArray, moves: int) -> FloatArray:
    """Move the liquor `moves` times; give the strength of what leaves with each move, shape (moves,)."""
    out = np.empty(moves)
    if moves == 0:
        return out
    moved = np.empty_like(state)
    # Views are made once: a step is then three calls, which is what keeps 200 cells fast.
    pools, pools_after, below, above = state[:2], moved[:2], state[2, 1:], moved[2, :-1]
    step = half
    for move in range(moves):
        np.matmul(step, state, out=moved)
        out[move] = moved[2, -1]
        pools[:] = pools_after
        below[:] = above
        state[2, 0] = 0.0
        step = full
    state[:] = half @ state
    return out
