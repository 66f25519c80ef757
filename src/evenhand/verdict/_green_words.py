"""What the green has to say, in sentences as mild as the evidence: a prompt to taste, never an expiry."""

from collections.abc import Mapping, Sequence
from typing import Final

from evenhand.season.ageing import StockAdvice
from evenhand.units import Measured
from evenhand.verdict._green_records import AgeingLine, AttributeOutlook, LotStock
from evenhand.verdict.tastings import Batch, Lot

_NINETY: Final = 1.645
_MOST_TOLD: Final = 2
_GONE: Final = 0.5


def say_lines(lines: Sequence[AgeingLine], moved: Sequence[str]) -> tuple[str, ...]:
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
    said = []
    shown = 0
    for one in lines:
        of_lots = [lot for lot in one.of_lots if lot.shows]
        if not (one.shows or of_lots):
            continue
        shown += 1
        # A lot's own change is known better than what lots like these do, and is what its stock hangs on.
        parts = [f"in {lot.lot} by {_change(lot.change)}" for lot in of_lots] or [f"by {_change(one.change)}"]
        way = "falls" if (of_lots[0].change if of_lots else one.change).value < 0 else "rises"
        name = f"{one.name[:1].upper()}{one.name[1:]}"
        said.append(f"{name} {way} with the months since harvest: {'; '.join(parts)} points a month (90 % intervals).")
    quiet = len(lines) - shown
    if not said:
        said.append(f"No change with the months shows in any of its {len(lines)} attributes.")
    elif quiet:
        said.append(f"No change shows in its other {quiet} attributes.")
    if moved:
        said.append(
            f"Its roast has moved too ({', '.join(moved)}): a roast that moves looks just like a green that ages, and "
            "these tastings cannot tell the two apart."
        )
    return tuple(said)


def _change(change: Measured) -> str:
    low, high = sorted((abs(change.value - _NINETY * change.sd), abs(change.value + _NINETY * change.sd)))
    if (change.value - _NINETY * change.sd) * (change.value + _NINETY * change.sd) < 0:
        low = 0.0
    return f"{abs(change.value):.2f} ({low:.2f} to {high:.2f})"


def say_lot(
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
    said = []
    if stock is not None and stock.left_kg < -1e-9:
        said.append(
            f"{stock.used_kg:.0f} kg were roasted of {stock.delivered_kg:.0f} kg delivered: a batch names the wrong "
            "lot, or a mass is wrong."
        )
    elif used_up:
        said.append("Used up: less is left than half a batch.")
    elif advice is not None:
        said.append(advice.says)
    elif stock is not None and stock.a_month.value <= 0:
        said.append(
            f"{stock.left:.1f} {stock.unit} left, and no batch of it in the three months before {read_on}: there are "
            "no sales to set against its age."
        )
    if stock is not None and stock.unweighed:
        said.append(
            f"{stock.unweighed} of its {stock.batches} batches were not weighed and count as the mean of others."
        )
    shown = [one for one in attributes if one.likely is not None]
    said += [say_outlook(one) for one in shown[:_MOST_TOLD]]
    if len(shown) > _MOST_TOLD:
        said.append(f"Later, or less surely: {', '.join(f'{one.name} ({one.likely})' for one in shown[_MOST_TOLD:])}.")
    if attributes and not shown:
        said.append("Every attribute is likely to stay within tolerance for the next two years.")
    if attributes and not storage_known:
        said.append(
            "Part of its storage is not recorded, and was taken as 20 °C and a water activity of 0.55 where it is not."
        )
    return (*said, *readings)


def say_outlook(one: AttributeOutlook) -> str:
    """Say in which calendar month an attribute is likely to leave its tolerance, and how sure that is.

    Parameters
    ----------
    one
        An attribute that is likely to leave.
    """
    limits = " to ".join("the end of the scale" if end is None else f"{end:.1f}" for end in (one.low, one.high))
    said = f"{one.name[:1].upper()}{one.name[1:]}: now {one.now.value:.1f} ± {one.now.sd:.1f}, tolerance {limits}; "
    if one.p_left_now >= _GONE:
        said += f"likely {one.toward} it already ({100 * one.p_left_now:.0f} %)."
    else:
        until = one.late or "later than two years from now"
        said += f"likely {one.toward} it from {one.likely} on (80 % interval {one.early} to {until})."
    if not one.shows:
        said += " The tastings do not show a change; this is how large one could be."
    return said


def say_gap(coffee: str, batches: Sequence[Batch], lots: Mapping[str, Lot]) -> str:
    """Say in one sentence why a coffee has no line.

    Parameters
    ----------
    coffee, batches
        The coffee and its batches.
    lots
        What is written of lots.
    """
    if not any(one.green_lot for one in batches):
        return f"{coffee}: no batch names its green lot."
    named = [lots[one.green_lot] for one in batches if one.green_lot and one.green_lot in lots]
    if not any(lot.harvested_on for lot in named):
        return f"{coffee}: none of its lots has a day of harvest, so months cannot be counted."
    return f"{coffee}: no lot was tasted at two ages yet; taste one again some months later to see what ageing does."
