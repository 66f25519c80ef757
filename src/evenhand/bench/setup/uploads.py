"""Keeps what was uploaded for an import on the server between looking at it and doing it, and throws it away after."""

import lzma
import re
import secrets
import shutil
import time
import zipfile
import zlib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import IO, Protocol

from django.utils.translation import gettext as _now

from evenhand.bench.telling import told
from evenhand.records._reasons import reason_of
from evenhand.records._refusals import RecordError
from evenhand.records.folder import INVENTED, MAX_FILE_BYTES
from evenhand.records.rows import FILES

_TOKEN = re.compile(r"[0-9a-f]{32}")
_UNSAFE = re.compile(r"[^\w -]")
_STALE_S = 24 * 3600
_WANTED = {f"{stem}.csv" for stem in FILES} | {f"{INVENTED}.txt"}
_MOST_BYTES = 4 * MAX_FILE_BYTES
_CORRUPT = (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, ValueError, zlib.error, lzma.LZMAError)


class Upload(Protocol):
    """A file that a browser sent."""

    name: str | None
    size: int | None

    def chunks(self, chunk_size: int | None = None) -> Iterable[bytes]:
        """Return its content in pieces."""


@dataclass(frozen=True, slots=True)
class Kept:
    """An upload at hand.

    Attributes
    ----------
    token
        What names it in the session of whoever sent it.
    path
        The folder or the workbook to read.
    left_out
        Names of files of a zip that the folder does not know.
    """

    token: str
    path: Path
    left_out: tuple[str, ...] = ()


def keep(data: Path, upload: Upload) -> Kept:
    """Store an upload: an XLSX workbook, or a zip file of the folder's CSV files.

    Parameters
    ----------
    data
        The folder of the records; uploads lie in its folder `tmp`.
    upload
        What was sent.

    Raises
    ------
    RecordError
        When it is neither, is too large, or cannot be unpacked or stored.
    """
    name = PurePosixPath((upload.name or "").replace("\\", "/")).name
    suffix = name.lower().rpartition(".")[2]
    if suffix not in ("zip", "xlsx"):
        raise RecordError(_now("Send an XLSX workbook, or a zip file of the folder of CSV files; this is neither."))
    if (upload.size or 0) > MAX_FILE_BYTES:
        raise RecordError(
            _now("The file is larger than %(most)s MB; a season of tastings takes far less.")
            % {"most": MAX_FILE_BYTES // 1_000_000}
        )
    sweep(data)
    token = secrets.token_hex(16)
    place = _place(data, token)
    try:
        place.mkdir(parents=True, mode=0o700)
        sent = place / (_UNSAFE.sub("_", name[: -len(suffix) - 1])[:80] + f".{suffix}")  # problems name it so
        with sent.open("wb") as file:
            for chunk in upload.chunks():
                file.write(chunk)
        if suffix == "xlsx":
            return Kept(token, sent)
        folder = place / "folder"
        folder.mkdir()
        left_out = _unpack(sent, folder)
        sent.unlink()
    except OSError as error:
        drop(data, token)
        reason = {"reason": told(reason_of(error))}
        raise RecordError(_now("The upload cannot be kept (%(reason)s).") % reason) from error
    except BaseException:
        drop(data, token)
        raise
    return Kept(token, folder, left_out)


def find(data: Path, token: str) -> Kept:
    """Return an upload that was kept.

    Raises
    ------
    RecordError
        When it is not there any more.
    """
    if _TOKEN.fullmatch(token):
        place = _place(data, token)
        for path in (place / "folder", *place.glob("*.xlsx")):
            if path.exists():
                return Kept(token, path)
    raise RecordError(_now("The upload is not kept any more; send it again."))


def drop(data: Path, token: str) -> None:
    """Throw an upload away."""
    if _TOKEN.fullmatch(token):
        shutil.rmtree(_place(data, token), ignore_errors=True)


def sweep(data: Path, *, older_s: float = _STALE_S) -> None:
    """Throw away uploads that nobody came back for."""
    for place in (data / "tmp").glob("import-*"):
        if time.time() - place.stat().st_mtime > older_s:
            shutil.rmtree(place, ignore_errors=True)


def _place(data: Path, token: str) -> Path:
    return data / "tmp" / f"import-{token}"


def _unpack(sent: Path, folder: Path) -> tuple[str, ...]:
    """Write the files that the folder knows, wherever they lie in the zip; nothing else is written."""
    left_out, written = [], 0
    try:
        with zipfile.ZipFile(sent) as archive:
            for entry in archive.infolist():
                name = PurePosixPath(entry.filename.replace("\\", "/")).name
                if entry.is_dir() or name.startswith(".") or "__MACOSX" in entry.filename:
                    continue
                if name not in _WANTED:
                    left_out.append(name)
                    continue
                target = folder / name
                if target.exists():
                    raise RecordError(
                        _now("The zip file holds %(name)s twice; keep one folder in it.") % {"name": name}
                    )
                with archive.open(entry) as source, target.open("wb") as file:
                    written += _copy(source, file, _MOST_BYTES - written)
    except (*_CORRUPT, OSError) as error:
        if isinstance(error, OSError) and error.errno is not None:  # of the disk; bzip2 says so without a number
            raise
        sentence = _now("The zip file cannot be unpacked; pack the folder anew, without a password.")
        raise RecordError(sentence) from error
    return tuple(sorted(left_out))


def _copy(source: IO[bytes], target: IO[bytes], most: int) -> int:
    written = 0
    while chunk := source.read(1 << 20):
        written += len(chunk)
        if written > most:
            raise RecordError(
                _now("The zip file holds far more than a season of tastings; pack the folder's files alone.")
            )
        target.write(chunk)
    return written
