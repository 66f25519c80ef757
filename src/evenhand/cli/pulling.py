"""`evenhand pull`: explains one pull in words: what was off, what it likely did to the cup, whether to judge it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from difflib import get_close_matches
from math import erf, sqrt
from pathlib import Path

import numpy as np
from rich.console import Console
from rich.table import Table

from evenhand.cli._complaints import complain
from evenhand.cli.dialing import SCALD_CAUTION, make_plain
from evenhand.errors import DesignError, EvenhandError
from evenhand.espresso.dial import TimePart, split_time
from evenhand.espresso.extraction import HAND_SD_S, Extraction, measure
from evenhand.espresso.grinder import Grinder, learn
from evenhand.espresso.recipe import (
    JUDGEABLE_TOLERANCES,
    QUANTITIES,
    HouseRecipe,
    Pull,
    describe,
    deviation,
    judgeable,
)
from evenhand.panel.response import Response, build
from evenhand.records.folder import Folder, read
from evenhand.records.judging import arrange
from evenhand.records.shots import collect_shots, gather_pulls
from evenhand.verdict.tastings import BatchPull

MILK_CAUTION = "Milk is an allergen: say which cups hold it before they are served."

# Common practice, no source: an effect is told where its direction is surer than this and it is heard at all.
_SURE = 0.7
_LEAST_SHARE_OF_SCALE = 0.02
# Two standard deviations of what else moves the strength of a shot (see panel.response).
_WEAK = -0.06
# What a cause put on the clock is told from the hand's own uncertainty up.
_LEAST_TOLD_S = HAND_SD_S
_WORDS = {"dose": "dose", "beverage": "beverage mass", "time": "time", "water": "water", "pressure": "pressure"}
_UNITS = {"dose": "g", "beverage": "g", "time": "s", "water": "°C", "pressure": "bar"}


@dataclass(frozen=True, slots=True)
class Effect:
    """What a pull's deviation likely did to one attribute in one service, in points; `p_higher` is its direction."""

    service: str
    attribute: str
    points: float
    sd: float
    p_higher: float
    scale_width: float

    @property
    def is_told(self) -> bool:
        """Whether the direction is sure enough, and the size large enough, to be put into words."""
        sure = max(self.p_higher, 1 - self.p_higher)
        return sure >= _SURE and abs(self.points) >= _LEAST_SHARE_OF_SCALE * self.scale_width


@dataclass(frozen=True, slots=True, kw_only=True)
class PullReading:
    """One pull against its recipe, and what is made of it.

    Attributes
    ----------
    deviations
        In tolerances, by quantity; None where not measured or not asked for.
    off
        What was off by more than a tolerance, in words; empty if nothing was.
    time_parts
        What the time was off by, split by cause; empty where it was on recipe.
    effects
        Likely changes of the cup against the house recipe, before the shop's own sheets are asked.
    judgeable
        Whether its cups may be judged.
    beyond
        In what it lies outside the range of the shop's other pulls.
    uneven
        A sentence where the pull ran fast and weak, else empty.
    """

    pull: Pull
    recipe: HouseRecipe
    batch: str
    coffee: str
    extraction: Extraction
    deviations: dict[str, float | None]
    off: str
    time_parts: tuple[TimePart, ...]
    effects: tuple[Effect, ...]
    judgeable: bool
    beyond: tuple[str, ...]
    uneven: str
    invented: bool
    warnings: tuple[str, ...]


def explain(path: str | Path, pull: str, *, today: date | None = None) -> PullReading:
    """Explain one pull of a folder.

    Parameters
    ----------
    path
        The folder or workbook, as described in docs/formats.md.
    pull
        The pull's label.
    today
        The day of asking; later dates in the folder are errors. The computer's own date if left out.

    Raises
    ------
    FolderError
        If the folder holds anything that cannot be read.
    DesignError
        If there is no such pull.
    """
    asked_on = date.today() if today is None else today
    folder = read(Path(path), today=asked_on)
    tastings = arrange(folder, judged_on=asked_on)
    names = [row.pull.name for row in tastings.pulls]
    if pull not in names:
        close = get_close_matches(pull, names, n=1)
        hint = f"; is it {close[0]}?" if close else "."
        raise DesignError(f"There is no pull {pull} in this folder{hint}")
    coffee_of = {row.batch: row.coffee for row in tastings.batches}
    at = names.index(pull)
    one, batch = tastings.pulls[at].pull, tastings.pulls[at].batch
    coffee = coffee_of[batch]
    recipe = tastings.recipes[coffee]
    moisture = next(row.roasted_moisture_pct for row in folder.batches if row.batch == batch)
    response = _response(tastings.pulls, [tastings.recipes[coffee_of[row.batch]] for row in tastings.pulls])
    deviations = dict(deviation(one, recipe))
    return PullReading(
        pull=one,
        recipe=recipe,
        batch=batch,
        coffee=coffee,
        extraction=measure(one.dose_g, one.beverage_g, one.time_s, one.tds_pct, moisture),
        deviations=deviations,
        off=describe(one, recipe),
        time_parts=split_time(one, recipe, _learn_grinder(folder)) if one.time_s != recipe.time_s else (),
        effects=_effects(folder, response, at, coffee, pull),
        judgeable=judgeable(deviations),
        beyond=response.beyond[at],
        uneven=_uneven(response, at, deviations),
        invented=folder.invented,
        warnings=folder.warnings,
    )


def _learn_grinder(folder: Folder) -> Grinder:
    return learn(collect_shots(gather_pulls(folder.pulls, folder.batches)))


def _response(pulls: Sequence[BatchPull], recipes: Sequence[HouseRecipe]) -> Response:
    def numbers(values: list[float | None]) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        return np.array([np.nan if value is None else value for value in values], dtype=float)

    return build(
        ratio=[row.pull.beverage_g / row.pull.dose_g for row in pulls],
        recipe_ratio=[recipe.ratio for recipe in recipes],
        time_s=[row.pull.time_s for row in pulls],
        recipe_time_s=[recipe.time_s for recipe in recipes],
        water_c=numbers([row.pull.water_c for row in pulls]),
        recipe_water_c=numbers([recipe.water_c for recipe in recipes]),
        tds_pct=numbers([row.pull.tds_pct for row in pulls]),
        batch=[row.batch for row in pulls],
    )


def _effects(folder: Folder, response: Response, at: int, coffee: str, pull: str) -> tuple[Effect, ...]:
    """Work out the published direction of each of the coffee's attributes, in the services this pull was served in."""
    scales = {row.attribute: (row.scale_low, row.scale_high) for row in folder.attributes}
    served = {row.service for row in folder.cups if row.pull == pull}
    found = []
    for goal in folder.targets:
        if goal.coffee != coffee or (served and goal.service not in served):
            continue
        low, high = scales[goal.attribute]
        mean, sd = response.priors(goal.attribute, goal.service, low, high)
        points = float(response.columns[at] @ mean)
        spread = float(np.sqrt(response.columns[at] ** 2 @ sd**2))
        p_higher = 0.5 if spread == 0 else 0.5 * (1 + erf(points / spread / sqrt(2)))
        found.append(Effect(goal.service, goal.attribute, points, spread, p_higher, high - low))
    return tuple(found)


def _uneven(response: Response, at: int, deviations: dict[str, float | None]) -> str:
    if "strength" not in response.names:
        return ""
    weak = float(response.columns[at, response.names.index("strength")])
    time = deviations["time"]
    if weak > _WEAK or time is None or time > -1:
        return ""
    return (
        f"It ran fast and came out {100 * -np.expm1(weak):.0f} % weaker than its ratio and time explain, against its "
        "own batch: water may have passed part of the bed by (common practice, no source)."
    )


def tell(reading: PullReading) -> tuple[str, ...]:
    """Say a reading in sentences: what was off, why the clock said so, what it likely did, whether to judge it."""
    pull, recipe = reading.pull, reading.recipe
    told = [f"Pull {pull.name} {reading.off}." if reading.off else f"Pull {pull.name} ran within its tolerances."]
    told += [_time_words(reading)] if abs(reading.deviations["time"] or 0.0) > 1 else []
    told += [reading.uneven] if reading.uneven else []
    told += _effect_words(reading)
    if not reading.judgeable:
        worst = [q for q in QUANTITIES if abs(reading.deviations[q] or 0.0) > JUDGEABLE_TOLERANCES + 1e-9]
        told.append(
            f"Do not judge it: {' and '.join(_WORDS[q] for q in worst)} lay more than {JUDGEABLE_TOLERANCES:g} "
            "tolerances from the recipe, so it says too little of the roast. Pull it again."
        )
    elif reading.beyond:
        told.append(
            f"It may be judged, but in {' and '.join(_covariate_word(name) for name in reading.beyond)} it lies beyond "
            "what the shop's other pulls cover, so its cups will count for less."
        )
    elif reading.off:
        told.append(
            f"It may be judged: nothing measured lay more than {JUDGEABLE_TOLERANCES:g} tolerances from {recipe.name}, "
            "and the judgement takes the deviation out."
        )
    else:
        told.append("Judge it as it is.")
    return tuple(told)


def _covariate_word(name: str) -> str:
    return {"log_ratio": "ratio", "log_time": "time", "water": "water temperature"}.get(name, name)


def _time_words(reading: PullReading) -> str:
    parts = [
        f"{part.time_s.value:+.1f} ± {part.time_s.sd:.1f} s from {part.cause}"
        for part in reading.time_parts
        if abs(part.time_s.value) >= _LEAST_TOLD_S or part is reading.time_parts[-1]
    ]
    off = reading.pull.time_s - reading.recipe.time_s
    return f"Of the {off:+.1f} s on the clock, about {', '.join(parts)}."


def _effect_words(reading: PullReading) -> list[str]:
    told = [effect for effect in reading.effects if effect.is_told]
    if not told:
        return ["Its deviation has no likely direction in the cup that is sure enough to name."]
    sentences = []
    for service in dict.fromkeys(effect.service for effect in told):
        parts = [
            f"{'more' if e.points > 0 else 'less'} {e.attribute} ({e.points:+.1f} ± {e.sd:.1f} of {e.scale_width:g} "
            f"points, P = {max(e.p_higher, 1 - e.p_higher):.2f})"
            for e in told
            if e.service == service
        ]
        sentences.append(f"In the {service} cup likely {', '.join(parts)}.")
    sentences.append(
        "These directions are common practice and not this shop's own: evenhand judge learns them from the sheets."
    )
    return sentences


def run(folder: Path, pull: str, *, today: date | None = None) -> int:
    """Explain one pull of a folder on the terminal.

    Returns
    -------
    int
        The exit status: 0, or 2 with the reasons on standard error.
    """
    console = Console()
    try:
        reading = explain(folder, pull, today=today)
    except EvenhandError as error:
        return complain(error)
    show(reading, console)
    return 0


def show(reading: PullReading, console: Console) -> None:
    """Print a reading: its numbers in a table, then the sentences and the cautions."""

    def line(text: str, style: str = "") -> None:
        console.print(make_plain(text, console), style=style, markup=False, highlight=False)

    if reading.invented:
        line("These data are invented.", "italic")
    line(f"Pull {reading.pull.name}: batch {reading.batch} of {reading.coffee}, recipe {reading.recipe.name}", "bold")
    table = Table("Quantity", "Recipe", "Pull", "Off, in tolerances", box=None, pad_edge=True)
    for quantity in QUANTITIES:
        target, tolerance = reading.recipe.target(quantity)
        measured, off = reading.pull.measured(quantity), reading.deviations[quantity]
        unit = _UNITS[quantity]
        cells = (
            _WORDS[quantity],
            "not asked for" if target is None else f"{target:g} ± {tolerance:g} {unit}",
            "not measured" if measured is None else f"{measured:g} {unit}",
            "" if off is None else f"{off:+.1f}",
        )
        table.add_row(*(make_plain(cell, console) for cell in cells))
    console.print(table)
    found = reading.extraction
    line(f"Ratio {found.ratio.value:.2f} ± {found.ratio.sd:.2f}; flow {found.flow_g_per_s.value:.2f} g/s.")
    if found.extraction_pct is not None:
        dry = found.extraction_dry_pct
        on_dry = "" if dry is None else f", {dry.value:.1f} ± {dry.sd:.1f} % on dry basis"
        line(f"Extraction {found.extraction_pct.value:.1f} ± {found.extraction_pct.sd:.1f} % as is{on_dry}.")
    line("")
    for sentence in tell(reading):
        line(sentence)
    line("")
    for warning in reading.warnings:
        line(warning, "dim")
    line(SCALD_CAUTION)
    if any(effect.service == "milk" for effect in reading.effects):
        line(MILK_CAUTION)
