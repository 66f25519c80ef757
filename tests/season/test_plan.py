"""The tasting plan: the best there is, within every limit, and with the worth of each row."""

from itertools import combinations, product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenhand.errors import DesignError, QuantityError
from evenhand.season.plan import Kind, Palate, Row, Way, plan_tasting
from evenhand.words import say


def row(name, worth, price=1.0, *, tasters=1, cups=2, minutes=5.0, bench=0.0, **more):
    way = Way(tasters=tasters, worth=worth, price=price, cups=cups, minutes=minutes, bench_minutes=bench)
    return Row(name=name, kind=more.pop("kind", Kind.BATCH), ways=(way,), **more)


def palate(name, cups=10, minutes=60.0):
    return Palate(name=name, cups=cups, minutes=minutes)


def best_by_trying_all(rows, palates, money, bench):
    """Oracle: every way of every row with every set of tasters."""
    choices = []
    for one in rows:
        may = [p.name for p in palates if one.who is None or p.name in one.who]
        mine = [] if one.must else [None]
        mine += [(way, who) for way in one.ways for who in combinations(may, way.tasters)]
        choices.append(mine)
    best = None
    for picked in product(*choices):
        taken = [one for one in picked if one is not None]
        if (
            sum(way.price for way, _ in taken) > money + 1e-9
            or sum(way.bench_minutes for way, _ in taken) > bench + 1e-9
        ):
            continue
        if any(
            sum(way.cups for way, who in taken if p.name in who) > p.cups
            or sum(way.minutes for way, who in taken if p.name in who) > p.minutes + 1e-9
            for p in palates
        ):
            continue
        net = sum(way.net for way, _ in taken)
        best = net if best is None else max(best, net)
    return best


ways = st.builds(
    Way,
    tasters=st.integers(1, 2),
    worth=st.integers(0, 30).map(float),
    price=st.integers(0, 8).map(float),
    cups=st.integers(1, 4),
    minutes=st.integers(2, 12).map(float),
    bench_minutes=st.integers(0, 6).map(float),
)
weeks = st.tuples(
    st.lists(
        st.tuples(st.lists(ways, min_size=1, max_size=2), st.sampled_from([None, frozenset("A"), frozenset("AB")])),
        min_size=1,
        max_size=5,
    ),
    st.lists(st.tuples(st.integers(0, 8), st.integers(0, 25)), min_size=1, max_size=2),
    st.integers(0, 25),
    st.integers(0, 15),
)


@settings(max_examples=60, deadline=None)
@given(weeks)
def test_no_plan_is_better_and_none_breaks_a_limit(week):
    given_rows, hours, money, bench = week
    rows = [Row(name=f"row {i}", kind=Kind.BATCH, ways=tuple(w), who=who) for i, (w, who) in enumerate(given_rows)]
    palates = [palate("AB"[i], cups, minutes) for i, (cups, minutes) in enumerate(hours)]
    found = plan_tasting(rows, palates, money=money, bench_minutes=bench)
    assert found.net == pytest.approx(best_by_trying_all(rows, palates, money, bench), abs=1e-6)
    assert found.price <= money + 1e-6
    assert found.bench_minutes <= bench + 1e-6
    for one in palates:
        assert found.cups.get(one.name, 0) <= one.cups
        assert found.minutes.get(one.name, 0.0) <= one.minutes + 1e-6
    for one in found.planned:
        assert len(set(one.tasters)) == one.way.tasters
        assert one.row.who is None or set(one.tasters) <= one.row.who
    assert len(found.planned) + len(found.left_out) == len(rows)
    # What taking in a row would cost is what trying all says of a week in which it must be tasted.
    for one in found.left_out[:1]:
        forced = [
            r if r is not one.row else Row(name=r.name, kind=r.kind, ways=r.ways, who=r.who, must=True) for r in rows
        ]
        with_it = best_by_trying_all(forced, palates, money, bench)
        if with_it is None:
            assert one.cost_of_taking is None
        else:
            assert one.cost_of_taking == pytest.approx(found.net - with_it, abs=1e-6)


def test_one_list_of_batches_ages_and_tasters():
    """By hand: ten minutes a taster. Ben's control cups and the risky batch are worth most; the safe batch waits."""
    rows = [
        row("risky batch", 30.0, 4.0, tasters=2),
        row("safe batch", 0.5, 4.0),
        row("lot of last May", 12.0, 3.0, kind=Kind.AGEING),
        row("control cups, Ben", 15.0, 2.0, kind=Kind.CALIBRATION, who=frozenset({"Ben"})),
        row("control cups, Ada", 2.5, 2.0, kind=Kind.CALIBRATION, who=frozenset({"Ada"})),
    ]
    found = plan_tasting(rows, [palate("Ada", minutes=10.0), palate("Ben", minutes=10.0)])
    assert [one.row.name for one in found.planned] == ["risky batch", "control cups, Ben", "lot of last May"]
    assert [one.tasters for one in found.planned] == [("Ada", "Ben"), ("Ben",), ("Ada",)]
    assert (found.worth, found.price, found.net) == (57.0, 9.0, 48.0)
    out = {one.row.name: one for one in found.left_out}
    assert "tells less than it costs" in out["safe batch"].says
    assert out["control cups, Ada"].cost_of_taking == pytest.approx(8.5)  # the lot, 9, would make room for 0.5
    assert "by 8.5" in out["control cups, Ada"].says
    assert "worth 30.0, price 4.0" in found.planned[0].says


def test_the_way_that_fits_is_taken():
    """Three tasters are worth most, but two is what there is."""
    several = tuple(Way(tasters=k, worth=w, price=k, minutes=5) for k, w in ((1, 10.0), (2, 16.0), (3, 19.0)))
    found = plan_tasting([Row(name="batch", kind=Kind.BATCH, ways=several)], [palate("Ada"), palate("Ben")])
    assert found.planned[0].way.tasters == 2
    dear = tuple(Way(tasters=k, worth=w, price=8.0 * k, minutes=5) for k, w in ((1, 10.0), (2, 16.0)))
    found = plan_tasting([Row(name="batch", kind=Kind.BATCH, ways=dear)], [palate("Ada"), palate("Ben")])
    assert found.planned[0].way.tasters == 1


def test_what_must_be_tasted_is_tasted_at_a_loss():
    found = plan_tasting([row("asked for", 1.0, 5.0, must=True), row("batch", 9.0)], [palate("Ada", cups=2)])
    assert [one.row.name for one in found.planned] == ["asked for"]
    assert "must be tasted" in found.planned[0].says
    with pytest.raises(DesignError, match=r"asked for.*do not fit"):
        plan_tasting([row("asked for", 1.0, must=True)], [palate("Ada", cups=1)])


def test_order_does_not_matter_and_the_answer_repeats():
    rows = [row(f"batch {i}", 5.0, minutes=4.0) for i in range(6)]  # all alike: only ties
    palates = [palate("Ada", cups=5), palate("Ben", cups=4)]
    first = plan_tasting(rows, palates)
    again = plan_tasting(rows[::-1], palates[::-1])
    assert [(p.row.name, p.tasters) for p in first.planned] == [(p.row.name, p.tasters) for p in again.planned]


def test_a_row_that_no_one_can_taste_is_told():
    found = plan_tasting([row("batch", 9.0, tasters=3)], [palate("Ada"), palate("Ben")])
    assert found.left_out[0].cost_of_taking is None
    assert "not enough time, palates or money" in found.left_out[0].says
    quick = plan_tasting([row("batch", 9.0, tasters=3)], [palate("Ada")], weigh_left_out=False)
    assert "or it does not fit" in quick.left_out[0].says


def test_nothing_to_taste():
    assert plan_tasting([], [palate("Ada")]).says == "There is nothing to taste."


@pytest.mark.parametrize(
    ("call", "error", "words"),
    [
        (lambda: plan_tasting([row("a", 1.0), row("a", 2.0)], [palate("Ada")]), DesignError, "name a;"),
        (lambda: plan_tasting([row("a", 1.0)], [palate("Ada"), palate("Ada")]), DesignError, "palates have the name"),
        (lambda: plan_tasting([row("a", 1.0)], []), DesignError, "Nobody tastes"),
        (lambda: plan_tasting([row(f"{i}", 1.0) for i in range(61)], [palate("Ada")]), DesignError, "61 rows"),
        (lambda: plan_tasting([row("a", 1.0)], [palate("Ada")], money=-1), QuantityError, "money"),
        (lambda: Way(tasters=0, worth=1.0), QuantityError, "at least one taster"),
        (lambda: Way(tasters=1, worth=-1.0), QuantityError, "worth"),
        (lambda: Row(name="a", kind=Kind.BATCH, ways=()), QuantityError, "no way"),
        (lambda: palate("Ada", cups=-1), QuantityError, "cups of Ada"),
    ],
)
def test_what_cannot_be_is_refused(call, error, words):
    with pytest.raises(error, match=words):
        call()


def test_every_sentence_can_be_told_in_another_language(untold):
    rows = [
        row("Q1", 1.0, 5.0, must=True),
        row("Q2", 30.0),
        row("Q3", 0.5, 4.0, kind=Kind.AGEING),
        row("Q4", 9.0, tasters=3),
        row("Q5", 2.0, minutes=9.0, kind=Kind.CALIBRATION),
        row(say("Lot {lot}", lot="Q6"), 6.0),
    ]
    for weigh in (True, False):
        found = plan_tasting(rows, [palate("Ada", cups=5), palate("Ben", cups=2)], weigh_left_out=weigh)
        said = [found.says, *(one.says for one in (*found.planned, *found.left_out))]
        assert len(said) == 7
        assert set().union(*map(untold, said)) <= {"Q1", "Q2", "Q3", "Q4", "Q5", "Q6", "Ada", "Ben"}
    assert untold(plan_tasting([], [palate("Ada")]).says) == set()
    with pytest.raises(DesignError) as refused:
        plan_tasting([row("Q1", 1.0, must=True)], [palate("Ada", cups=1)])
    assert untold(refused.value.args[0]) == {"Q1"}
