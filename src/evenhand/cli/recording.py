"""`evenhand import`, `export`, `verify` and `backup`: thin shells around the records; bad input ends in status 2."""

import datetime as dt
import getpass
import os
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from rich.console import Console

from evenhand.cli._complaints import complain
from evenhand.errors import EvenhandError

BROKEN = 1


def bring_in(folder: Path, *, dry_run: bool, who: str | None, now: dt.datetime | None = None) -> int:
    """Bring a folder or workbook into the records, or only say what would be new and changed.

    Parameters
    ----------
    folder
        What `evenhand judge` reads.
    dry_run
        True keeps nothing.
    who
        The name that the history gives to the writer; the operating system's name of the user if left out.
    now
        The time of writing, with its zone; the computer's own if left out.

    Returns
    -------
    int
        The exit status: 0, or 2 with the reasons on standard error and nothing kept.
    """

    def work() -> int:
        from evenhand.records.folder import read

        at = now or dt.datetime.now().astimezone()
        name = _user() if who is None else who
        rows = read(folder, today=at.date())  # before the records are opened: a slip in the path makes no database
        with _records():
            from evenhand.records.audit import Pen
            from evenhand.records.importing import import_folder

            report = import_folder(Pen(who=name, at=at), rows, dry_run=dry_run)
        _warn(report.warnings)
        console = _out()
        for line in report.lines():
            console.print(line)
        console.print("Dry run: nothing was kept." if dry_run else f"Written down in the name of {name}.")
        return 0

    return _ended(work)


def give_back(place: Path, *, xlsx: bool) -> int:
    """Write the records as a folder of CSV files, or as one workbook.

    Parameters
    ----------
    place
        The folder or file to make; it must not be there yet.
    xlsx
        True makes a workbook.

    Returns
    -------
    int
        The exit status: 0, or 2 with the reasons on standard error and nothing written.
    """

    def work() -> int:
        from evenhand.records._refusals import RecordError

        if not xlsx and place.suffix.lower() == ".xlsx":
            raise RecordError(f"{place}: this is the name of a workbook; add --xlsx, or name a folder.")
        with _records(must_be=True):
            from evenhand.records.exporting import collect, find_formulas, write_folder, write_workbook

            folder = collect()
            (write_workbook if xlsx else write_folder)(folder, place)
        _warn((*folder.warnings, *(() if xlsx else find_formulas(folder))))
        _out().print(f"Written: {place} ({len(folder.batches):,} batches, {len(folder.pulls):,} pulls).")
        return 0

    return _ended(work)


def verify(noted: str | None) -> int:
    """Follow the sealed history, hold every record against it, and say what broke and where.

    Parameters
    ----------
    noted
        Number and digest of an entry as this command printed them once, as "1916:0f3a...".

    Returns
    -------
    int
        The exit status: 0 if all is whole, 1 if something is broken, 2 if the records cannot be looked at.
    """

    def work() -> int:
        anchor = None if noted is None else _anchor(noted)
        with _records(must_be=True):
            from evenhand.records.audit import head
            from evenhand.records.chain import verify_chain

            last, digest = head()
            found = verify_chain(anchor=anchor)
        if found.broken is not None:
            error = Console(stderr=True)
            error.print(f"Broken: {found.broken.what}", style="red", markup=False, highlight=False, soft_wrap=True)
            return BROKEN
        console = _out()
        console.print(f"Whole: {found.entries:,} entries, and {found.records:,} records as they were written.")
        if last:
            console.print(f"Last entry {last}:{digest}")
            console.print("Note it elsewhere: --noted with it shows later that nothing was cut off or written anew.")
        return 0

    return _ended(work)


def back_up(target: Path) -> int:
    """Copy the database file while it is in use; it is neither changed nor brought up to date.

    Parameters
    ----------
    target
        The file to make; it must not be there yet.

    Returns
    -------
    int
        The exit status: 0, or 2 with the reasons on standard error and nothing written.
    """

    def work() -> int:
        from evenhand.records._refusals import RecordError
        from evenhand.records.database import backup

        settings = _settings()
        source = _database_file(settings)
        if source is None:
            raise RecordError("The records are in PostgreSQL, which brings its own tools to copy a database; use them.")
        _must_be_there(source)
        console = _out()
        console.print(f"Written: {backup(source, target)}")
        console.print(
            f"The key that seals the history is not in it; keep a copy elsewhere: {settings.EVENHAND_KEY_FILE}"
        )
        return 0

    return _ended(work)


@contextmanager
def _records(*, must_be: bool = False) -> Iterator[None]:
    """Open the records; what the database refuses meanwhile becomes a sentence.

    `must_be` refuses to begin new records where there are none.
    """
    from evenhand.records._refusals import RecordError
    from evenhand.records.opening import open_records

    if must_be and (file := _database_file(_settings())) is not None:
        _must_be_there(file)
    from django.db import Error

    try:
        _warn(open_records())
        yield
    except Error as error:
        reason = (str(error).strip().splitlines() or [type(error).__name__])[0]
        raise RecordError(
            f"The database of the records cannot be used ({reason.rstrip('.')}); look at EVENHAND_DATA and "
            "EVENHAND_DATABASE_URL, or try again when no other program is writing."
        ) from error


def _settings() -> Any:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "evenhand.records.settings")
    from django.conf import settings

    return settings


def _database_file(settings: Any) -> Path | None:
    """Return the file that holds the records, or None where they are not in a file."""
    database = settings.DATABASES["default"]
    return Path(database["NAME"]) if database["ENGINE"].endswith("sqlite3") else None


def _must_be_there(file: Path) -> None:
    from evenhand.records._refusals import RecordError

    if not file.is_file():
        raise RecordError(
            f"{file}: there are no records yet; begin them with evenhand import FOLDER, or set EVENHAND_DATA to the "
            "folder where they lie."
        )


def _anchor(noted: str) -> tuple[int, str]:
    from evenhand.records._refusals import RecordError

    number, _, digest = noted.strip().partition(":")
    if not (number.isascii() and number.isdigit() and len(digest) == 64):
        raise RecordError("--noted is the number and digest of an entry as evenhand verify prints them, with a colon.")
    return int(number), digest.lower()


def _user() -> str:
    from evenhand.records._refusals import RecordError

    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError) as error:
        raise RecordError("The operating system does not tell who you are; say it with --as NAME.") from error


def _ended(work: Callable[[], int]) -> int:
    try:
        return work()
    except EvenhandError as error:
        return complain(error)


def _out() -> Console:
    return Console(markup=False, highlight=False, soft_wrap=True)


def _warn(sentences: Iterable[str]) -> None:
    console = Console(stderr=True, markup=False, highlight=False, soft_wrap=True)
    for sentence in sentences:
        console.print(f"Warning: {sentence}", style="yellow")
