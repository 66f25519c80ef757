"""`evenhand study`: simulate roasteries with known truth and print how the verdicts did, with Monte Carlo error."""

import json as json_format
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict
from pathlib import Path

from rich.console import Console
from rich.progress import Progress
from rich.table import Table

from evenhand.cli._complaints import BAD_INPUT, complain
from evenhand.errors import EvenhandError
from evenhand.output.write import check_writable, write_beside_then_rename
from evenhand.study.bars import hold
from evenhand.study.characteristics import Characteristics, Estimate, summarise
from evenhand.study.trial import Trial, run
from evenhand.study.worlds import WORLDS
from evenhand.verdict.cost import Costs

# The stakes of the study, in any one currency: a wrong release costs a little under three wrong holds.
COSTS = Costs(wrong_release=400.0, wrong_hold=150.0, one_pull=3.0, one_taste=2.0, prior_bad=0.1)


def study(*, worlds: Sequence[str], seasons: int, seed: int, jobs: int, json: Path | None) -> int:
    """Run the study and show it.

    Returns
    -------
    int
        The exit status: 0, or 2 when a world is not known or the file cannot be written.
    """
    console, complaints = Console(), Console(stderr=True)
    unknown = [name for name in worlds if name not in WORLDS]
    if unknown:
        complaints.print(f"There is no world {unknown[0]}; choose among {', '.join(WORLDS)}.", markup=False)
        return BAD_INPUT
    try:
        if json is not None:
            check_writable(json)
        results = _simulate(list(dict.fromkeys(worlds)) or list(WORLDS), seasons, seed, jobs, complaints)
        if json is not None:
            text = json_format.dumps([asdict(one) for one in results], indent=1) + "\n"
            write_beside_then_rename(json, text.encode())
    except EvenhandError as error:
        return complain(error)
    _show(results, console)
    return 0


def _simulate(worlds: Sequence[str], seasons: int, seed: int, jobs: int, progress_to: Console) -> list[Characteristics]:
    # A world's seasons hang on its name, not on which others are asked for beside it.
    tasks = [(world, (seed, season, *world.encode())) for world in worlds for season in range(seasons)]
    trials: dict[str, list[Trial]] = {world: [] for world in worlds}
    with ProcessPoolExecutor(jobs) as pool, Progress(console=progress_to, transient=True) as progress:
        bar = progress.add_task("Seasons", total=len(tasks))
        for (world, _), trial in zip(tasks, pool.map(_trial, tasks), strict=True):
            trials[world].append(trial)
            progress.advance(bar)
    return [summarise(world, found) for world, found in trials.items()]


def _trial(task: tuple[str, tuple[int, ...]]) -> Trial:
    world, seed = task
    return run(WORLDS[world], COSTS, seed)


def _show(results: Sequence[Characteristics], console: Console) -> None:
    # As many worlds side by side as the screen holds: about 34 columns of words, 17 a world.
    beside = max((console.width - 34) // 17, 1)
    for first in range(0, len(results), beside):
        console.print(_table(results[first : first + beside]))
    for one in results:
        console.print(
            f"{one.world}: {WORLDS[one.world].says}; {one.seasons} seasons of {WORLDS[one.world].batches} batches. "
            f"A perfectly calibrated judge would show a calibration error of {one.calibration_floor:.3f} with as many.",
            highlight=False,
            soft_wrap=True,
        )
    bars = hold(results)
    for bar in bars:
        word = "met   " if bar.met else "MISSED"
        console.print(f"{word}  {bar.world}: {bar.asked}: {bar.seen}", highlight=False, soft_wrap=True)
    console.print(f"{sum(bar.met for bar in bars)} of {len(bars)} bars met.", highlight=False)


def _table(results: Sequence[Characteristics]) -> Table:
    table = Table(title="How the verdicts did, ± Monte Carlo s.e.", title_justify="left")
    table.add_column("", no_wrap=True)
    for one in results:
        table.add_column(one.world, justify="right", no_wrap=True)
    rows = (
        ("coverage of 90 % intervals", "coverage"),
        ("calibration error, attributes", "calibration_within"),
        ("calibration error, batches", "calibration_good"),
        ("the same, tasting again", "calibration_adaptive"),
        ("wrong releases", "wrong_release"),
        ("wrong releases, naive", "naive_wrong_release"),
        ("wrong holds", "wrong_hold"),
        ("wrong holds, naive", "naive_wrong_hold"),
        ("cost a batch", "cost"),
        ("cost a batch, naive", "naive_cost"),
        ("cost over naive", "cost_ratio"),
        ("cups a batch, tasting again", "adaptive_cups"),
        ("cost a batch, tasting again", "adaptive_cost"),
        ("cups over naive at equal cost", "cups_ratio"),
    )
    for words, name in rows:
        table.add_row(words, *(_cell(getattr(one, name)) for one in results))
    return table


def _cell(estimate: Estimate) -> str:
    digits = 1 if estimate.value >= 10 else 3
    return f"{estimate.value:.{digits}f} ± {estimate.error:.{digits}f}"
