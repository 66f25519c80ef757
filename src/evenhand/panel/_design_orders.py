"""Serving orders in which no cup gains from its place or from the cup before it.

References
----------
Williams (1949), "Experimental designs balanced for the estimation of residual effects of treatments", Australian
Journal of Scientific Research A 2, 149-168. MacFie, Bratchell, Greenhoff and Vallis (1989), "Designs to balance the
effect of order of presentation and first-order carry-over effects in hall tests", Journal of Sensory Studies 4,
129-148. Dénes and Keedwell (1974), "Latin Squares and their Applications" (no row-complete square of order 3, 5, 7).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenhand.errors import DesignError
from evenhand.words import say

IntArray = NDArray[np.int64]

_SAME_BATCH_WEIGHT = 12.0  # two neighbours of one batch are worse than several uneven counts, which cost 2 each


@dataclass(frozen=True, slots=True)
class OrderBalance:
    """How even a set of serving orders is.

    Attributes
    ----------
    position_counts
        How often each cup stands at each place, shape (cups, cups), [cup, place].
    carry_counts
        How often each cup comes right after each other, shape (cups, cups), [before, after]; the diagonal is 0.
    position_spread, carry_spread
        Largest minus smallest count (off the diagonal). At best 0, or 1 where the numbers do not divide.
    position_excess, carry_excess
        Sum of squared counts above the least that any counts with this total could have; 0 is perfect. For 3, 5 or 7
        cups and as many tasters no orders have both at 0.
    same_batch_neighbours
        How often a cup follows another of its batch; 0 if no batches were named.
    """

    position_counts: IntArray
    carry_counts: IntArray
    position_spread: int
    carry_spread: int
    position_excess: int
    carry_excess: int
    same_batch_neighbours: int


@dataclass(frozen=True, slots=True)
class ServingPlan:
    """Serving orders of a table, one row a taster, with their balance.

    Attributes
    ----------
    orders
        Cup numbers from 0 in the order of serving, shape (tasters, cups).
    balance
        How even they are.
    """

    orders: IntArray
    balance: OrderBalance


def williams(n: int) -> IntArray:
    """Williams square: a Latin square in which every cup follows every other equally often.

    Parameters
    ----------
    n
        Number of cups.

    Returns
    -------
    ndarray
        Orders of cups 0 .. n - 1, shape (n, n) for even n, in which each ordered pair of neighbours occurs once; for
        odd n two squares one below the other, shape (2 n, n), in which each occurs twice.

    Raises
    ------
    DesignError
        If there is no cup.
    """
    if n < 1:
        raise DesignError(say("A table needs at least one cup."))
    if n == 1:
        return np.zeros((1, 1), dtype=np.int64)
    first = np.array([0] + [(k + 1) // 2 if k % 2 else n - k // 2 for k in range(1, n)])  # 0, 1, n - 1, 2, n - 2, ...
    square = (first[None, :] + np.arange(n)[:, None]) % n
    return square if n % 2 == 0 else np.vstack([square, square[:, ::-1]])


def serving_orders(
    tasters: int,
    cups: int,
    rng: np.random.Generator,
    *,
    batch_of_cup: Sequence[str | int] | None = None,
    steps: int = 20_000,
) -> ServingPlan:
    """Serving orders for a table: whole Williams squares where they fit, the best found by search where they do not.

    Parameters
    ----------
    tasters
        Number of tasters (or of rounds, if all taste each pull together).
    cups
        Number of cups that each of them tastes.
    rng
        Source of randomness: it deals the cups, shuffles the rows and drives the search.
    batch_of_cup
        Batch of each cup, length ``cups``. If given, cups of one batch are kept apart, and places and followers are
        also balanced by batch, which needs the search.
    steps
        Length of the search, in swaps that are tried.

    Returns
    -------
    ServingPlan
        The orders and their balance; look at it.

    Raises
    ------
    DesignError
        If there is no taster or cup, or the batches do not fit the cups.

    Notes
    -----
    For an even number of cups every part of a Williams square is as even as can be, so the search has work only for
    odd numbers and for batches. It is simulated annealing on the sum of squared counts. It does not promise the best
    orders, only to say how good they are: five tasters with five cups end 8 above the sum that no orders can reach.
    """
    if tasters < 1 or cups < 1 or steps < 0:
        raise DesignError(say("Serving orders need at least one taster, one cup and no negative number of steps."))
    batches = _batch_numbers(batch_of_cup, cups)
    square = williams(cups)
    whole, rest = divmod(tasters, len(square))
    blocks = [_deal(square, rng) for _ in range(whole)]
    if rest:
        blocks.append(_deal(square, rng)[rng.permutation(len(square))[:rest]])
    orders = np.vstack(blocks)
    if batches is not None:
        orders = _search(orders, np.arange(tasters), batches, rng, steps)
    elif rest and cups % 2:
        orders = _search(orders, np.arange(tasters - rest, tasters), None, rng, steps)
    orders = orders[rng.permutation(tasters)]
    return ServingPlan(orders, order_balance(orders, batch_of_cup))


def order_balance(orders: IntArray, batch_of_cup: Sequence[str | int] | None = None) -> OrderBalance:
    """Measure how even given serving orders are.

    Parameters
    ----------
    orders
        Cup numbers from 0 in the order of serving, shape (tasters, cups); each row holds each cup once.
    batch_of_cup
        Batch of each cup, length ``cups``.

    Returns
    -------
    OrderBalance
        Counts and how far they are from even.

    Raises
    ------
    DesignError
        If a row does not hold each cup once, or the batches do not fit the cups.
    """
    table = np.asarray(orders)
    if table.ndim != 2 or table.size == 0 or not bool(np.all(np.sort(table, axis=1) == np.arange(table.shape[1]))):
        raise DesignError(say("Each row of serving orders must hold each cup from 0 to the last exactly once."))
    tasters, cups = table.shape
    batches = _batch_numbers(batch_of_cup, cups)
    position, carry = _counts(table, cups)
    followers = carry[~np.eye(cups, dtype=bool)]
    least_position = _least_squares(tasters * cups, cups * cups)
    least_carry = _least_squares(tasters * (cups - 1), cups * (cups - 1))
    return OrderBalance(
        position_counts=position,
        carry_counts=carry,
        position_spread=int(position.max() - position.min()),
        carry_spread=int(followers.max() - followers.min()) if followers.size else 0,
        position_excess=int(np.sum(position**2)) - least_position,
        carry_excess=int(np.sum(carry**2)) - least_carry,
        same_batch_neighbours=0 if batches is None else _same_batch(table, batches),
    )


def _deal(square: IntArray, rng: np.random.Generator) -> IntArray:
    """Give the numbers of a square to the cups at random."""
    return rng.permutation(square.shape[1])[square].astype(np.int64)


def _counts(orders: IntArray, kinds: int) -> tuple[IntArray, IntArray]:
    """Counts of kind by place and of kind by kind before it."""
    places = orders.shape[1]
    at = orders * places + np.arange(places)
    pairs = orders[:, :-1] * kinds + orders[:, 1:]
    position = np.bincount(at.ravel(), minlength=kinds * places).reshape(kinds, places)
    carry = np.bincount(pairs.ravel(), minlength=kinds * kinds).reshape(kinds, kinds)
    return position.astype(np.int64), carry.astype(np.int64)


def _least_squares(total: int, cells: int) -> int:
    """Least sum of squares of whole counts with this total."""
    if cells == 0:
        return 0
    whole, rest = divmod(total, cells)
    return rest * (whole + 1) ** 2 + (cells - rest) * whole**2


def _same_batch(orders: IntArray, batches: IntArray) -> int:
    served = batches[orders]
    return int(np.sum(served[:, :-1] == served[:, 1:]))


def _batch_numbers(batch_of_cup: Sequence[str | int] | None, cups: int) -> IntArray | None:
    if batch_of_cup is None:
        return None
    if len(batch_of_cup) != cups:
        raise DesignError(
            say(
                "{named} batches were named for {cups} cups; name the batch of each cup.",
                named=len(batch_of_cup),
                cups=cups,
            )
        )
    names = {name: number for number, name in enumerate(dict.fromkeys(batch_of_cup))}
    return np.array([names[name] for name in batch_of_cup], dtype=np.int64)


def _search(
    orders: IntArray, movable: IntArray, batches: IntArray | None, rng: np.random.Generator, steps: int
) -> IntArray:
    """Swap cups within the movable rows to lower the cost, by annealing; the best orders met are kept."""
    cups = orders.shape[1]
    if cups < 2:
        return orders
    current, cost = orders.copy(), _cost(orders, batches)
    best, best_cost = current.copy(), cost
    rows = movable[rng.integers(movable.size, size=steps)]
    places = rng.integers(cups, size=(steps, 2))
    courage = rng.random(steps)
    for step in range(steps):
        row, (one, other) = rows[step], places[step]
        heat = 2.0 * 0.15 ** (step / steps)  # from 2 to 0.3; a swap that changes anything changes the cost by about 2
        current[row, one], current[row, other] = current[row, other], current[row, one]
        tried = _cost(current, batches)
        if tried <= cost or courage[step] < math.exp((cost - tried) / heat):
            cost = tried
            if cost < best_cost:
                best, best_cost = current.copy(), cost
        else:
            current[row, one], current[row, other] = current[row, other], current[row, one]
    return best


def _cost(orders: IntArray, batches: IntArray | None) -> float:
    position, carry = _counts(orders, orders.shape[1])
    cost = float(np.sum(position**2) + np.sum(carry**2))
    if batches is not None:
        position, carry = _counts(batches[orders], int(batches.max()) + 1)
        together = float(np.trace(carry))
        np.fill_diagonal(carry, 0)
        # a batch stands for several cups, so its counts are larger; they are scaled back to one cup
        share = float(batches.max() + 1) / batches.size
        cost += share * float(np.sum(position**2)) + share**2 * float(np.sum(carry**2)) + _SAME_BATCH_WEIGHT * together
    return cost


_SETS = {
    "triangle": ("AAB", "BBA", "ABA", "BAB", "BAA", "ABB"),
    "duo-trio": ("AAB", "BBA", "ABA", "BAB"),
    "paired": ("AB", "BA"),
    "3-AFC": ("ABB", "BAB", "BBA"),
    "tetrad": ("AABB", "BBAA", "ABAB", "BABA", "ABBA", "BAAB"),
    "A-not-A": ("A", "B"),
    "same-different": ("AA", "AB", "BB", "BA"),
}


def discrimination_sets(method: str, n: int, rng: np.random.Generator) -> tuple[str, ...]:
    """Sets of cups for a difference test, each order as often as the others, dealt at random.

    Parameters
    ----------
    method
        A ``ForcedChoice`` or its value, or "A-not-A" or "same-different".
    n
        Number of sets.
    rng
        Source of randomness.

    Returns
    -------
    tuple of str
        One string a set, a letter a cup in the order of serving. In duo-trio the first cup is the open reference (both
        coffees in turn). In 3-AFC A is the coffee thought to have more of the named attribute. In A-not-A B is the
        other coffee.

    Raises
    ------
    DesignError
        If the method is unknown or no set is asked for.
    """
    if str(method) not in _SETS:
        raise DesignError(
            say("There is no method {method}; choose one of {methods}.", method=str(method), methods=", ".join(_SETS))
        )
    if n < 1:
        raise DesignError(say("A test needs at least one set."))
    kinds = _SETS[str(method)]
    whole, rest = divmod(n, len(kinds))
    mirrored = 1 if str(method) == "3-AFC" else 2  # mirror images stand side by side, so A and B stay even in the rest
    groups = np.arange(len(kinds)).reshape(-1, mirrored)
    extra = np.concatenate([rng.permutation(group) for group in rng.permutation(groups)])[:rest]
    numbers = np.concatenate([np.tile(np.arange(len(kinds)), whole), extra])
    return tuple(kinds[number] for number in rng.permutation(numbers))
