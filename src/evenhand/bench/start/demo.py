"""Brings the invented roastery into records that are still empty, so that every page has something to show."""

import dataclasses
from pathlib import Path

from django.utils.translation import gettext as _now

import evenhand
from evenhand.records._refusals import RecordError
from evenhand.records.audit import Pen
from evenhand.records.folder import read
from evenhand.records.importing import Report, import_folder
from evenhand.records.models import Person, Word

TITLE = "Roastery on Quarrow"
WORDS = (
    "almond",
    "baked apple",
    "blackcurrant",
    "cedar",
    "cocoa",
    "dried fig",
    "honey",
    "orange peel",
    "plum",
    "toast",
)


def demo_folder() -> Path:
    """Return the folder of the demo: it comes with the program, or stands in a checkout of it.

    Raises
    ------
    RecordError
        When it is at neither place.
    """
    inside = Path(evenhand.__file__).resolve().parent
    for place in (inside / "demo" / "season", inside.parents[1] / "demo" / "season"):
        if (place / "recipes.csv").is_file():
            return place
    raise RecordError(
        _now("The demo did not come with this installation; choose the set-up of five questions instead.")
    )


def bring_demo(pen: Pen) -> Report:
    """Import the demo, and write its tasters down as tasters; nobody gets an account.

    Raises
    ------
    FolderError
        When the demo cannot be read, such as on a machine whose calendar is behind.
    RecordError
        When it is missing.
    """
    folder = dataclasses.replace(read(demo_folder(), today=pen.today), title=TITLE)
    report = import_folder(pen, folder, dry_run=False)
    for person in Person.objects.filter(role__isnull=True):
        pen.change(person, role="taster")
    for word in WORDS:
        pen.make(Word(name=word))
    return report
