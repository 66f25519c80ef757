"""A table's design: codes, Williams squares, serving orders, sets, caffeine and milk, flights."""

import itertools
from collections import Counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenhand.errors import DesignError, EvenhandError, QuantityError
from evenhand.panel import design
from evenhand.panel.design import (
    MOST_CODES,
    PALATE_CUPS,
    LoadFlag,
    are_alike,
    blind_codes,
    discrimination_sets,
    is_blind_code,
    most_cups,
    order_balance,
    serving_orders,
    split_into_flights,
    taster_load,
    williams,
)
from evenhand.words import Words

seeds = st.integers(0, 2**32 - 1)


@given(st.integers(1, MOST_CODES), seeds)
@settings(max_examples=30)
def test_codes_are_unlike_each_other(n, seed):
    codes = blind_codes(n, np.random.default_rng(seed))
    assert len(set(codes)) == n
    for code in codes:
        digits = str(code)
        assert len(digits) == 3
        assert digits[0] != "0"
        assert len(set(digits)) == 3
    for one, other in itertools.combinations(codes, 2):
        assert sum(a != b for a, b in zip(str(one), str(other), strict=True)) >= 2
        assert sorted(str(one)) != sorted(str(other))


@pytest.mark.parametrize("code", [99, 1000, 12, 111, 666, 343, 122, 123, 321, 135, 975, 619, 806, 981])
def test_telling_codes_are_left_out(code):
    assert not is_blind_code(code)


def test_plain_codes_are_in():
    assert all(is_blind_code(code) for code in (427, 302, 518, 794))
    assert sum(map(is_blind_code, range(2000))) > 500
    assert are_alike(427, 428)
    assert are_alike(427, 472)
    assert not are_alike(427, 518)


def test_codes_avoid_old_ones_and_depend_on_the_generator_only():
    old = blind_codes(30, np.random.default_rng(1))
    new = blind_codes(30, np.random.default_rng(1), avoid=old)
    assert not set(old) & set(new)
    assert old == blind_codes(30, np.random.default_rng(1))
    assert old != blind_codes(30, np.random.default_rng(2))


def test_codes_that_cannot_be_had():
    with pytest.raises(DesignError, match="split it"):
        blind_codes(MOST_CODES + 1, np.random.default_rng(0))
    left = {427, 428}
    with pytest.raises(DesignError, match="fewer old codes"):
        blind_codes(2, np.random.default_rng(0), avoid=set(range(100, 1000)) - left)


@pytest.mark.parametrize("n", range(2, 16))
def test_williams_is_balanced(n):
    # Williams (1949): each cup at each place, and each ordered pair of neighbours, equally often
    square = williams(n)
    times = 1 if n % 2 == 0 else 2
    assert square.shape == (times * n, n)
    balance = order_balance(square)
    assert np.all(balance.position_counts == times)
    assert np.all(balance.carry_counts == times * (1 - np.eye(n, dtype=int)))
    for block in square.reshape(times, n, n):
        assert np.all(np.sort(block, axis=0) == np.arange(n)[:, None])


def test_williams_of_four_as_published():
    # Williams (1949) builds an even square by developing 0, 1, n - 1, 2, n - 2, ... ; checked here by hand for n = 4
    assert williams(4).tolist() == [[0, 1, 3, 2], [1, 2, 0, 3], [2, 3, 1, 0], [3, 0, 2, 1]]
    assert williams(1).tolist() == [[0]]


@settings(max_examples=40, deadline=None)
@given(st.integers(1, 14), st.integers(1, 9), seeds)
def test_each_taster_gets_each_cup_once(tasters, cups, seed):
    plan = serving_orders(tasters, cups, np.random.default_rng(seed), steps=50)
    assert plan.orders.shape == (tasters, cups)
    assert np.all(np.sort(plan.orders, axis=1) == np.arange(cups))
    if cups % 2 == 0 or tasters % (2 * cups) == 0:
        assert plan.balance.position_excess == 0
        assert plan.balance.carry_excess == 0
        assert plan.balance.position_spread <= 1
        assert plan.balance.carry_spread <= 1


@settings(max_examples=30, deadline=None)
@given(st.integers(1, 8), st.integers(2, 7), seeds)
def test_balance_by_counting(tasters, cups, seed):
    rng = np.random.default_rng(seed)
    orders = np.array([rng.permutation(cups) for _ in range(tasters)])
    balance = order_balance(orders, ["x", "y"] * (cups // 2) + ["x"] * (cups % 2))
    places, pairs, same = Counter(), Counter(), 0
    for row in orders.tolist():
        places.update(enumerate(row))
        for before, after in itertools.pairwise(row):
            pairs[before, after] += 1
            same += before % 2 == after % 2
    for cup, place in itertools.product(range(cups), repeat=2):
        assert balance.position_counts[cup, place] == places[place, cup]
        assert balance.carry_counts[cup, place] == pairs[cup, place]
    assert balance.same_batch_neighbours == same
    assert balance.position_excess >= 0
    assert balance.carry_excess >= 0


@pytest.mark.parametrize(("tasters", "cups"), [(5, 5), (6, 5), (7, 7), (8, 9)])
def test_search_betters_part_of_a_square(tasters, cups):
    def excess(steps):
        found = [serving_orders(tasters, cups, np.random.default_rng(seed), steps=steps).balance for seed in range(3)]
        return np.array([balance.position_excess + balance.carry_excess for balance in found])

    assert np.all(excess(6000) <= 0.7 * excess(0))


def test_small_tables_reach_the_best_there_is():
    # three tasters and three cups: all 216 tables of orders gone through
    least = min(
        balance.position_excess + balance.carry_excess
        for rows in itertools.product(itertools.permutations(range(3)), repeat=3)
        if (balance := order_balance(np.array(rows)))
    )
    found = serving_orders(3, 3, np.random.default_rng(0)).balance
    assert found.position_excess + found.carry_excess == least


def test_cups_of_one_batch_are_kept_apart():
    batch_of_cup = ["a", "a", "a", "b", "b", "b", "c", "c", "c"]
    plan = serving_orders(6, 9, np.random.default_rng(3), batch_of_cup=batch_of_cup)
    assert plan.balance.same_batch_neighbours == 0
    served = np.array(batch_of_cup)[plan.orders]
    for place in range(9):
        counts = Counter(served[:, place].tolist())
        assert max(counts.values()) <= 4


def test_orders_depend_on_the_generator_only():
    one = serving_orders(5, 7, np.random.default_rng(9), steps=300).orders
    assert np.array_equal(one, serving_orders(5, 7, np.random.default_rng(9), steps=300).orders)


def test_orders_that_cannot_be_had():
    rng = np.random.default_rng(0)
    for tasters, cups in ((0, 3), (3, 0)):
        with pytest.raises(DesignError, match="at least one"):
            serving_orders(tasters, cups, rng)
    with pytest.raises(DesignError, match="name the batch"):
        serving_orders(3, 3, rng, batch_of_cup=["a"])
    with pytest.raises(DesignError, match="exactly once"):
        order_balance(np.array([[0, 0, 1]]))
    with pytest.raises(DesignError, match="one cup"):
        williams(0)


@pytest.mark.parametrize(
    ("method", "kinds"),
    # ISO 4120: six triangles; ISO 10399 (balanced reference): four; ISO 5495: two orders of a pair
    [
        ("triangle", 6),
        ("duo-trio", 4),
        ("paired", 2),
        ("3-AFC", 3),
        ("tetrad", 6),
        ("A-not-A", 2),
        ("same-different", 4),
    ],
)
def test_sets_are_balanced(method, kinds):
    sets = Counter(discrimination_sets(method, 5 * kinds, np.random.default_rng(0)))
    assert len(sets) == kinds
    assert set(sets.values()) == {5}
    uneven = Counter(discrimination_sets(method, 5 * kinds - 1, np.random.default_rng(0)))
    assert max(uneven.values()) - min(uneven.values()) == 1


def test_sets_hold_the_right_cups():
    rng = np.random.default_rng(1)
    assert all(set(Counter(s).values()) == {1, 2} for s in discrimination_sets("triangle", 60, rng))
    assert all(Counter(s) == {"A": 2, "B": 2} for s in discrimination_sets("tetrad", 60, rng))
    assert all(Counter(s) == {"A": 1, "B": 2} for s in discrimination_sets("3-AFC", 60, rng))
    assert all(set(s[1:]) == {"A", "B"} for s in discrimination_sets("duo-trio", 60, rng))
    reference = Counter(s[0] for s in discrimination_sets("duo-trio", 60, rng))
    assert reference["A"] == reference["B"]


@given(st.integers(1, 20), seeds)
def test_a_and_b_take_turns_in_triangles(n, seed):
    sets = discrimination_sets("triangle", n, np.random.default_rng(seed))
    odd_a = sum(s.count("A") == 1 for s in sets)
    assert abs(odd_a - (n - odd_a)) <= 1


def test_sets_that_cannot_be_had():
    with pytest.raises(DesignError, match="choose one of"):
        discrimination_sets("pentagon", 6, np.random.default_rng(0))
    with pytest.raises(DesignError, match="at least one set"):
        discrimination_sets("triangle", 0, np.random.default_rng(0))


def test_load_adds_up():
    load = taster_load([60, 60, 90], [0, 0, 150], [1.0, 0.5, 0.2], earlier_caffeine_mg=100)
    assert load.caffeine_mg == pytest.approx(60 + 30 + 18)
    assert load.day_caffeine_mg == pytest.approx(208)
    assert load.milk_g == pytest.approx(30)
    assert load.flags == (LoadFlag.MILK,)


@pytest.mark.parametrize(
    ("dose", "earlier", "pregnant", "bedtime", "flags"),
    # EFSA (2015), EFSA Journal 13(5):4102: 200 mg at once, 400 mg a day, 200 mg a day in pregnancy; up to these is fine
    [
        (200, 200, False, False, ()),
        (201, 0, False, False, (LoadFlag.SINGLE_DOSE,)),
        (150, 251, False, False, (LoadFlag.DAY,)),
        (201, 200, False, False, (LoadFlag.SINGLE_DOSE, LoadFlag.DAY)),
        (150, 50, True, False, ()),
        (150, 51, True, False, (LoadFlag.PREGNANT_OR_NURSING,)),
        (150, 51, False, False, ()),
        (100, 0, False, True, (LoadFlag.BEDTIME,)),
        (99, 0, False, True, ()),
    ],
)
def test_caffeine_flags(dose, earlier, pregnant, bedtime, flags):
    load = taster_load(
        [dose / 2, dose / 2],
        [0, 0],
        1.0,
        earlier_caffeine_mg=earlier,
        pregnant_or_nursing=pregnant,
        close_to_bedtime=bedtime,
    )
    assert load.flags == flags


def test_milk_is_flagged_even_when_spat_out():
    load = taster_load([60], [150], 0.0, takes_milk=False)
    assert load.milk_g == 0.0
    assert load.flags == (LoadFlag.MILK, LoadFlag.MILK_REFUSED)
    assert taster_load([60], [0], 1.0, takes_milk=False).flags == ()


def test_loads_that_cannot_be():
    with pytest.raises(QuantityError, match="Caffeine must"):
        taster_load([-1], [0], 1.0)
    with pytest.raises(QuantityError, match="Milk must"):
        taster_load([1], [float("nan")], 1.0)
    with pytest.raises(QuantityError, match="Earlier"):
        taster_load([1], [0], 1.0, earlier_caffeine_mg=-1)
    with pytest.raises(QuantityError, match="share"):
        taster_load([1], [0], 1.5)
    with pytest.raises(DesignError, match="each cup"):
        taster_load([1, 2], [0], 1.0)


def test_most_cups_is_the_lower_limit():
    assert most_cups("black") == PALATE_CUPS["black"]
    assert most_cups("black", caffeine_mg=60, share_swallowed=0.1) == PALATE_CUPS["black"]
    assert most_cups("black", caffeine_mg=50) == 4
    assert most_cups("black", caffeine_mg=50, earlier_caffeine_mg=300) == 2
    assert most_cups("black", caffeine_mg=50, pregnant_or_nursing=True, earlier_caffeine_mg=120) == 1
    assert most_cups("black", caffeine_mg=50, earlier_caffeine_mg=500) == 0
    assert most_cups("bowl", palate_cups={"bowl": 3}) == 3
    with pytest.raises(DesignError, match="No number of cups"):
        most_cups("soup")
    with pytest.raises(QuantityError, match="finite amount"):
        most_cups("black", caffeine_mg=-1)


@settings(max_examples=60)
@given(st.integers(1, 40), st.integers(1, 12), st.integers(1, 5), seeds)
def test_flights_hold_each_cup_once_and_spread_batches(cups, most, batches, seed):
    batch_of_cup = [cup % batches for cup in range(cups)]
    flights = split_into_flights(cups, most, np.random.default_rng(seed), batch_of_cup=batch_of_cup)
    sizes = [len(flight) for flight in flights]
    assert sorted(np.concatenate(flights).tolist()) == list(range(cups))
    assert max(sizes) <= most
    assert max(sizes) - min(sizes) <= 1
    assert len(flights) == -(-cups // most)
    for batch in set(batch_of_cup):
        inside = [sum(batch_of_cup[cup] == batch for cup in flight) for flight in flights]
        assert max(inside) - min(inside) <= 1


def test_flights_that_cannot_be():
    with pytest.raises(DesignError, match="no room"):
        split_into_flights(4, 0, np.random.default_rng(0))
    with pytest.raises(DesignError, match="name the batch"):
        split_into_flights(4, 2, np.random.default_rng(0), batch_of_cup=["a"])


def test_public_names_are_there():
    assert all(hasattr(design, name) for name in design.__all__)


@pytest.mark.parametrize("flag", LoadFlag)
def test_what_is_said_before_the_first_cup_can_be_told_in_another_language(flag):
    assert isinstance(flag.value, Words)


@pytest.mark.parametrize(
    "slip",
    [
        lambda: blind_codes(10_000, np.random.default_rng(0)),
        lambda: serving_orders(0, 3, np.random.default_rng(0)),
        lambda: discrimination_sets("pentagon", 6, np.random.default_rng(0)),
        lambda: taster_load([-1], [0], 1.0),
        lambda: most_cups("bucket"),
        lambda: split_into_flights(0, 3, np.random.default_rng(0)),
    ],
)
def test_a_refusal_can_be_told_in_another_language(slip):
    with pytest.raises(EvenhandError) as refused:
        slip()
    assert isinstance(refused.value.args[0], Words)
