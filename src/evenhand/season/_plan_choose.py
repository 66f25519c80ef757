"""Chooses the rows, ways and tasters whose worth less price is largest within time, palates and money.

A knapsack with several ways a row and an assignment of tasters: an integer programme, solved exactly.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from evenhand.season._plan_rows import Palate, Row

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Choice:
    """The best choice: by row the number of its way and its tasters, and the worth less price of all of it."""

    taken: dict[int, tuple[int, tuple[int, ...]]]
    net: float


@dataclass(frozen=True, slots=True)
class Programme:
    """The integer programme of one week: what is gained, the limits, and where each variable belongs."""

    gain: Array  # of each way, and 0 for each assignment
    ways: list[tuple[int, int]]  # row, way
    parts: list[tuple[int, int]]  # number in `ways`, taster
    limits: Any  # scipy.optimize.LinearConstraint
    rows: Sequence[Row]

    def solve(self, forced: frozenset[int] = frozenset(), without: frozenset[int] = frozenset()) -> Choice | None:
        """Find the best choice with some rows forced in and some left out; None where there is none."""
        from scipy.optimize import Bounds, LinearConstraint, milp

        size = len(self.ways) + len(self.parts)
        limits = [self.limits]
        forced = (forced | {i for i, row in enumerate(self.rows) if row.must}) - without
        if forced:
            matrix = np.zeros((len(forced), size))
            for line, number in enumerate(sorted(forced)):
                matrix[line, [w for w, (row, _) in enumerate(self.ways) if row == number]] = 1.0
            limits.append(LinearConstraint(matrix, lb=1.0, ub=1.0))
        upper = np.ones(size)
        upper[[w for w, (row, _) in enumerate(self.ways) if row in without]] = 0.0
        found = milp(
            -self.gain,
            constraints=limits,
            integrality=np.ones(size),
            bounds=Bounds(0.0, upper),
            options={"mip_rel_gap": 0.0},
        )
        if found.x is None:
            return None
        chosen = np.flatnonzero(np.round(found.x) == 1)
        at = {int(w): self.ways[w] for w in chosen if w < len(self.ways)}
        tasters: dict[int, list[int]] = {w: [] for w in at}
        for part in chosen[chosen >= len(self.ways)]:
            way, taster = self.parts[part - len(self.ways)]
            if way in tasters:
                tasters[way].append(taster)
        return Choice(
            {row: (way, tuple(tasters[w])) for w, (row, way) in at.items()},
            float(sum(self.gain[w] for w in at)),
        )


def set_up(rows: Sequence[Row], palates: Sequence[Palate], money: float, bench_minutes: float) -> Programme:
    """Write a week down as an integer programme.

    One variable for each way of each row (taken or not), and one for each taster who may have a part in it.
    """
    from scipy.optimize import LinearConstraint
    from scipy.sparse import coo_array

    ways = [(i, j) for i, row in enumerate(rows) for j in range(len(row.ways))]
    parts = [
        (w, t)
        for w, (i, _) in enumerate(ways)
        for t, palate in enumerate(palates)
        if rows[i].who is None or palate.name in (rows[i].who or ())
    ]
    of_way = [rows[i].ways[j] for i, j in ways]
    entries: list[tuple[int, int, float]] = []
    low: list[float] = []
    high: list[float] = []

    def limit(terms: list[tuple[int, float]], least: float, most: float) -> None:
        entries.extend((len(low), column, value) for column, value in terms)
        low.append(least)
        high.append(most)

    start = len(ways)
    for i in range(len(rows)):  # at most one way a row
        limit([(w, 1.0) for w, (row, _) in enumerate(ways) if row == i], 0.0, 1.0)
    for w, way in enumerate(of_way):  # as many tasters as the way asks for, and none if it is not taken
        mine = [(start + p, 1.0) for p, (of, _) in enumerate(parts) if of == w]
        limit([*mine, (w, -float(way.tasters))], 0.0, 0.0)
    for p, (w, _) in enumerate(parts):  # follows from the above in whole numbers; it tightens the bound between them
        limit([(start + p, 1.0), (w, -1.0)], -np.inf, 0.0)
    for t, palate in enumerate(palates):
        theirs = [(start + p, of_way[w]) for p, (w, taster) in enumerate(parts) if taster == t]
        limit([(column, float(way.cups)) for column, way in theirs], -np.inf, palate.cups)
        limit([(column, float(way.minutes)) for column, way in theirs], -np.inf, palate.minutes)
    limit([(w, way.price) for w, way in enumerate(of_way)], -np.inf, money)
    limit([(w, way.bench_minutes) for w, way in enumerate(of_way)], -np.inf, bench_minutes)
    lines, columns, values = zip(*entries, strict=True)
    matrix = coo_array((values, (lines, columns)), shape=(len(low), start + len(parts))).tocsr()
    gain = np.concatenate([[way.net for way in of_way], np.zeros(len(parts))])
    return Programme(gain, ways, parts, LinearConstraint(matrix, lb=np.array(low), ub=np.array(high)), rows)
