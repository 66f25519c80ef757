"""`evenhand dial`: what to change for the next pull of each coffee, and how sure, from a folder's pulls so far."""

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Literal

import numpy as np
from rich.console import Console
from rich.table import Table

from evenhand.cli._complaints import complain
from evenhand.errors import DesignError, EvenhandError
from evenhand.espresso.dial import Advice, advise, read_evenness_of, say_advice, say_move, say_setting
from evenhand.espresso.grinder import Shots, learn, parse_setting
from evenhand.records.folder import Folder, read
from evenhand.records.judging import arrange
from evenhand.records.shots import collect_shots, extractions_pct, gather_pulls

SCALD_CAUTION = (
    "Hot water, steam and bare metal scald, and coffee sprays from a portafilter loosened under pressure: wait until "
    "it has dropped. Every shot is caffeine; spit trial shots or throw them away."
)


@dataclass(frozen=True, slots=True)
class Dialled:
    """The advice for each coffee, and sentences about the data behind it."""

    advice: tuple[Advice, ...]
    notes: tuple[str, ...]
    invented: bool


def dial(
    path: str | Path,
    *,
    coffees: tuple[str, ...] = (),
    today: date | None = None,
    step: float | None = None,
    finer: Literal["higher", "lower"] | None = None,
    apart: bool = False,
) -> Dialled:
    """Advise on the next pull of every coffee in a folder.

    Parameters
    ----------
    path
        The folder or workbook, as described in docs/formats.md.
    coffees
        Only these; all pulls still teach the grinder. Empty for all that were pulled.
    today
        The day of asking; later dates in the folder are errors. The computer's own date if left out.
    step
        The grinder's own step; read off the settings if left out.
    finer
        Whether a higher or a lower number is finer, where the shop knows.
    apart
        Learn from each coffee's pulls alone, for coffees ground on grinders of their own.

    Raises
    ------
    FolderError
        If the folder holds anything that cannot be read.
    DesignError
        If a coffee is not known or was never pulled.
    """
    folder = read(Path(path), today=date.today() if today is None else today)
    recipes = arrange(folder, judged_on=date.max).recipes
    pulls = gather_pulls(folder.pulls, folder.batches)
    shots = collect_shots(pulls)
    pulled = list(dict.fromkeys(shots.coffee.tolist()))
    for coffee in coffees:
        if coffee not in recipes:
            raise DesignError(f"There is no coffee {coffee} in this folder; it holds {', '.join(recipes)}.")
        if coffee not in pulled:
            raise DesignError(f"There is no pull of {coffee} in this folder yet; pull it once and ask again.")
    if not pulled:
        raise DesignError("There is no pull in this folder yet; pull once and ask again.")
    wanted = [coffee for coffee in pulled if coffee in coffees or not coffees]
    extraction_pct = extractions_pct(pulls)
    ratio = np.array([recipes[coffee].ratio for coffee in shots.coffee])
    advice: list[Advice] = []
    played_down = 0
    for group in [[coffee] for coffee in wanted] if apart else [wanted]:
        which = np.isin(shots.coffee, group) if apart else np.ones(len(shots), dtype=bool)
        own = shots.take(which)
        grinder = learn(own, step=step, finer=finer)
        evenness = read_evenness_of(grinder, own, extraction_pct[which], ratio[which])
        advice += [advise(grinder, own, recipes[coffee], coffee, evenness) for coffee in group]
        played_down += grinder.played_down
    notes = list(_notes(folder, shots, apart, played_down))
    if any(one.options and not one.knows_direction for one in advice):
        notes.append("If the grinder's scale says which way is finer, tell it with --finer higher or --finer lower.")
    return Dialled(tuple(advice), tuple(notes), folder.invented)


def _notes(folder: Folder, shots: Shots, apart: bool, played_down: int) -> tuple[str, ...]:
    notes = [] if apart else ["All pulls are taken to be from one grinder; --apart learns each coffee by itself."]
    odd = [row.grind_setting for row in folder.pulls if row.grind_setting and parse_setting(row.grind_setting) is None]
    unset = int(np.sum(~np.isfinite(shots.setting)))
    if unset:
        shown = f" (such as {odd[0]!r})" if odd else ""
        notes.append(
            f"{unset} of {len(shots)} pulls have no setting that reads as a single number{shown}; they say nothing of "
            "a step."
        )
    if played_down:
        notes.append(f"{played_down} pulls were far from what was forecast and counted less.")
    notes.append("Expected times carry one standard uncertainty, the scatter of a single pull included.")
    return (*folder.warnings, *notes)


def run(
    folder: Path,
    *,
    coffees: tuple[str, ...] = (),
    step: float | None = None,
    finer: Literal["higher", "lower"] | None = None,
    apart: bool = False,
    today: date | None = None,
) -> int:
    """Advise on the next pulls of a folder, and show it.

    Returns
    -------
    int
        The exit status: 0, or 2 with the reasons on standard error.
    """
    console = Console()
    try:
        dialled = dial(folder, coffees=coffees, today=today, step=step, finer=finer, apart=apart)
    except EvenhandError as error:
        return complain(error)
    show(dialled, console, in_full=bool(coffees))
    return 0


def show(dialled: Dialled, console: Console, *, in_full: bool) -> None:
    """Print the advice: one sentence a coffee, or all that is known of each with its settings in a table."""

    def line(text: str, style: str = "") -> None:
        console.print(make_plain(text, console), style=style, markup=False, highlight=False)

    if dialled.invented:
        line("These data are invented.", "italic")
    for advice in dialled.advice:
        sentences = say_advice(advice)
        line(f"\n{advice.coffee}, batch {advice.batch}", "bold")
        for sentence in sentences if in_full else sentences[:-1]:
            line(f"  {sentence}")
        if in_full and advice.options:
            console.print(_table(advice, console))
    if dialled.advice and not in_full:
        line(f"\n{say_advice(dialled.advice[0])[-1]}")
    line("")
    for note in dialled.notes:
        line(note, "dim")
    line(SCALD_CAUTION)


def make_plain(text: str, console: Console) -> str:
    """Write a text in plainer signs where the terminal knows ASCII only."""
    if console.encoding.lower().startswith("utf"):
        return text
    plain = text.replace("±", "+-").replace("°", " ")
    return plain.encode(console.encoding, "replace").decode(console.encoding)


def _table(advice: Advice, console: Console) -> Table:
    table = Table("Setting", "Move", "Expected time, s", "Inside tolerance", box=None, pad_edge=True)
    for option in advice.options:
        chosen = option.setting == advice.then.setting
        table.add_row(
            say_setting(option.setting),
            say_move(advice, option) + (" (proposed)" if chosen else ""),
            make_plain(f"{option.time_s.value:.1f} ± {option.time_s.sd:.1f}", console),
            f"{100 * option.p_inside:.0f} %",
            style="bold" if chosen else "",
        )
    return table
