"""From a folder of tastings to its judgement: the door that the command and Python share."""

from datetime import date
from pathlib import Path

import numpy as np

from evenhand.espresso.recipe import HouseRecipe, Pull
from evenhand.records.folder import Folder, read
from evenhand.verdict.cost import Costs
from evenhand.verdict.judge import judge as judge_tastings
from evenhand.verdict.judgement import Judgement
from evenhand.verdict.tastings import (
    Batch,
    BatchPull,
    Lot,
    LotReading,
    LotStorage,
    Reports,
    Scores,
    Target,
    Tastings,
)


def judge(path: str | Path, *, today: date | None = None, batches: tuple[str, ...] = ()) -> Judgement:
    """Judge every batch in a folder of CSV files, or in one XLSX workbook.

    Parameters
    ----------
    path
        The folder or workbook, as described in docs/formats.md.
    today
        The day of judging; later dates in the folder are errors. The computer's own date if left out.
    batches
        Give the verdicts of these batches only; all sheets still inform them.

    Returns
    -------
    Judgement
        A verdict for each batch, with its risk and reasons.

    Raises
    ------
    FolderError
        If the folder holds anything that cannot be read; it lists every problem found.
    """
    judged_on = date.today() if today is None else today
    folder = read(Path(path), today=judged_on)
    return judge_tastings(arrange(folder, judged_on=judged_on), batches=batches)


def arrange(folder: Folder, *, judged_on: date) -> Tastings:
    """Arrange the rows of a folder as the plain arrays that a judgement is made from."""
    recipes = {
        row.recipe: HouseRecipe(
            name=row.recipe,
            dose_g=row.dose_g,
            dose_tol_g=row.dose_tol_g,
            beverage_g=row.beverage_g,
            beverage_tol_g=row.beverage_tol_g,
            time_s=row.time_s,
            time_tol_s=row.time_tol_s,
            water_c=row.water_c,
            water_tol_c=row.water_tol_c,
            pressure_bar=row.pressure_bar,
            pressure_tol_bar=row.pressure_tol_bar,
        )
        for row in folder.recipes
    }
    targets: dict[str, dict[tuple[str, str], Target]] = {row.coffee: {} for row in folder.coffees}
    for goal in folder.targets:
        targets[goal.coffee][(goal.service, goal.attribute)] = Target(goal.target, goal.tolerance)
    batch_of_pull = {row.pull: row.batch for row in folder.pulls}
    lot_of_coffee = {row.coffee: row.green_lot for row in folder.coffees if row.green_lot}
    lot_of_batch = _lot_of_batch(folder)
    cups = {row.cup: row for row in folder.cups}

    def labels(values: list[str]) -> np.ndarray[tuple[int], np.dtype[np.str_]]:
        return np.array(values, dtype=np.str_)

    sheet_cups = [cups[row.cup] for row in folder.sheets]
    report_cups = [cups[row.cup] for row in folder.faults]
    return Tastings(
        title=folder.title,
        judged_on=judged_on.isoformat(),
        invented=folder.invented,
        warnings=folder.warnings,
        batches=tuple(
            Batch(
                batch=row.batch,
                coffee=row.coffee,
                roasted_on=row.roasted_on.isoformat(),
                colour=row.colour,
                colour_scale=row.colour_scale,
                green_in_kg=row.green_in_kg,
                roasted_out_kg=row.roasted_out_kg,
                green_moisture_pct=row.green_moisture_pct,
                roasted_moisture_pct=row.roasted_moisture_pct,
                roast_time_s=row.roast_time_s,
                green_lot=lot_of_batch[row.batch],
            )
            for row in folder.batches
        ),
        recipes={row.coffee: recipes[row.recipe] for row in folder.coffees},
        targets=targets,
        scales={row.attribute: (row.scale_low, row.scale_high) for row in folder.attributes},
        pulls=tuple(
            BatchPull(
                batch=row.batch,
                pull=Pull(
                    name=row.pull,
                    dose_g=row.dose_g,
                    beverage_g=row.beverage_g,
                    time_s=row.time_s,
                    water_c=row.water_c,
                    pressure_bar=row.pressure_bar,
                    tds_pct=row.tds_pct,
                ),
                pulled_on=row.pulled_at.isoformat()[:10],
            )
            for row in folder.pulls
        ),
        scores=Scores(
            batch=labels([batch_of_pull[cup.pull] for cup in sheet_cups]),
            pull=labels([cup.pull for cup in sheet_cups]),
            cup=labels([cup.cup for cup in sheet_cups]),
            taster=labels([row.taster for row in folder.sheets]),
            service=labels([cup.service for cup in sheet_cups]),
            attribute=labels([row.attribute for row in folder.sheets]),
            score=np.array([row.score for row in folder.sheets], dtype=float),
        ),
        reports=Reports(
            batch=labels([batch_of_pull[cup.pull] for cup in report_cups]),
            pull=labels([cup.pull for cup in report_cups]),
            cup=labels([cup.cup for cup in report_cups]),
            taster=labels([row.taster for row in folder.faults]),
            fault=labels([row.fault for row in folder.faults]),
            heard=np.array([row.heard for row in folder.faults], dtype=float),
        ),
        costs=Costs(
            wrong_release=folder.costs.wrong_release,
            wrong_hold=folder.costs.wrong_hold,
            one_pull=folder.costs.one_pull,
            one_taste=folder.costs.one_taste,
            prior_bad=folder.costs.prior_bad,
        ),
        tables={cup.cup: cup.table for cup in folder.cups if cup.table},
        lots=_lots(folder),
        lot_of_coffee=lot_of_coffee,
    )


def _lot_of_batch(folder: Folder) -> dict[str, str | None]:
    """Return the lot of each batch: its own, none for a blend, and else the lot that its coffee names."""
    of_coffee = {row.coffee: row.green_lot for row in folder.coffees}
    lots = {row.batch: row.green_lot or of_coffee[row.coffee] for row in folder.batches}
    named: dict[str, list[str]] = {}
    for row in folder.batch_lots:
        named.setdefault(row.batch, []).append(row.green_lot)
    return lots | {batch: own[0] if len(own) == 1 else None for batch, own in named.items()}


def _lots(folder: Folder) -> tuple[Lot, ...]:
    """Gather the readings and spells of storage of each lot, in the order of their days."""
    readings = sorted(folder.green_readings, key=lambda row: row.read_on)
    storage = sorted(folder.green_storage, key=lambda row: row.stored_from)
    return tuple(
        Lot(
            lot=row.green_lot,
            origin=row.origin,
            process=row.process,
            harvest=row.harvest,
            harvested_on=row.harvested_on.isoformat() if row.harvested_on else None,
            arrived_on=row.arrived_on.isoformat() if row.arrived_on else None,
            green_kg=row.green_kg,
            bag_kg=row.bag_kg,
            readings=tuple(
                LotReading(
                    read_on=one.read_on.isoformat(),
                    moisture_pct=one.moisture_pct,
                    moisture_method=one.moisture_method,
                    water_activity=one.water_activity,
                    water_activity_c=one.water_activity_c,
                )
                for one in readings
                if one.green_lot == row.green_lot
            ),
            storage=tuple(
                LotStorage(
                    stored_from=one.stored_from.isoformat(),
                    temperature_c=one.temperature_c,
                    water_activity=one.water_activity,
                    packaging=one.packaging,
                )
                for one in storage
                if one.green_lot == row.green_lot
            ),
        )
        for row in folder.green_lots
    )
