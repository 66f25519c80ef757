"""Codes the labels of a tasting table and orders its rows, so that batches with the same incidence lie side by side.

The rows of one batch covary only through which of them share a taster and which share a pull. Batches with the same
sharing have the same covariance matrix, whoever tasted: that is their *pattern*. Rows are sorted so that a group of
batches of one pattern is one contiguous slice that can be seen as an array of shape (batches, rows a batch).
"""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from evenhand.errors import DesignError
from evenhand.words import say

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]
Labels = Sequence[Hashable] | npt.NDArray[Any]

TERMS: Final = ("batch", "taster", "batch_taster", "pull", "residual")
"""The variance components, in the order of every array of variances."""

_SMALL_PATTERN: Final = 200  # rows a batch, above which sharing a covariance matrix is too rare to look for
_SHARED_BY: Final = 4  # batches that must share a pattern before it is treated as one


@dataclass(frozen=True, slots=True)
class Coded:
    """The labels of all rows as whole numbers, with the sorted labels that they stand for.

    `pull` is -1 everywhere when no pulls were given; otherwise its numbers stand for (batch, pull) pairs.
    """

    batch: Ints
    taster: Ints
    pull: Ints
    coffee: Ints
    batches: tuple[Hashable, ...]
    tasters: tuple[Hashable, ...]
    pulls: tuple[tuple[Hashable, Hashable], ...]
    coffees: tuple[Hashable, ...]


@dataclass(frozen=True, slots=True)
class Group:
    """A slice of sorted rows: `batches` batches of `rows` rows each, starting at row `start`.

    `patterned` says that all batches share one pattern; otherwise they share only their number of rows and `tasters`,
    the number of different tasters in each.
    """

    start: int
    batches: int
    rows: int
    tasters: int
    patterned: bool

    @property
    def stop(self) -> int:
        """The row after the last one."""
        return self.start + self.batches * self.rows


@dataclass(frozen=True)
class Design:
    """The rows that one or more attributes were scored on, sorted by pattern, and the levels that occur in them.

    Arrays over rows have shape (n,) in sorted order; `order` leads back to the rows as they were given. `cell` numbers
    the batch x taster pairs, `pull` the pulls (-1 without pulls), `place` the taster's place within its batch.
    `covariates` (n, k) holds only the columns that the data can tell apart, `kept` says which those are.
    """

    order: Ints
    batch: Ints
    taster: Ints
    cell: Ints
    pull: Ints
    place: Ints
    coffee_of_batch: Ints
    covariates: Floats
    kept: Ints
    groups: tuple[Group, ...]
    batches: tuple[Hashable, ...]
    tasters: tuple[Hashable, ...]
    coffees: tuple[Hashable, ...]
    coffee_index: Ints
    covariate_names: tuple[str, ...]
    cell_batch: Ints
    cell_taster: Ints
    pulls: tuple[tuple[Hashable, Hashable], ...]

    @property
    def n(self) -> int:
        """How many rows there are."""
        return len(self.batch)

    @property
    def width(self) -> int:
        """How many columns the border has: tasters, coffees and covariates."""
        return len(self.tasters) + len(self.coffees) + len(self.kept)

    @property
    def taster_columns(self) -> slice:
        """The border's columns of tasters."""
        return slice(0, len(self.tasters))

    @property
    def fixed_columns(self) -> slice:
        """The border's columns of coffees and covariates."""
        return slice(len(self.tasters), self.width)

    @cached_property
    def cells(self) -> tuple[tuple[Hashable, Hashable], ...]:
        """The (batch, taster) pairs in the order of their numbers."""
        pairs = zip(self.cell_batch.tolist(), self.cell_taster.tolist(), strict=True)
        return tuple((self.batches[b], self.tasters[t]) for b, t in pairs)

    @cached_property
    def position(self) -> Mapping[Hashable, int]:
        """The number of each batch, by its label."""
        return {label: number for number, label in enumerate(self.batches)}

    def border(self, rows: slice) -> Floats:
        """Dense border columns [tasters | coffees | covariates] of a slice of sorted rows.

        Parameters
        ----------
        rows
            Which sorted rows.

        Returns
        -------
        Array of shape (rows, width).
        """
        taster = self.taster[rows]
        out = np.zeros((len(taster), self.width))
        index = np.arange(len(taster))
        out[index, taster] = 1.0
        out[index, len(self.tasters) + self.coffee_of_batch[self.batch[rows]]] = 1.0
        out[:, len(self.tasters) + len(self.coffees) :] = self.covariates[rows]
        return out


def factorise(values: Labels, rows: int, name: str) -> tuple[Ints, tuple[Hashable, ...]]:
    """Number the labels of a column in their sorted order.

    Parameters
    ----------
    values
        One label a row: any hashable, but not None and not NaN.
    rows
        How many rows there must be.
    name
        What the column is called in an error.

    Returns
    -------
    The number of each row's label, shape (rows,), and the sorted labels.

    Raises
    ------
    DesignError
        When the length is wrong or a label is missing.
    """
    items: list[Hashable] = values.tolist() if isinstance(values, np.ndarray) else list(values)
    if len(items) != rows:
        raise DesignError(
            say(
                "There are {rows} scores but {labels} labels of {name}; give one label for each score.",
                rows=rows,
                labels=len(items),
                name=name,
            )
        )
    first_seen: dict[Hashable, int] = {}
    try:
        raw = np.fromiter((first_seen.setdefault(item, len(first_seen)) for item in items), np.int64, rows)
    except TypeError as error:
        raise DesignError(
            say("A label of {name} cannot be used as a key; use text or whole numbers as labels.", name=name)
        ) from error
    for label in first_seen:
        if label is None or label != label:
            row = next(i for i, item in enumerate(items) if item is None or item != item)
            raise DesignError(say("Row {row} has no label of {name}; give every score one.", row=row, name=name))
    labels = _sorted(list(first_seen))
    rank = np.empty(len(labels), np.int64)
    rank[[first_seen[label] for label in labels]] = np.arange(len(labels))
    return rank[raw], tuple(labels)


def _sorted(labels: list[Hashable]) -> list[Hashable]:
    try:
        return sorted(labels)  # type: ignore[type-var]
    except TypeError:  # labels of several kinds, such as 3 and "3": by kind, then as text
        return sorted(labels, key=lambda label: (type(label).__name__, str(label)))


def code(rows: int, batch: Labels, taster: Labels, pull: Labels | None, coffee: Labels | None) -> Coded:
    """Number all labels, and see that each batch belongs to one coffee.

    Parameters
    ----------
    rows
        How many rows there are.
    batch, taster, pull, coffee
        One label a row each. A pull is known by its label within its batch, so labels may repeat in other batches.

    Returns
    -------
    The numbers and the labels.

    Raises
    ------
    DesignError
        When a column does not fit, or a batch is said to be of two coffees.
    """
    b, batches = factorise(batch, rows, "batch")
    t, tasters = factorise(taster, rows, "taster")
    c, coffees = (np.zeros(rows, np.int64), ("",)) if coffee is None else factorise(coffee, rows, "coffee")
    of_batch = np.empty(len(batches), np.int64)
    of_batch[b] = c
    wrong = np.flatnonzero(of_batch[b] != c)
    if len(wrong):
        label = batches[b[wrong[0]]]
        raise DesignError(
            say(
                "Batch {label} is said to be of two coffees, {one} and {other}; a batch is of one coffee.",
                label=label,
                one=coffees[c[wrong[0]]],
                other=coffees[of_batch[b[wrong[0]]]],
            )
        )
    if pull is None:
        return Coded(b, t, np.full(rows, -1), c, batches, tasters, (), coffees)
    p, pulls = factorise(pull, rows, "pull")
    keys, numbers = np.unique(b * max(len(pulls), 1) + p, return_inverse=True)
    pairs = tuple((batches[k // len(pulls)], pulls[k % len(pulls)]) for k in keys.tolist())
    return Coded(b, t, numbers.astype(np.int64), c, batches, tasters, pairs, coffees)


def _compact(codes: Ints, labels: Sequence[Any]) -> tuple[Ints, tuple[Any, ...], Ints]:
    """Renumber so that only levels that occur are left; also say which those are."""
    present, numbers = np.unique(codes, return_inverse=True)
    if len(present) == len(labels):
        return codes, tuple(labels), present
    return numbers.astype(np.int64), tuple(labels[i] for i in present.tolist()), present


def arrange(coded: Coded, scored: Ints, covariates: Floats, kept: Ints, covariate_names: tuple[str, ...]) -> Design:
    """Sort the scored rows by pattern, batch, taster and pull.

    Parameters
    ----------
    coded
        All rows' codes.
    scored
        The numbers of the rows to use.
    covariates
        All rows' covariates, shape (rows, k).
    kept
        Which covariate columns to use.
    covariate_names
        Names of all k columns.

    Returns
    -------
    The design.
    """
    batch, batches, _ = _compact(coded.batch[scored], coded.batches)
    taster, tasters, _ = _compact(coded.taster[scored], coded.tasters)
    coffee, coffees, coffee_index = _compact(coded.coffee[scored], coded.coffees)
    has_pulls = len(coded.pulls) > 0
    pull, pulls = np.full(len(scored), -1), ()
    if has_pulls:
        pull, pulls, _ = _compact(coded.pull[scored], coded.pulls)
    cell_keys, cell = np.unique(batch * len(tasters) + taster, return_inverse=True)
    cell_batch, cell_taster = np.divmod(cell_keys, len(tasters))
    place, pull_place = _places(batch, cell, cell_batch, cell_taster, pull)
    group, groups = _group(batch, place, pull_place, len(batches), np.bincount(cell_batch))
    order = np.lexsort((pull_place, place, batch, group[batch]))
    of_batch = np.empty(len(batches), np.int64)
    of_batch[batch] = coffee
    return Design(
        order=scored[order],
        batch=batch[order],
        taster=taster[order],
        cell=cell[order].astype(np.int64),
        pull=pull[order],
        place=place[order],
        coffee_of_batch=of_batch,
        covariates=np.ascontiguousarray(covariates[scored[order]][:, kept]),
        kept=kept,
        groups=groups,
        batches=batches,
        tasters=tasters,
        coffees=coffees,
        coffee_index=coffee_index,
        covariate_names=covariate_names,
        cell_batch=cell_batch,
        cell_taster=cell_taster,
        pulls=pulls,
    )


def _places(batch: Ints, cell: Ints, cell_batch: Ints, cell_taster: Ints, pull: Ints) -> tuple[Ints, Ints]:
    """Place of each row's taster and pull within its batch, chosen by how they share rows rather than by name.

    Tasters come in the order of their number of rows and of the sizes of the pulls that they tasted, pulls by their
    number of rows and by who tasted them. Ties go by label. Two batches with the same sharing may still come out
    differently when ties are broken differently; they then count as two patterns, which costs time and nothing else.
    """
    rows_of_cell = np.bincount(cell)
    has_pulls = bool(len(pull)) and pull[0] >= 0
    reach = rows_of_cell * 0
    if has_pulls:
        rows_of_pull = np.bincount(pull)
        reach = np.bincount(cell, rows_of_pull[pull] ** 2).astype(np.int64)
    place_of_cell = _rank_within(cell_batch, np.lexsort((cell_taster, -reach, -rows_of_cell, cell_batch)))
    place = place_of_cell[cell]
    if not has_pulls:
        return place, np.zeros_like(place)
    batch_of_pull = np.empty(len(rows_of_pull), np.int64)
    batch_of_pull[pull] = batch
    who = np.bincount(pull, 0.5 ** np.minimum(place, 40))
    number = np.arange(len(rows_of_pull))
    by_sharing = np.lexsort((number, -np.round(who, 13), -rows_of_pull, batch_of_pull))
    return place, _rank_within(batch_of_pull, by_sharing)[pull]


def _rank_within(owner: Ints, order: Ints) -> Ints:
    """Rank of each item among the items of its owner, where `order` sorts by owner first."""
    sizes = np.bincount(owner)
    starts = np.concatenate(([0], np.cumsum(sizes)[:-1]))
    ranks = np.empty(len(owner), np.int64)
    ranks[order] = np.arange(len(owner)) - starts[owner[order]]
    return ranks


def _group(
    batch: Ints, place: Ints, pull_place: Ints, batches: int, tasters_of_batch: Ints
) -> tuple[Ints, tuple[Group, ...]]:
    """Number of the group that each batch belongs to, and the groups in the order of their rows."""
    sizes = np.bincount(batch, minlength=batches)
    order = np.lexsort((pull_place, place, batch))
    starts = np.concatenate(([0], np.cumsum(sizes)[:-1]))
    shape = (place * (1 << 20) + pull_place)[order]
    group = np.empty(batches, np.int64)
    groups: list[Group] = []
    row = 0

    def add(members: Ints, patterned: bool) -> None:
        nonlocal row
        made = Group(row, len(members), int(sizes[members[0]]), int(tasters_of_batch[members[0]]), patterned)
        group[members] = len(groups)
        groups.append(made)
        row = made.stop

    for size in np.unique(sizes).tolist():
        members = np.flatnonzero(sizes == size)
        loose = np.ones(len(members), bool)
        if size <= _SMALL_PATTERN:
            shapes = shape[starts[members][:, None] + np.arange(size)]
            _, kind, count = np.unique(shapes, axis=0, return_inverse=True, return_counts=True)
            kind = kind.reshape(-1)
            for k in np.flatnonzero(count >= _SHARED_BY).tolist():
                add(members[kind == k], True)
            loose = count[kind] < _SHARED_BY
        rest = members[loose]
        for tasters in np.unique(tasters_of_batch[rest]).tolist():
            add(rest[tasters_of_batch[rest] == tasters], False)
    return group, tuple(groups)
