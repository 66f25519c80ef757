"""Which database holds the records, how it is opened so that nothing is lost, and how it is copied.

SQLite in one file is the default; PostgreSQL is used when EVENHAND_DATABASE_URL names one.
"""

import contextlib
import os
import secrets
import sqlite3
from collections.abc import Iterator, Mapping
from importlib.util import find_spec
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, unquote, urlsplit

from evenhand.records._reasons import reason_of
from evenhand.records._refusals import RecordError
from evenhand.words import say

FILE_NAME = "evenhand.sqlite3"
KEY_NAME = "history.key"

# WAL: reading never waits for writing. FULL: what was answered with "kept" survives a power cut (NORMAL would not
# promise that). IMMEDIATE: a transaction that will write asks at its start, so it waits instead of failing half-way.
_PRAGMAS = (
    "PRAGMA journal_mode=WAL;PRAGMA synchronous=FULL;PRAGMA foreign_keys=ON;PRAGMA busy_timeout=5000;"
    "PRAGMA trusted_schema=OFF;"
)
_BUSY_S = 5.0

_NETWORK = frozenset({"nfs", "nfs4", "cifs", "smb3", "smbfs", "9p", "afs", "ceph", "glusterfs", "ncpfs", "fuse.sshfs"})


def data_folder(environment: Mapping[str, str]) -> Path:
    """Return the folder for the database and its key: EVENHAND_DATA, or the user's folder for data of programs."""
    if named := environment.get("EVENHAND_DATA"):
        return Path(named)
    base = environment.get("XDG_DATA_HOME") or os.path.join(environment.get("HOME", "."), ".local", "share")
    return Path(base) / "evenhand"


def configure(environment: Mapping[str, str]) -> dict[str, Any]:
    """Return Django's description of the database that the environment asks for.

    Parameters
    ----------
    environment
        EVENHAND_DATABASE_URL, if set and not empty, names a PostgreSQL database; otherwise the file is in
        `data_folder`.

    Raises
    ------
    RecordError
        When the URL is of another kind or incomplete, or the driver for PostgreSQL is not installed.
    """
    url = environment.get("EVENHAND_DATABASE_URL", "")
    return _postgresql(url) if url else _sqlite(data_folder(environment) / FILE_NAME)


def _sqlite(path: Path) -> dict[str, Any]:
    return {
        "ENGINE": "django.db.backends.sqlite3",
        "NAME": os.fspath(path),
        "OPTIONS": {"init_command": _PRAGMAS, "transaction_mode": "IMMEDIATE", "timeout": _BUSY_S},
    }


def _postgresql(url: str) -> dict[str, Any]:
    """Read the address; no part of it is repeated in an error, since it may hold a password."""
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError as error:
        sentence = say("EVENHAND_DATABASE_URL cannot be read; its port is a number and its host a name.")
        raise RecordError(sentence) from error
    if parts.scheme not in ("postgresql", "postgres"):
        raise RecordError(
            say("EVENHAND_DATABASE_URL does not begin with postgresql: ; leave it empty to keep the records in a file.")
        )
    name = unquote(parts.path.lstrip("/"))
    if not name:
        raise RecordError(say("EVENHAND_DATABASE_URL names no database; it stands after the host and a slash."))
    if find_spec("psycopg") is None:
        raise RecordError(
            say("EVENHAND_DATABASE_URL asks for PostgreSQL: install Evenhand with its extra named postgres.")
        )
    options = dict(parse_qsl(parts.query))
    host = options.pop("host", "") or unquote(parts.hostname or "")
    return {
        "ENGINE": "django.db.backends.postgresql",
        "NAME": name,
        "USER": unquote(parts.username or ""),
        "PASSWORD": unquote(parts.password or ""),
        "HOST": host,
        "PORT": options.pop("port", "") or ("" if port is None else str(port)),
        "OPTIONS": options,
        "CONN_HEALTH_CHECKS": True,
    }


def prepare(database: Mapping[str, Any]) -> list[str]:
    """Make the folder of a database file, and return warnings about its place.

    Raises
    ------
    RecordError
        When the folder cannot be made.
    """
    if database["ENGINE"] != "django.db.backends.sqlite3":
        return []
    folder = Path(database["NAME"]).resolve().parent
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        sentence = say(
            "{folder}: the folder for the records cannot be made ({reason}).", folder=folder, reason=reason_of(error)
        )
        raise RecordError(sentence) from error
    mounts = Path("/proc/mounts")
    if not mounts.exists():
        return []
    kind = network_share(folder, mounts.read_text(encoding="utf-8", errors="replace"))
    if kind is None:
        return []
    return [
        say(
            "{folder}: the records lie on a network share ({kind}), where a database file can be damaged; set "
            "EVENHAND_DATA to a folder on this machine.",
            folder=folder,
            kind=kind,
        )
    ]


def network_share(folder: Path, mounts: str) -> str | None:
    """Return the kind of network share that a folder lies on, or None.

    Parameters
    ----------
    folder
        The folder, without symbolic links.
    mounts
        What is mounted where, as /proc/mounts tells it.
    """
    best, kind = "", ""
    for line in mounts.splitlines():
        words = line.split(" ")
        if len(words) < 3:
            continue
        place = words[1].replace("\\040", " ").replace("\\134", "\\")
        if folder.is_relative_to(place) and len(place) >= len(best):
            best, kind = place, words[2]
    return kind if kind in _NETWORK else None


def backup(source: str | os.PathLike[str], target: str | os.PathLike[str]) -> Path:
    """Copy a database file while it is in use: whole, checked, and named only when it is safe on the disk.

    Parameters
    ----------
    source
        The database file.
    target
        The file to write; it must not be there yet. The key file is not copied: keep a copy of it elsewhere.

    Returns
    -------
    Path
        The copy.

    Raises
    ------
    RecordError
        When the source is no database or is damaged, or the target is there or cannot be written.
    """
    source, target = Path(source), Path(target)
    if not source.is_file():
        raise RecordError(say("{place}: there is no such database file.", place=source))
    if target.exists():
        raise RecordError(say("{place}: this file is there already; give the copy a name of its own.", place=target))
    draft = target.with_name(f".{target.name}.{secrets.token_hex(4)}.part")
    try:
        with _opened(source) as database:
            database.execute("VACUUM INTO ?", [os.fspath(draft)])
        with _opened(draft) as copy:
            if (found := copy.execute("PRAGMA integrity_check").fetchone()[0]) != "ok":
                raise RecordError(
                    say("{place}: the copy is damaged and was not kept ({found}).", place=source, found=found)
                )
        _flush(draft)
        draft.rename(target)
        _flush(target.parent)
    except (sqlite3.Error, OSError) as error:
        sentence = say("{place}: the copy cannot be written ({reason}).", place=target, reason=reason_of(error))
        raise RecordError(sentence) from error
    finally:
        draft.unlink(missing_ok=True)
    return target


@contextlib.contextmanager
def _opened(path: Path) -> Iterator[sqlite3.Connection]:
    database = sqlite3.connect(path, timeout=_BUSY_S, isolation_level=None)
    try:
        yield database
    finally:
        database.close()


def _flush(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
