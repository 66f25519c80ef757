"""The green of every coffee: what months since harvest do to the cup, when to taste a lot again, and its stock.

Puts the science of ageing together from tastings: each coffee's lots lend each other what they tell of ageing. It is a
prompt to taste, never an expiry.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from evenhand.season.ageing import (
    CHANGE_SCALES,
    Ageing,
    History,
    Leaving,
    StockAdvice,
    TastedLots,
    learn_ageing_together,
    stock_against_life,
)
from evenhand.verdict._green_lots import day_of, describe_readings, history_of, month_name, months_between, stock_of
from evenhand.verdict._green_records import (
    AgeingLine,
    AttributeOutlook,
    CoffeeGreen,
    GreenReading,
    LotChange,
    LotOutlook,
    LotStock,
)
from evenhand.verdict._green_words import describe_gap, describe_lines, describe_lot
from evenhand.verdict._naming import name_taste, name_unit
from evenhand.verdict._season_columns import SeasonBench, TasteColumn, lay_out
from evenhand.verdict._season_records import SeasonReading
from evenhand.verdict.tastings import Batch, Lot, Tastings
from evenhand.words import capitalise, say

__all__ = [
    "AgeingLine",
    "AttributeOutlook",
    "CoffeeGreen",
    "GreenReading",
    "LotChange",
    "LotOutlook",
    "LotStock",
    "read_green",
]

Floats = NDArray[np.float64]

# A batch with a fault that is likelier there than not says nothing of the green's age.
_FAULTY = 0.5
# With less than this share of a usual batch left a lot is used up.
_USED_UP = 0.5
_AHEAD = 12.0  # months that a line is drawn beyond today


@dataclass(frozen=True, slots=True)
class _Line:
    """One attribute's line with its limits and what it was learned from; arrays are one entry a batch that spoke."""

    coffee: str
    column: TasteColumn
    low: float
    high: float
    ageing: Ageing | None
    lot: tuple[str, ...]
    months: Floats
    level: Floats
    sd: Floats


def read_green(
    tastings: Tastings,
    *,
    coffees: Sequence[str] = (),
    season: SeasonReading | None = None,
    bench: SeasonBench | None = None,
) -> GreenReading:
    """Read the ageing of every coffee's lots, and set each lot's stock against it.

    Parameters
    ----------
    tastings
        All that was tasted, with the lots that it was roasted from.
    coffees
        Only these, of those that were roasted; empty for all.
    season
        The charts of the same tastings, so that a roast that moved is named beside a green that seems to age.
    bench
        The same tastings as `lay_out` fitted them, where that was done already.

    Returns
    -------
    GreenReading
        Deterministic; a coffee of which no lot is named is left out.

    Notes
    -----
    Batches with a fault that is likelier there than not are left out of the lines. All else that was tasted counts by
    the uncertainty of its own cups. How large changes are at all is learned from all coffees together.
    """
    bench = lay_out(tastings) if bench is None else bench
    tastings = bench.tastings
    lots = {one.lot: one for one in tastings.lots}
    histories = {name: history_of(lot) for name, lot in lots.items()}
    stocks = {
        name: stock_of(lot, [one for one in tastings.batches if one.green_lot == name], tastings.judged_on)
        for name, lot in lots.items()
    }
    lines, shares = _draw_lines(bench, lots, histories)
    named = {one.coffee for one in tastings.batches if one.green_lot} | set(tastings.lot_of_coffee)
    roasted = {one.coffee for one in tastings.batches}
    found = []
    for coffee in sorted(named & roasted):
        if coffees and coffee not in coffees:
            continue
        own = [one for one in lines if one.coffee == coffee]
        found.append(_read_coffee(coffee, tastings, own, lots, histories, stocks, season))
    return GreenReading(
        title=tastings.title,
        read_on=tastings.judged_on,
        invented=tastings.invented,
        coffees=tuple(found),
        scales=tuple(zip(CHANGE_SCALES, shares, strict=True)),
    )


def _read_coffee(
    coffee: str,
    tastings: Tastings,
    lines: Sequence[_Line],
    lots: Mapping[str, Lot],
    histories: Mapping[str, History],
    stocks: Mapping[str, LotStock | None],
    season: SeasonReading | None,
) -> CoffeeGreen:
    batches = [one for one in tastings.batches if one.coffee == coffee]
    told = sorted((_tell(one, one.ageing) for one in lines if one.ageing is not None), key=_clearness, reverse=True)
    of_coffee = list(dict.fromkeys(one.green_lot for one in batches if one.green_lot))
    now = tastings.lot_of_coffee.get(coffee) or next((one.green_lot for one in batches[::-1] if one.green_lot), None)
    if now is not None and now not in of_coffee:
        of_coffee.append(now)
    of_coffee.reverse()  # the newest harvest first; of lots without a date the last roasted
    of_coffee = sorted(of_coffee, key=lambda name: -_harvest_day(lots.get(name)))
    outlooks = tuple(
        _look_out(name, name == now, batches, lines, lots.get(name), histories, stocks.get(name), tastings.judged_on)
        for name in of_coffee
    )
    moved: tuple[str, ...] = ()
    if season is not None:
        charts = next((one for one in season.coffees if one.coffee == coffee), None)
        if charts is not None:
            moved = tuple(one.measure for one in charts.measures if one.kind == "roast" and one.state == "shifted")
    return CoffeeGreen(
        coffee=coffee,
        lines=tuple(told),
        lots=outlooks,
        sentences=describe_lines(told, moved),
        too_little="" if told else describe_gap(coffee, batches, lots),
    )


def _harvest_day(lot: Lot | None) -> float:
    return day_of(lot.harvested_on) if lot is not None and lot.harvested_on else -np.inf


def _draw_lines(
    bench: SeasonBench, lots: Mapping[str, Lot], histories: Mapping[str, History]
) -> tuple[list[_Line], tuple[float, ...]]:
    """Learn a line for each attribute that a coffee has a target for, all of them together."""
    batches = bench.tastings.batches
    months = {i: m for i, one in enumerate(batches) if (m := _months_of(one, lots)) is not None}
    dated = [i for i in months if _p_fault(bench, batches[i]) <= _FAULTY]
    series, lines = [], []
    for coffee in sorted({one.coffee for one in batches}):
        for column in bench.tastes:
            known = np.isfinite(column.own) & np.isfinite(column.own_sd) & np.isfinite(column.target)
            at = np.array([i for i in dated if batches[i].coffee == coffee and known[i]], dtype=np.intp)
            if not at.size:
                continue
            low, high = float(column.low[at[0]]), float(column.high[at[0]])  # the coffee's, alike in all its batches
            of = tuple(str(batches[i].green_lot) for i in at)
            age = np.array([months[i] for i in at])
            ends = bench.tastings.scales[column.attribute]
            series.append(
                TastedLots(
                    level=column.own[at],
                    level_sd=column.own_sd[at],
                    lot=of,
                    months=age,
                    histories={name: histories[name] for name in set(of)},
                    scale_width=ends[1] - ends[0],
                )
            )
            lines.append(_Line(coffee, column, low, high, None, of, age, column.own[at], column.own_sd[at]))
    learned, shares = learn_ageing_together(series)
    return [replace(one, ageing=ageing) for one, ageing in zip(lines, learned, strict=True)], shares


def _tell(line: _Line, ageing: Ageing) -> AgeingLine:
    of_lots = []
    for name in ageing.lots:
        change, shows = ageing.lot_change(name)
        of_lots.append(LotChange(lot=str(name), change=change, shows=shows))
    return AgeingLine(
        service=line.column.service,
        attribute=line.column.attribute,
        change=ageing.change,
        shows=ageing.shows,
        of_lots=tuple(of_lots),
        speaking=ageing.speaking,
        batches=len(line.lot),
    )


def _clearness(line: AgeingLine) -> float:
    return max(abs(one.value) / one.sd for one in (line.change, *(lot.change for lot in line.of_lots)))


def _months_of(batch: Batch, lots: Mapping[str, Lot]) -> float | None:
    lot = lots.get(batch.green_lot or "")
    if lot is None or lot.harvested_on is None:
        return None
    months = months_between(lot.harvested_on, batch.roasted_on)
    return months if months >= 0 else None


def _p_fault(bench: SeasonBench, batch: Batch) -> float:
    if bench.heard is None or batch.batch not in bench.heard.batches:
        return 0.0
    return bench.heard.p_any(batch.batch)


def _look_out(
    name: str,
    current: bool,
    batches: Sequence[Batch],
    lines: Sequence[_Line],
    lot: Lot | None,
    histories: Mapping[str, History],
    stock: LotStock | None,
    read_on: str,
) -> LotOutlook:
    """Say when each attribute of a lot is likely to leave, and what that means for its stock."""
    months = months_between(lot.harvested_on, read_on) if lot is not None and lot.harvested_on else None
    usual = stock.used_kg / stock.batches if stock and stock.batches else 0.0
    used_up = stock is not None and stock.left_kg <= _USED_UP * usual
    looked: list[tuple[AttributeOutlook, Leaving]] = []
    if lines and lot is not None and months is not None and months >= 0 and (current or stock) and not used_up:
        looked = [
            _leave(one, one.ageing, lot, months, histories[name], stock) for one in lines if one.ageing is not None
        ]
        looked.sort(key=lambda pair: (pair[0].likely_months or np.inf, -pair[1].p_left[-1]))
    advice: StockAdvice | None = None
    if looked and stock is not None and stock.left > 0 and stock.a_month.value > 0:
        advice = stock_against_life(stock.left, stock.a_month, [one for _, one in looked], unit=name_unit(stock.unit))
    attributes = tuple(one for one, _ in looked)
    readings = describe_readings(lot) if lot is not None else ()
    gap = ""
    if lot is None:
        gap = say("Nothing is written of the lot {lot}: no harvest, no delivery.", lot=name)
    elif months is None:
        gap = say("The lot {lot} has no day of harvest, so its months cannot be counted.", lot=name)
    return LotOutlook(
        lot=name,
        harvest=lot.harvest if lot else None,
        harvested_on=lot.harvested_on if lot else None,
        arrived_on=lot.arrived_on if lot else None,
        months_now=months,
        current=current,
        batches=sum(one.green_lot == name for one in batches),
        stock=stock,
        advice=advice,
        attributes=attributes,
        sentences=describe_lot(
            attributes,
            stock,
            advice,
            readings,
            used_up=used_up,
            storage_known=all(spell.known for spell in histories.get(name, ())),
            read_on=read_on,
        ),
        gap=gap,
    )


def _leave(
    line: _Line, ageing: Ageing, lot: Lot, now: float, history: History, stock: LotStock | None
) -> tuple[AttributeOutlook, Leaving]:
    column = line.column
    mine = np.array([name == lot.lot for name in line.lot])
    known = lot.lot if mine.any() else None
    named = capitalise(name_taste(column.attribute, column.service))
    leaving = ageing.leaving(line.low, line.high, now, known, history, attribute=named)
    drawn = np.arange(0.0, np.ceil(now + _AHEAD) + 0.5)
    curve = ageing.level(drawn, known, history)
    level = ageing.level([now], known, history)[0]
    sold = None
    if stock is not None and stock.a_month.value > 0:
        sold = leaving.chance_by(now + stock.left / stock.a_month.value)

    def month(months: float | None) -> str | None:
        return None if months is None or lot.harvested_on is None else month_name(lot.harvested_on, months)

    return (
        AttributeOutlook(
            service=column.service,
            attribute=column.attribute,
            now=level,
            low=line.low if np.isfinite(line.low) else None,
            high=line.high if np.isfinite(line.high) else None,
            p_left_now=leaving.p_left_now,
            p_left_sold=sold,
            early_months=leaving.early_months,
            likely_months=leaving.likely_months,
            late_months=leaving.late_months,
            early=month(leaving.early_months),
            likely=month(leaving.likely_months),
            late=month(leaving.late_months),
            toward=leaving.toward,
            shows=ageing.shows or (known is not None and ageing.lot_change(known)[1]),
            months=tuple(drawn.tolist()),
            level=tuple(one.value for one in curve),
            level_sd=tuple(one.sd for one in curve),
            tasted_months=tuple(line.months[mine].tolist()),
            tasted=tuple(line.level[mine].tolist()),
            tasted_sd=tuple(line.sd[mine].tolist()),
            says=leaving.says,
        ),
        leaving,
    )
