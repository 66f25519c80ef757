"""Brings a folder into the records: new rows are written, changed ones leave their history, the rest stays as it is.

A label tells which record a row means. An empty cell says nothing, so it never wipes out what the records hold. What a
folder does not list is left alone. The dry run does all of it and then undoes it, so it cannot promise anything else.
"""

import os
import unicodedata
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field

from django.db import transaction

from evenhand.errors import FolderError
from evenhand.records._cells import MAX_LABEL_LENGTH
from evenhand.records._green_import import write_batch_lots, write_lots
from evenhand.records._row_writer import Count, RowWriter, values_of
from evenhand.records.audit import Pen, writing
from evenhand.records.canonical import digest
from evenhand.records.coffees import revise_coffee, revise_costs, revise_recipe
from evenhand.records.folder import Folder, read
from evenhand.records.models import (
    Attribute,
    Batch,
    Cup,
    Fault,
    FaultAnswer,
    GreenLot,
    Kept,
    Person,
    Pull,
    Score,
    Sheet,
    Shop,
    Table,
)
from evenhand.records.models._coffee import RECIPE_QUANTITIES
from evenhand.records.models._tasting import BATCH_MEASURES, PULL_MEASURES
from evenhand.records.sheets import standing_sheets
from evenhand.words import Words, say

SheetKey = tuple[str, str]
"""The cup's code and the taster's name."""


@dataclass(frozen=True, slots=True)
class Report:
    """What an import did, or in a dry run would do.

    Attributes
    ----------
    counts
        By file of the folder; sheets are counted by cup and taster, targets with their coffee.
    warnings
        What the reader of the folder remarked.
    is_dry
        True when nothing was kept.
    """

    counts: dict[str, Count]
    warnings: tuple[str, ...]
    is_dry: bool

    def lines(self) -> list[Words]:
        """Return one sentence for each file."""
        return [
            say(
                "{file}: {new} new, {changed} changed, {same} as they were.",
                file=stem,
                new=count.new,
                changed=count.changed,
                same=count.same,
            )
            for stem, count in self.counts.items()
        ]


def import_path(pen: Pen, path: str | os.PathLike[str], *, dry_run: bool) -> Report:
    """Read a folder of CSV files or an XLSX workbook, and bring it into the records.

    Raises
    ------
    FolderError
        When anything in it is wrong, or clashes with the records; nothing is then written.
    """
    return import_folder(pen, read(path, today=pen.today), dry_run=dry_run)


def import_folder(pen: Pen, folder: Folder, *, dry_run: bool) -> Report:
    """Bring a folder that was read into the records, all of it or nothing.

    Parameters
    ----------
    pen
        Who imports, and when.
    folder
        What `evenhand.records.folder.read` returned.
    dry_run
        True undoes everything at the end, and only reports.

    Returns
    -------
    Report
        What was new, changed and the same.

    Raises
    ------
    FolderError
        When the folder is invented and the records are not or the other way round, or a scale in use would change.
    RecordError
        When a changed row clashes with what the records hold besides.
    """
    work = _Import(pen, folder)
    with writing():
        work.run()
        if dry_run:
            transaction.set_rollback(True)
    return Report(work.writer.counts, folder.warnings, dry_run)


class _Import:
    """One import under way; each step writes one file, after those that it names."""

    def __init__(self, pen: Pen, folder: Folder) -> None:
        self.pen = pen
        self.folder = folder
        self.writer = RowWriter(pen)

    def run(self) -> None:
        """Write file after file."""
        self._shop()
        attributes = self._attributes()
        lots = write_lots(self.writer, self.folder)
        versions = self._coffees(lots)
        self.writer.versioned("costs", revise_costs, **asdict(self.folder.costs))
        batches = self._batches(versions)
        write_batch_lots(self.writer, self.folder, batches, lots)
        pulls = self.writer.put(
            "pulls",
            Pull,
            "label",
            {
                r.pull: values_of(r, ("pulled_at", *PULL_MEASURES)) | {"batch_id": batches[r.batch]}
                for r in self.folder.pulls
            },
        )
        tables = self.writer.named(Table, (r.table for r in self.folder.cups if r.table), state="closed")
        self.writer.put(
            "cups",
            Cup,
            "code",
            {
                r.cup: {
                    "pull_id": pulls[r.pull],
                    "service": r.service,
                    "table_id": tables[r.table] if r.table else None,
                    "position": r.position,
                }
                for r in self.folder.cups
            },
        )
        self._sheets(attributes)

    def _shop(self) -> None:
        shop = Shop.objects.order_by("pk").first()
        if shop is None:
            title = unicodedata.normalize("NFC", " ".join(self.folder.title.split()))[:MAX_LABEL_LENGTH].strip()
            self.pen.make(Shop(name=title or "shop", is_invented=self.folder.invented))
        elif shop.is_invented != self.folder.invented:
            clash = say("the folder is marked as invented and the records are not: import it into records of its own.")
            if shop.is_invented:
                clash = say(
                    "the records are marked as invented and the folder is not: import it into records of its own."
                )
            raise FolderError([clash])

    def _attributes(self) -> dict[str, int]:
        held = {row.name: row for row in Attribute.objects.all()}
        clashes = []
        for row in self.folder.attributes:
            there = held.get(row.attribute)
            if there is None or (there.scale_low, there.scale_high) == (row.scale_low, row.scale_high):
                continue
            if there.is_in_use():
                clashes.append(say("{file}: {sentence}", file="attributes", sentence=there.scale_in_use()))
        if clashes:
            raise FolderError(clashes)
        wanted = {r.attribute: values_of(r, ("scale_low", "scale_high")) for r in self.folder.attributes}
        return self.writer.put("attributes", Attribute, "name", wanted)

    def _coffees(self, lots: Mapping[str, int]) -> dict[str, int]:
        """Write recipes, then coffees with their targets; return the standing version of each coffee."""
        for row in self.folder.recipes:
            given = {name: value for name, value in values_of(row, RECIPE_QUANTITIES).items() if value is not None}
            self.writer.versioned("recipes", revise_recipe, row.recipe, **given)
        versions = {}
        for coffee in self.folder.coffees:
            targets = {
                (r.service, r.attribute): (r.target, r.tolerance)
                for r in self.folder.targets
                if r.coffee == coffee.coffee
            }
            version = self.writer.versioned(
                "coffees",
                revise_coffee,
                coffee.coffee,
                recipe=coffee.recipe,
                green_lot=GreenLot.objects.get(pk=lots[coffee.green_lot]) if coffee.green_lot else None,
                targets=targets,
            )
            versions[coffee.coffee] = int(version.pk)
        return versions

    def _batches(self, versions: Mapping[str, int]) -> dict[str, int]:
        """Write the batches; one that is there keeps the version of its coffee under which it was written down."""
        held = Batch.objects.filter(label__in=[r.batch for r in self.folder.batches])
        version_of = {
            (label, coffee): version
            for label, coffee, version in held.values_list("label", "version__coffee__name", "version_id")
        }
        return self.writer.put(
            "batches",
            Batch,
            "label",
            {
                r.batch: values_of(r, ("roasted_on", *BATCH_MEASURES))
                | {"version_id": version_of.get((r.batch, r.coffee), versions[r.coffee])}
                for r in self.folder.batches
            },
        )

    def _sheets(self, attributes: Mapping[str, int]) -> None:
        """Write a sheet for each cup and taster; where another content stands, the new sheet takes its place."""
        self.writer.named(Person, [r.taster for r in self.folder.sheets] + [r.taster for r in self.folder.faults])
        tasters = {person.name: person for person in Person.objects.all()}
        cups = {cup.code: cup for cup in Cup.objects.all()}
        faults = self.writer.named(Fault, (r.fault for r in self.folder.faults))
        wanted: dict[SheetKey, _Content] = {}
        for score in self.folder.sheets:
            wanted.setdefault((score.cup, score.taster), _Content()).scores[score.attribute] = score.score
        for report in self.folder.faults:
            wanted.setdefault((report.cup, report.taster), _Content()).heard[report.fault] = bool(report.heard)
        standing = _standing()
        count = self.writer.count("sheets")
        new: list[tuple[Sheet, dict[str, list[Kept]]]] = []
        for (cup, taster), content in wanted.items():
            old_id, old = standing.get((cup, taster), (None, None))
            if old == content:
                count.same += 1
                continue
            count.new += old is None
            count.changed += old is not None
            before = None if old_id is None else Sheet.objects.get(pk=old_id)
            told = [cup, taster, content.scores, content.heard, "" if before is None else before.client_id]
            sheet = Sheet(
                client_id=f"import-{digest(told)[:32]}",
                cup=cups[cup],
                taster=tasters[taster],
                words="" if before is None else before.words,
                tasted_at=None if before is None else before.tasted_at,
                supersedes=before,
            )
            scores: list[Kept] = [Score(attribute_id=attributes[a], score=s) for a, s in content.scores.items()]
            answers: list[Kept] = [FaultAnswer(fault_id=faults[f], heard=h) for f, h in content.heard.items()]
            new.append((sheet, {"scores": scores, "answers": answers}))
        self.pen.make_many(new)


@dataclass(slots=True)
class _Content:
    """What a sheet of the folder says."""

    scores: dict[str, float] = field(default_factory=dict)
    heard: dict[str, bool] = field(default_factory=dict)


def _standing() -> dict[SheetKey, tuple[int, _Content]]:
    """Return the number and content of every sheet that stands, by cup and taster."""
    found: dict[int, tuple[SheetKey, _Content]] = {
        pk: ((cup, taster), _Content())
        for pk, cup, taster in standing_sheets().values_list("pk", "cup__code", "taster__name")
    }
    for sheet, attribute, score in Score.objects.values_list("sheet_id", "attribute__name", "score"):
        if sheet in found:
            found[sheet][1].scores[attribute] = score
    for sheet, fault, heard in FaultAnswer.objects.values_list("sheet_id", "fault__name", "heard"):
        if sheet in found:
            found[sheet][1].heard[fault] = heard
    return {key: (pk, content) for pk, (key, content) in found.items()}
