"""The tasting plan: what to taste this week with the time, the palates and the money there are.

Batches by their risk, coffees by the age of their green, tasters by their need of control cups: all are rows of one
list with a worth in one currency, so that they can be weighed against each other. The best list is found exactly.
"""

from collections.abc import Sequence
from math import inf, isnan

from evenhand.errors import DesignError, QuantityError
from evenhand.season._plan_choose import Choice, Programme, set_up
from evenhand.season._plan_rows import KIND_WORD, Kind, LeftOut, Palate, Planned, Row, TastingPlan, Way
from evenhand.season._plan_worth import chance_drifted, worth_of_check
from evenhand.words import Words, join, say, say_many

__all__ = [
    "Kind",
    "LeftOut",
    "Palate",
    "Planned",
    "Row",
    "TastingPlan",
    "Way",
    "chance_drifted",
    "plan_tasting",
    "worth_of_check",
]

_MOST_ROWS = 60


def plan_tasting(
    rows: Sequence[Row],
    palates: Sequence[Palate],
    *,
    money: float = inf,
    bench_minutes: float = inf,
    weigh_left_out: bool = True,
) -> TastingPlan:
    """Choose what to taste, in which way and by whom, so that worth less price is largest.

    Parameters
    ----------
    rows
        What may be tasted; names are unique.
    palates
        Who tastes this week; names are unique.
    money
        What the week's tasting may cost.
    bench_minutes
        Minutes at the machine.
    weigh_left_out
        Whether to work out what it would cost to take in each row that is left out: one more plan for each.

    Returns
    -------
    TastingPlan
        The best plan; the order in which rows and palates are given does not matter.

    Raises
    ------
    DesignError
        If names repeat, nobody tastes, there are more than 60 rows, or the rows that must be tasted do not fit.
    QuantityError
        If money or minutes are negative.

    Notes
    -----
    The worth of rows is added up: knowing one batch is taken to tell nothing of another.
    """
    rows = sorted(rows, key=lambda row: row.name)
    palates = sorted(palates, key=lambda palate: palate.name)
    _check(rows, palates, money, bench_minutes)
    if not rows:
        return TastingPlan((), (), 0.0, 0.0, 0.0, {}, {}, 0.0, say("There is nothing to taste."))
    programme = set_up(rows, palates, money, bench_minutes)
    best = programme.solve()
    if best is None:
        must = join(row.name for row in rows if row.must)
        raise DesignError(
            say("The rows that must be tasted ({rows}) do not fit; give more time, palates or money.", rows=must)
        )
    planned = [_planned(rows[i], way, [palates[t].name for t in who]) for i, (way, who) in best.taken.items()]
    planned.sort(key=lambda one: (-one.way.net, one.row.name))
    left_out = [_left_out(i, programme, best, weigh_left_out) for i in range(len(rows)) if i not in best.taken]
    left_out.sort(key=lambda one: (-one.way.net, one.row.name))
    worth, price = sum(one.way.worth for one in planned), sum(one.way.price for one in planned)
    cups: dict[str, int] = {}
    minutes: dict[str, float] = {}
    for palate in palates:
        mine = [one.way for one in planned if palate.name in one.tasters]
        if mine:
            cups[palate.name] = sum(way.cups for way in mine)
            minutes[palate.name] = sum(way.minutes for way in mine)
    bench = sum(one.way.bench_minutes for one in planned)
    said = say(
        "Taste {planned} of {rows}: worth {worth:.0f}, price {price:.0f}, {cups} cups, {minutes:.0f} minutes of "
        "tasters.",
        planned=len(planned),
        rows=len(rows),
        worth=worth,
        price=price,
        cups=sum(cups.values()),
        minutes=sum(minutes.values()),
    )
    return TastingPlan(tuple(planned), tuple(left_out), worth, price, worth - price, cups, minutes, bench, said)


def _planned(row: Row, number: int, tasters: Sequence[str]) -> Planned:
    way = row.ways[number]
    told = {
        "row": _name(row),
        "tasters": join(tasters),
        "cups": say_many("{count} cup each", "{count} cups each", count=way.cups),
        "worth": way.worth,
        "price": way.price,
    }
    if row.must:
        said = say("{row}: {tasters}, {cups}; worth {worth:.1f}, price {price:.1f}; it must be tasted.", **told)
    else:
        said = say("{row}: {tasters}, {cups}; worth {worth:.1f}, price {price:.1f}.", **told)
    return Planned(row, way, tuple(tasters), said)


def _left_out(number: int, programme: Programme, best: Choice, weigh: bool) -> LeftOut:
    row = programme.rows[number]
    way = max(row.ways, key=lambda one: one.net)  # the first of equals
    cost: float | None = None
    fits = True
    if weigh:
        forced = programme.solve(forced=frozenset({number}))
        fits = forced is not None
        cost = max(best.net - forced.net, 0.0) if forced is not None else None
    if not fits:
        why = say("there is not enough time, palates or money for it")
    elif way.net <= 0:
        why = say("it tells less than it costs")
    elif cost is None:
        why = say("other rows use the time better, or it does not fit")
    else:
        why = say("other rows use the time better, by {cost:.1f}", cost=cost)
    said = say(
        "{row}: worth {worth:.1f}, price {price:.1f}; {why}.", row=_name(row), worth=way.worth, price=way.price, why=why
    )
    return LeftOut(row, way, cost, said)


def _name(row: Row) -> Words:
    return say("{name} ({kind})", name=row.name, kind=KIND_WORD[row.kind])


def _check(rows: Sequence[Row], palates: Sequence[Palate], money: float, bench_minutes: float) -> None:
    name = _repeated([row.name for row in rows])
    if name is not None:
        raise DesignError(say("Two rows have the name {name}; give each a name of its own.", name=name))
    name = _repeated([palate.name for palate in palates])
    if name is not None:
        raise DesignError(say("Two palates have the name {name}; give each a name of its own.", name=name))
    if not palates:
        raise DesignError(say("Nobody tastes this week; give at least one palate."))
    if len(rows) > _MOST_ROWS:
        raise DesignError(
            say(
                "There are {rows} rows, more than the {most} of one plan; leave out the least risky.",
                rows=len(rows),
                most=_MOST_ROWS,
            )
        )
    for what, value in (("money", money), ("bench_minutes", bench_minutes)):
        if isnan(value) or value < 0:
            raise QuantityError(say("The {name} of a week must be 0 or more, not {value}.", name=what, value=value))


def _repeated(names: Sequence[str]) -> str | None:
    return min((name for name in names if names.count(name) > 1), default=None)
