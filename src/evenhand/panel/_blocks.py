"""Sums over batches of everything that the likelihood needs, without forming a matrix larger than one batch.

The rows of a batch have the covariance V = s_b J + s_bt B + s_p P + s_e I, where B and P mark the pairs of rows that
share a taster or a pull. The likelihood needs W'FW summed over batches, for F = V^-1, V^-1 A V^-1 and
V^-1 A V^-1 A' V^-1 with A, A' among J, B, P, I, and for W the border's columns with the scores beside them.

For batches of one pattern F is the same matrix, and it is constant on the *classes* of pairs of rows that the pattern
cannot tell apart (same row, same taster and other pull, ...). So W'FW = sum over classes of F's value times a matrix
that does not depend on the variances, and one evaluation costs the same for ten batches as for ten thousand. Batches
whose pattern is rare are taken one by one, many at a time, through the few border columns that they touch.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np

from evenhand.panel._blocks_pattern import MOST_CLASSES, apply_terms, classes_of, invert, sharing
from evenhand.panel._mixed_design import Design, Floats, Group, Ints

_UPPER: Final = np.triu_indices(4)  # pairs of block terms
_CHUNK: Final = 400_000  # numbers in a working array, to bound memory


@dataclass(frozen=True, slots=True)
class Contraction:
    """What one evaluation needs from the blocks: log determinant, traces and augmented Gram matrices.

    The last row and column of each Gram matrix belong to the scores. `first` and `second` are indexed by block term
    (batch, batch x taster, pull, residual); they and the traces are None when only the value was asked for.
    """

    log_det: float
    gram: Floats
    trace: Floats
    trace2: Floats
    first: Floats | None
    second: Floats | None


@dataclass(frozen=True, slots=True)
class _Stack:
    """Patterns with the same number of rows, side by side, so that their small matrices are treated in one call.

    `share` (patterns, 2, n, n) marks shared tasters and pulls; `groups` are their slices of rows; a class is found at
    the pair of rows (`class_pattern`, `class_a`, `class_b`); `masks` (classes, n, n) mark its pairs.
    """

    share: Floats
    groups: tuple[Group, ...]
    class_pattern: Ints
    class_a: Ints
    class_b: Ints
    masks: Floats


@dataclass(frozen=True, slots=True)
class Moments:
    """Sums over the batches of a class: border by border (K, w, w), border by scores (K, w, m), squares (K, m)."""

    border: Floats
    cross: Floats
    square: Floats

    def augmented(self, attribute: int) -> Floats:
        """The moments of one attribute as augmented matrices, flattened to shape (K, (w + 1)^2)."""
        classes, width = self.border.shape[:2]
        out = np.empty((classes, width + 1, width + 1))
        out[:, :width, :width] = self.border
        out[:, :width, width] = out[:, width, :width] = self.cross[:, :, attribute]
        out[:, width, width] = self.square[:, attribute]
        return out.reshape(classes, (width + 1) ** 2)


class Blocks:
    """The batches of a design, those of common patterns apart from the loose ones.

    Parameters
    ----------
    design
        The sorted rows.
    """

    def __init__(self, design: Design) -> None:
        self.design = design
        loose: list[Group] = []
        by_size: dict[int, list[tuple[Group, Floats, Ints]]] = {}
        for group in design.groups:
            found = self._pattern(group) if group.patterned else None
            if found is None:
                loose.append(group)
            else:
                by_size.setdefault(group.rows, []).append((group, *found))
        self.loose = tuple(loose)
        self.stacks = tuple(_stack(found) for found in by_size.values())
        self.classes = sum(len(stack.class_a) for stack in self.stacks)

    def _pattern(self, group: Group) -> tuple[Floats, Ints] | None:
        """Marks and classes of a pattern, or None where batch by batch is cheaper."""
        first = slice(group.start, group.start + group.rows)
        share = sharing(self.design.place[first][None], self.design.pull[first][None])[0]
        local = group.tasters + 2 + self.design.covariates.shape[1]
        work = group.batches * group.rows * local * (local + 2 * group.rows)
        most = max(4, int(2 * work / (self.design.width + 1) ** 2))
        classes = classes_of(share, min(most, MOST_CLASSES))
        return None if classes is None else (share, classes)

    def moments(self, scores: Floats) -> Moments:
        """Sum products over batches, class by class.

        Parameters
        ----------
        scores
            Scores in the design's order of rows, shape (n, attributes), no NaN.

        Returns
        -------
        The moments.
        """
        width, attributes = self.design.width, scores.shape[1]
        border = np.zeros((self.classes, width, width))
        cross = np.zeros((self.classes, width, attributes))
        square = np.zeros((self.classes, attributes))
        at = 0
        for stack in self.stacks:
            for k, group in enumerate(stack.groups):
                mine = np.flatnonzero(stack.class_pattern == k)
                step = max(1, _CHUNK // (group.rows * (width + attributes)))
                for first in range(0, group.batches, step):
                    count = min(step, group.batches - first)
                    rows = slice(group.start + first * group.rows, group.start + (first + count) * group.rows)
                    full = np.concatenate([self.design.border(rows), scores[rows]], axis=1)
                    # rows of the batch first, so that one product serves all batches
                    full = full.reshape(count, group.rows, -1).transpose(1, 0, 2)
                    flat = np.ascontiguousarray(full).reshape(group.rows, -1)
                    columns = flat.reshape(-1, width + attributes)
                    for c in mine:
                        mixed = (stack.masks[c] @ flat).reshape(-1, width + attributes)
                        product = columns[:, :width].T @ mixed
                        border[at + c] += product[:, :width]
                        cross[at + c] += product[:, width:]
                        square[at + c] += np.einsum("ra,ra->a", columns[:, width:], mixed[:, width:])
            at += len(stack.class_a)
        return Moments(border, cross, square)

    def contract(self, variances: Floats, moments: Floats, score: Floats, *, slopes: bool) -> Contraction:
        """Sum log determinants, traces and Gram matrices over all batches.

        Parameters
        ----------
        variances
            Variances of batch, batch x taster, pull and residual, shape (4,); the last one positive.
        moments
            One attribute's augmented moments, from `Moments.augmented`.
        score
            The same attribute's scores in the design's order, shape (n,).
        slopes
            Whether first and second order matrices are wanted.

        Returns
        -------
        The sums.
        """
        size = self.design.width + 1
        sums = _Sums(len(_UPPER[0]) + 5 if slopes else 1, size)
        values: list[Floats] = []
        for stack in self.stacks:
            inverse, logs = invert(stack.share, variances)
            counts = np.array([float(group.batches) for group in stack.groups])
            sums.log_det += float(counts @ logs)
            at = (stack.class_pattern, stack.class_a, stack.class_b)
            if not slopes:
                values.append(inverse[at][None])
                continue
            left = apply_terms(stack.share, inverse)
            sums.add_traces(left, counts)
            first = inverse @ left
            second = (left.swapaxes(2, 3)[:, None] @ first)[:, :, *at]
            second = 0.5 * (second + second.swapaxes(0, 1))
            values.append(np.concatenate([inverse[at][None], first[:, *at], second[_UPPER]]))
        total = np.zeros((sums.matrices, size * size))
        if values:
            total += np.concatenate(values, axis=1) @ moments
        for group in self.loose:
            self._add_loose(group, variances, score, sums, slopes)
        total += sums.scattered()
        cube = total.reshape(sums.matrices, size, size)
        if not slopes:
            return Contraction(sums.log_det, cube[0], sums.trace, sums.trace2, None, None)
        second = np.empty((4, 4, size, size))
        second[_UPPER] = second[_UPPER[::-1]] = cube[5:]
        return Contraction(sums.log_det, cube[0], sums.trace, sums.trace2, cube[1:5], second)

    def _chunks(self, group: Group) -> Iterator[tuple[slice, Floats]]:
        """Rows and sharing of some batches of a group at a time."""
        step = max(1, _CHUNK // (group.rows * (group.rows + group.tasters + 4)))
        for first in range(0, group.batches, step):
            count = min(step, group.batches - first)
            rows = slice(group.start + first * group.rows, group.start + (first + count) * group.rows)
            shape = (count, group.rows)
            yield rows, sharing(self.design.place[rows].reshape(shape), self.design.pull[rows].reshape(shape))

    def _add_loose(self, group: Group, variances: Floats, score: Floats, sums: "_Sums", slopes: bool) -> None:
        """Add the share of a group of loose batches to the sums."""
        size = self.design.width + 1
        for rows, share in self._chunks(group):
            local, columns = self._local(group, rows, score)
            inverse, logs = invert(share, variances)
            sums.log_det += float(logs.sum())
            solved = inverse @ local
            grams = (local.swapaxes(1, 2) @ solved)[None]
            if slopes:
                sums.add_traces(apply_terms(share, inverse), np.ones(len(share)))
                left = apply_terms(share, solved)
                second = left.swapaxes(2, 3)[:, None] @ (inverse @ left)
                second = 0.5 * (second + second.swapaxes(0, 1))
                grams = np.concatenate([grams, solved.swapaxes(1, 2) @ left, second[_UPPER]])
            where = (columns[:, :, None] * size + columns[:, None, :]).reshape(-1)
            sums.add(where, grams.reshape(sums.matrices, -1))

    def _local(self, group: Group, rows: slice, score: Floats) -> tuple[Floats, Ints]:
        """The few border columns that each batch touches (tasters, coffee, covariates), and the scores."""
        design = self.design
        count = (rows.stop - rows.start) // group.rows
        k = design.covariates.shape[1]
        tasters, coffees = len(design.tasters), len(design.coffees)
        local = np.zeros((count, group.rows, group.tasters + 2 + k))
        place = design.place[rows].reshape(count, group.rows)
        batch = np.arange(count)[:, None]
        local[batch, np.arange(group.rows), place] = 1.0
        local[:, :, group.tasters] = 1.0
        local[:, :, group.tasters + 1 : -1] = design.covariates[rows].reshape(count, group.rows, k)
        local[:, :, -1] = score[rows].reshape(count, group.rows)
        columns = np.empty((count, local.shape[2]), np.int64)
        columns[batch, place] = design.taster[rows].reshape(count, group.rows)
        first_rows = design.batch[rows.start : rows.stop : group.rows]
        columns[:, group.tasters] = tasters + design.coffee_of_batch[first_rows]
        columns[:, group.tasters + 1 :] = tasters + coffees + np.arange(k + 1)
        return local, columns

    def solve(self, variances: Floats, columns: Floats) -> Floats:
        """Multiply columns by the inverse covariance of the blocks.

        Parameters
        ----------
        variances
            Variances of batch, batch x taster, pull and residual, shape (4,); the last one positive.
        columns
            Values in the design's order of rows, shape (n, columns).

        Returns
        -------
        Array of the same shape.
        """
        out = np.empty_like(columns)
        width = columns.shape[1]
        for stack in self.stacks:
            inverse, _ = invert(stack.share, variances)
            for k, group in enumerate(stack.groups):
                rows = slice(group.start, group.stop)
                block = columns[rows].reshape(group.batches, group.rows, width)
                out[rows] = np.einsum("ab,mbc->mac", inverse[k], block, optimize=True).reshape(-1, width)
        for group in self.loose:
            for rows, share in self._chunks(group):
                inverse, _ = invert(share, variances)
                block = columns[rows].reshape(len(share), group.rows, width)
                out[rows] = (inverse @ block).reshape(-1, width)
        return out


def _stack(found: list[tuple[Group, Floats, Ints]]) -> _Stack:
    pattern: list[int] = []
    first: list[Ints] = []
    masks: list[Floats] = []
    n = found[0][0].rows
    for number, (_, _, classes) in enumerate(found):
        names, where = np.unique(classes.reshape(-1), return_index=True)
        pattern += [number] * len(names)
        first.append(where)
        masks += [(classes == name).astype(np.float64) for name in names]
    a, b = np.divmod(np.concatenate(first), n)
    return _Stack(
        np.stack([share for _, share, _ in found]),
        tuple(group for group, _, _ in found),
        np.array(pattern),
        a,
        b,
        np.stack(masks),
    )


class _Sums:
    """Sums in the making: log determinant, traces, and what single batches add to the Gram matrices."""

    def __init__(self, matrices: int, size: int) -> None:
        self.matrices = matrices
        self.size = size
        self.log_det = 0.0
        self.trace = np.zeros(4)
        self.trace2 = np.zeros((4, 4))
        self._where: list[Ints] = []
        self._what: list[Floats] = []
        self._waiting = 0
        self._total = np.zeros(matrices * size * size)

    def add_traces(self, left: Floats, counts: Floats) -> None:
        """Add tr(A V^-1) and tr(A V^-1 A' V^-1), given A V^-1 as (4, batches, n, n) and how often each batch counts."""
        weighted = left * counts[:, None, None]
        self.trace += np.einsum("jpaa->j", weighted)
        self.trace2 += weighted.reshape(4, -1) @ left.swapaxes(2, 3).reshape(4, -1).T

    def add(self, where: Ints, what: Floats) -> None:
        """Add values (matrices, places) at places of the flattened matrices; many at a time, since each call costs."""
        self._where.append(where)
        self._what.append(what)
        self._waiting += what.size
        if self._waiting > _CHUNK:
            self._empty()

    def _empty(self) -> None:
        if not self._where:
            return
        offset = np.arange(self.matrices)[:, None] * (self.size * self.size)
        where = (offset + np.concatenate(self._where)).reshape(-1)
        what = np.concatenate(self._what, axis=1).reshape(-1)
        self._total += np.bincount(where, what, len(self._total))
        self._where, self._what, self._waiting = [], [], 0

    def scattered(self) -> Floats:
        """All that was added, shape (matrices, size^2)."""
        self._empty()
        return self._total.reshape(self.matrices, -1)
