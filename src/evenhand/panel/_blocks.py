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

from evenhand.panel._mixed_design import Design, Floats, Group, Ints

BATCH: Final = 0
CELL: Final = 1
PULL: Final = 2
RESIDUAL: Final = 3
PAIRS: Final = tuple((j, k) for j in range(4) for k in range(j, 4))
_MOST_CLASSES: Final = 80
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


def sharing(place: Ints, pull: Ints) -> Floats:
    """Mark the pairs of rows of a batch that share a taster or a pull.

    Parameters
    ----------
    place, pull
        Numbers of taster and pull, shape (batches, n); -1 where there is no pull.

    Returns
    -------
    Array of shape (batches, 2, n, n) of ones and zeros.
    """
    out = np.empty((*place.shape[:1], 2, place.shape[1], place.shape[1]))
    out[:, 0] = place[:, :, None] == place[:, None, :]
    out[:, 1] = (pull[:, :, None] == pull[:, None, :]) & (pull[:, :, None] >= 0)
    return out


def classes_of(share: Floats, most: int = _MOST_CLASSES) -> Ints | None:
    """Find the coarsest split of the pairs of rows on which every polynomial in J, B and P is constant.

    Parameters
    ----------
    share
        B and P of one pattern, shape (2, n, n).
    most
        Give up beyond this number of classes.

    Returns
    -------
    The number of each pair's class, shape (n, n), symmetric; None when there would be too many.

    Notes
    -----
    The split starts from the identity and is refined until B S and P S are constant on its classes for every class's
    marker S, counted exactly. Then the span of the markers holds I and is closed under multiplication by J, B and P.
    Only symmetric matrices are wanted, so a class and its transpose count as one.
    """
    n = share.shape[-1]
    whole = share.astype(np.int64)
    label = (np.eye(n, dtype=np.int64) + 2 * whole[0] + 4 * whole[1]).reshape(-1)
    count = 0
    while True:
        _, label = np.unique(label, return_inverse=True)
        found = int(label.max()) + 1
        if found > 2 * most:
            return None
        if found == count:
            break
        count = found
        marker = (label.reshape(n, n)[:, :, None] == np.arange(found)).astype(np.float64).reshape(n, -1)
        seen = [(m.astype(np.float64) @ marker).reshape(n * n, found) for m in (whole[0], whole[1])]
        totals = np.broadcast_to(marker.sum(0), (n, n * found)).reshape(n * n, found)
        _, label = np.unique(np.column_stack([label[:, None], *seen, totals]), axis=0, return_inverse=True)
        label = label.reshape(-1)
    square = label.reshape(n, n)
    low, high = np.minimum(square, square.T), np.maximum(square, square.T)
    _, both = np.unique((low * count + high).reshape(-1), return_inverse=True)
    both = both.reshape(n, n)
    return both.astype(np.int64) if int(both.max()) < most else None


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
        classes = classes_of(share, min(most, _MOST_CLASSES))
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
        matrices = 1 + (4 + len(PAIRS) if slopes else 0)
        total = np.zeros((matrices, size * size))
        log_det, trace, trace2 = 0.0, np.zeros(4), np.zeros((4, 4))
        values: list[Floats] = []
        for stack in self.stacks:
            inverse, logs = _invert(stack.share, variances)
            counts = np.array([float(group.batches) for group in stack.groups])
            log_det += float(counts @ logs)
            at = (stack.class_pattern, stack.class_a, stack.class_b)
            if not slopes:
                values.append(inverse[at][None])
                continue
            left = [_apply(stack.share, j, inverse) for j in range(4)]
            _add_traces(left, counts, trace, trace2)
            first = [inverse @ side for side in left]
            rows = [inverse[at], *(matrix[at] for matrix in first)]
            for j, k in PAIRS:
                matrix = left[j].swapaxes(1, 2) @ first[k]
                rows.append(0.5 * (matrix + matrix.swapaxes(1, 2))[at])
            values.append(np.stack(rows))
        if values:
            total += np.concatenate(values, axis=1) @ moments
        for group in self.loose:
            log_det += self._add_loose(group, variances, score, total, trace, trace2, slopes)
        cube = total.reshape(matrices, size, size)
        if not slopes:
            return Contraction(log_det, cube[0], trace, trace2, None, None)
        second = np.empty((4, 4, size, size))
        for number, (j, k) in enumerate(PAIRS):
            second[j, k] = second[k, j] = cube[5 + number]
        return Contraction(log_det, cube[0], trace, trace2, cube[1:5], second)

    def _chunks(self, group: Group) -> Iterator[tuple[slice, Floats]]:
        """Rows and sharing of some batches of a group at a time."""
        step = max(1, _CHUNK // (group.rows * (group.rows + group.tasters + 4)))
        for first in range(0, group.batches, step):
            count = min(step, group.batches - first)
            rows = slice(group.start + first * group.rows, group.start + (first + count) * group.rows)
            shape = (count, group.rows)
            yield rows, sharing(self.design.place[rows].reshape(shape), self.design.pull[rows].reshape(shape))

    def _add_loose(
        self,
        group: Group,
        variances: Floats,
        score: Floats,
        total: Floats,
        trace: Floats,
        trace2: Floats,
        slopes: bool,
    ) -> float:
        """Add the share of a group of loose batches to the sums; return its log determinant."""
        size = self.design.width + 1
        log_det = 0.0
        for rows, share in self._chunks(group):
            local, columns = self._local(group, rows, score)
            inverse, logs = _invert(share, variances)
            log_det += float(logs.sum())
            solved = inverse @ local
            grams = [local.swapaxes(1, 2) @ solved]
            if slopes:
                ones = np.ones(len(share))
                _add_traces([_apply(share, j, inverse) for j in range(4)], ones, trace, trace2)
                left = [_apply(share, j, solved) for j in range(4)]
                grams += [solved.swapaxes(1, 2) @ side for side in left]
                right = [inverse @ side for side in left]
                for j, k in PAIRS:
                    product = left[j].swapaxes(1, 2) @ right[k]
                    grams.append(0.5 * (product + product.swapaxes(1, 2)))
            where = (columns[:, :, None] * size + columns[:, None, :]).reshape(-1)
            for number, gram in enumerate(grams):
                total[number] += np.bincount(where, gram.reshape(-1), size * size)
        return log_det

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
            inverse, _ = _invert(stack.share, variances)
            for k, group in enumerate(stack.groups):
                rows = slice(group.start, group.stop)
                block = columns[rows].reshape(group.batches, group.rows, width)
                out[rows] = np.einsum("ab,mbc->mac", inverse[k], block, optimize=True).reshape(-1, width)
        for group in self.loose:
            for rows, share in self._chunks(group):
                inverse, _ = _invert(share, variances)
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


def covariance(share: Floats, variances: Floats) -> Floats:
    """Covariance of a batch's rows, shape (batches, n, n), from what they share and the four variances."""
    v = variances[CELL] * share[:, 0] + variances[PULL] * share[:, 1] + variances[BATCH]
    index = np.arange(share.shape[-1])
    v[:, index, index] += variances[RESIDUAL]
    return np.asarray(v)


def _invert(share: Floats, variances: Floats) -> tuple[Floats, Floats]:
    """Inverse covariance of each batch and its log determinant."""
    scale = variances[RESIDUAL]  # by which the matrix is divided, so that no score's unit makes it overflow
    v = covariance(share, variances / scale)
    logs = np.linalg.slogdet(v)[1] + share.shape[-1] * np.log(scale)
    return np.linalg.inv(v) / scale, logs


def _apply(share: Floats, term: int, columns: Floats) -> Floats:
    """Multiply by J, B, P or I: sum over the rows of the batch, of the taster, of the pull, or leave as it is."""
    if term == BATCH:
        return np.broadcast_to(columns.sum(1, keepdims=True), columns.shape)
    if term == RESIDUAL:
        return columns
    return share[:, term - 1] @ columns


def _add_traces(left: list[Floats], counts: Floats, trace: Floats, trace2: Floats) -> None:
    """Add tr(A V^-1) and tr(A V^-1 A' V^-1), given A V^-1 for each term."""
    for j, k in PAIRS:
        value = float(counts @ np.einsum("pab,pba->p", left[j], left[k]))
        trace2[j, k] += value
        if j != k:
            trace2[k, j] += value
    for j in range(4):
        trace[j] += float(counts @ np.trace(left[j], axis1=1, axis2=2))
