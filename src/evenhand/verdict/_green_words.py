"""What the green has to say, in sentences as mild as the evidence: a prompt to taste, never an expiry."""

from collections.abc import Mapping, Sequence
from typing import Final

from evenhand.season.ageing import StockAdvice
from evenhand.units import Measured
from evenhand.verdict._green_records import AgeingLine, AttributeOutlook, LotStock
from evenhand.verdict._naming import name_unit
from evenhand.verdict.tastings import Batch, Lot
from evenhand.words import Words, capitalise, join, say

_NINETY: Final = 1.645
_MOST_TOLD: Final = 2
_GONE: Final = 0.5
_NOTHING_KG: Final = 1e-9


def describe_lines(lines: Sequence[AgeingLine], moved: Sequence[str]) -> tuple[str, ...]:
    """Say which attributes change with months since harvest, and what else would look the same.

    Parameters
    ----------
    lines
        The clearest first.
    moved
        Roast measures of the coffee that have shifted.
    """
    if not lines:
        return ()
    said = [_describe_line(one) for one in lines if one.shows or any(lot.shows for lot in one.of_lots)]
    quiet = len(lines) - len(said)
    if not said:
        said.append(say("No change with the months shows in any of its {count} attributes.", count=quiet))
    elif quiet:
        said.append(say("No change shows in its other {count} attributes.", count=quiet))
    if moved:
        said.append(
            say(
                "Its roast has moved too ({measures}): a roast that moves looks just like a green that ages, and these "
                "tastings cannot tell the two apart.",
                measures=join(moved),
            )
        )
    return tuple(said)


def _describe_line(one: AgeingLine) -> Words:
    # A lot's own change is known better than what lots like these do, and is what its stock hangs on.
    of_lots = [lot for lot in one.of_lots if lot.shows]
    parts = [say("in {lot} by {change}", lot=lot.lot, change=_describe_change(lot.change)) for lot in of_lots]
    if not parts:
        parts = [say("by {change}", change=_describe_change(one.change))]
    told = {"attribute": capitalise(one.name), "changes": join(parts, "; ")}
    if (of_lots[0].change if of_lots else one.change).value < 0:
        return say(
            "{attribute} falls with the months since harvest: {changes} points a month (90 % intervals).", **told
        )
    return say("{attribute} rises with the months since harvest: {changes} points a month (90 % intervals).", **told)


def _describe_change(change: Measured) -> Words:
    low, high = sorted((abs(change.value - _NINETY * change.sd), abs(change.value + _NINETY * change.sd)))
    if (change.value - _NINETY * change.sd) * (change.value + _NINETY * change.sd) < 0:
        low = 0.0
    return say("{change:.2f} ({low:.2f} to {high:.2f})", change=abs(change.value), low=low, high=high)


def describe_lot(
    attributes: Sequence[AttributeOutlook],
    stock: LotStock | None,
    advice: StockAdvice | None,
    readings: Sequence[str],
    *,
    used_up: bool,
    storage_known: bool,
    read_on: str,
) -> tuple[str, ...]:
    """Say what is left of a lot, what to do about it, when its attributes are likely to leave, and what was measured.

    Parameters
    ----------
    attributes
        The first to leave first.
    stock, advice
        None where they cannot be told.
    readings
        Sentences on moisture and water activity.
    used_up
        Whether too little is left for another batch.
    storage_known
        Whether temperature and water activity are known from harvest on.
    read_on
        The day of reading.
    """
    said: list[str] = [] if stock is None else _describe_stock(stock, advice, read_on, used_up=used_up)
    shown = [(one, one.likely) for one in attributes if one.likely is not None]
    said += [_describe_outlook(one) for one, _ in shown[:_MOST_TOLD]]
    if len(shown) > _MOST_TOLD:
        later = [say("{attribute} ({month})", attribute=one.name, month=likely) for one, likely in shown[_MOST_TOLD:]]
        said.append(say("Later, or less surely: {attributes}.", attributes=join(later)))
    if attributes and not shown:
        said.append(say("Every attribute is likely to stay within tolerance for the next two years."))
    if attributes and not storage_known:
        said.append(
            say(
                "Part of its storage is not recorded, and was taken as 20 °C and a water activity of 0.55 where it is "
                "not."
            )
        )
    return (*said, *readings)


def _describe_stock(stock: LotStock, advice: StockAdvice | None, read_on: str, *, used_up: bool) -> list[str]:
    said: list[str] = []
    if stock.left_kg < -_NOTHING_KG:
        said.append(
            say(
                "{used:.0f} kg were roasted of {delivered:.0f} kg delivered: a batch names the wrong lot, or a mass is "
                "wrong.",
                used=stock.used_kg,
                delivered=stock.delivered_kg,
            )
        )
    elif used_up:
        said.append(say("Used up: less is left than half a batch."))
    elif advice is not None:
        said.append(advice.says)
    elif stock.a_month.value <= 0:
        said.append(
            say(
                "{left:.1f} {unit} left, and no batch of it in the three months before {day}: there are no sales to "
                "set against its age.",
                left=stock.left,
                unit=name_unit(stock.unit),
                day=read_on,
            )
        )
    if stock.unweighed:
        said.append(
            say(
                "{unweighed} of its {batches} batches were not weighed and count as the mean of others.",
                unweighed=stock.unweighed,
                batches=stock.batches,
            )
        )
    return said


def _describe_outlook(one: AttributeOutlook) -> Words:
    """Say in which calendar month an attribute is likely to leave its tolerance, and how sure that is."""
    said = say(
        "{attribute}: now {level:.1f} ± {sd:.1f}, tolerance {low} to {high}; {outlook}.",
        attribute=capitalise(one.name),
        level=one.now.value,
        sd=one.now.sd,
        low=_describe_limit(one.low),
        high=_describe_limit(one.high),
        outlook=_describe_leaving(one),
    )
    if one.shows:
        return said
    return join((said, say("The tastings do not show a change; this is how large one could be.")), " ")


def _describe_leaving(one: AttributeOutlook) -> Words:
    is_below = one.toward == "below"
    if one.p_left_now >= _GONE:
        chance = 100 * one.p_left_now
        if is_below:
            return say("likely below it already ({chance:.0f} %)", chance=chance)
        return say("likely above it already ({chance:.0f} %)", chance=chance)
    told = {
        "likely": one.likely,
        "early": one.early,
        "late": one.late or say("later than two years from now"),
    }
    if is_below:
        return say("likely below it from {likely} on (80 % interval {early} to {late})", **told)
    return say("likely above it from {likely} on (80 % interval {early} to {late})", **told)


def _describe_limit(end: float | None) -> Words:
    return say("the end of the scale") if end is None else say("{limit:.1f}", limit=end)


def describe_gap(coffee: str, batches: Sequence[Batch], lots: Mapping[str, Lot]) -> str:
    """Say in one sentence why a coffee has no line.

    Parameters
    ----------
    coffee, batches
        The coffee and its batches.
    lots
        What is written of lots.
    """
    if not any(one.green_lot for one in batches):
        return say("{coffee}: no batch names its green lot.", coffee=coffee)
    named = [lots[one.green_lot] for one in batches if one.green_lot and one.green_lot in lots]
    if not any(lot.harvested_on for lot in named):
        return say("{coffee}: none of its lots has a day of harvest, so months cannot be counted.", coffee=coffee)
    return say(
        "{coffee}: no lot was tasted at two ages yet; taste one again some months later to see what ageing does.",
        coffee=coffee,
    )
