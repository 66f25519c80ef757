"""Writes a file so that it is either all there or not there at all.

The bytes go to a temporary file beside the target, are flushed to the disk, and take the target's name in one step. A
reader, a power cut or a full disk never meets half a file.
"""

import contextlib
import errno
import os
import stat
import tempfile
from pathlib import Path

from evenhand.errors import OutputError

_WHY = {
    errno.ENOSPC: "the disk is full; free some space and run again",
    errno.EDQUOT: "your disk quota is used up; free some space and run again",
    errno.EROFS: "the disk can only be read; choose another folder",
    errno.EACCES: "you may not write in its folder; choose another folder or change its permissions",
    errno.EPERM: "you may not write in its folder; choose another folder or change its permissions",
    errno.ENAMETOOLONG: "its name is too long for this disk; choose a shorter one",
    errno.ENOENT: "its folder does not exist; make the folder first or choose another",
    errno.ENOTDIR: "a part of its path is a file and not a folder; choose another path",
    errno.EISDIR: "it is a folder; add the name of a file",
    errno.EFBIG: "it is larger than this disk allows; choose another disk",
    errno.EIO: "the disk reports a fault; choose another disk",
}


def check_writable(path: Path) -> None:
    """Check before the work is done that a file can be written at a path; changes nothing that stays.

    A temporary file is made beside the target and taken away again, which is the only test that holds for every kind of
    disk and permission.

    Parameters
    ----------
    path
        Where the file will be written.

    Raises
    ------
    OutputError
        In one sentence, if the folder is missing or not writable, or if the path is a folder or some other thing that
        is not a plain file.
    """
    path = Path(path)
    _refuse_unless_plain(path)
    try:
        handle, beside = _open_beside(path)
        os.close(handle)
        os.unlink(beside)
    except OSError as problem:
        raise _as_output_error(path, problem) from problem


def write_beside_then_rename(path: Path, content: bytes) -> None:
    """Write a whole file, or none of it: a temporary file beside the target takes the target's name at the end.

    An older file at the path is replaced, and keeps its permissions; if the path is a symbolic link, the file it points
    to is replaced and the link stays.

    Parameters
    ----------
    path
        Where the file is to be.
    content
        All of its bytes.

    Raises
    ------
    OutputError
        In one sentence, if the folder is missing or not writable, the path is a folder, or the disk is full. An older
        file at the path is then as it was, and no temporary file is left.
    """
    path = Path(path)
    _refuse_unless_plain(path)
    beside: str | None = None
    try:
        target = path.resolve()
        handle, beside = _open_beside(path)
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(beside, _mode_for(target))
        os.replace(beside, target)
        beside = None
        _flush_folder(target.parent)
    except OSError as problem:
        raise _as_output_error(path, problem) from problem
    finally:
        if beside is not None:
            with contextlib.suppress(OSError):
                os.unlink(beside)


def _refuse_unless_plain(path: Path) -> None:
    """Raise where the path is already something that a file must not replace: a folder, a device, a pipe."""
    try:
        kind = path.stat().st_mode
    except FileNotFoundError:
        return
    except OSError as problem:
        raise _as_output_error(path, problem) from problem
    if stat.S_ISDIR(kind):
        raise OutputError(f"Cannot write {path}: {_WHY[errno.EISDIR]}.")
    if not stat.S_ISREG(kind):
        raise OutputError(f"Cannot write {path}: it is not a plain file; choose another name.")
    if not os.access(path, os.W_OK):
        raise OutputError(f"Cannot write {path}: it is marked as not to be written; choose another name.")


def _open_beside(path: Path) -> tuple[int, str]:
    """Open a new file in the target's folder, where a rename cannot cross to another disk."""
    return tempfile.mkstemp(prefix=".evenhand-", suffix=".part", dir=path.resolve().parent)


def _mode_for(target: Path) -> int:
    """Return the permissions of the file that is replaced, or those that any new file gets here."""
    try:
        return stat.S_IMODE(target.stat().st_mode)
    except FileNotFoundError:
        mask = os.umask(0)
        os.umask(mask)
        return 0o666 & ~mask


def _flush_folder(folder: Path) -> None:
    """Ask the disk to remember the new name; some systems cannot flush a folder, and the file is whole without it."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _as_output_error(path: Path, problem: OSError) -> OutputError:
    why = _WHY.get(problem.errno or 0, (problem.strerror or str(problem)).lower())
    return OutputError(f"Cannot write {path}: {why}.")
