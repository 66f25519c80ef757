"""Keys that seal the history: kept in a file outside the database, so that rewriting the records is not enough.

The file holds one key a line, as 64 hexadecimal digits; the last one seals, the others still check what they sealed.
"""

import hashlib
import hmac
import os
import re
import secrets
from dataclasses import dataclass, field
from pathlib import Path

from evenhand.records._reasons import reason_of
from evenhand.records._refusals import RecordError
from evenhand.words import say

_KEY = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True, slots=True)
class KeyRing:
    """Keys in the order in which they were made; the last one seals."""

    keys: tuple[bytes, ...] = field(repr=False)  # a key must not end up in a log

    @property
    def name(self) -> str:
        """The name of the key that seals: it tells keys apart and says nothing of them."""
        return _name_of(self.keys[-1])

    def seal(self, digest: str) -> str:
        """Return the seal of a digest: HMAC with SHA-256 under the last key."""
        return _sealed(self.keys[-1], digest)

    def knows(self, name: str) -> bool:
        """Say whether the key of this name is at hand."""
        return any(_name_of(key) == name for key in self.keys)

    def check(self, name: str, digest: str, seal: str) -> bool:
        """Say whether the seal was made for this digest by the key of this name."""
        return any(hmac.compare_digest(_sealed(key, digest), seal) for key in self.keys if _name_of(key) == name)


def load(path: str | os.PathLike[str], *, make: bool) -> KeyRing:
    """Return the keys of a file.

    Parameters
    ----------
    path
        The key file.
    make
        Where there is no file, True makes one with a new key that only its owner can read; False returns no keys.

    Raises
    ------
    RecordError
        When the file cannot be read or made, or holds anything but keys.
    """
    place = Path(path)
    try:
        if not place.exists():
            if not make:
                return KeyRing(())
            _make(place)
        text = place.read_text(encoding="ascii", errors="replace")
    except OSError as error:
        sentence = say("{place}: the key file cannot be used ({reason}).", place=place, reason=reason_of(error))
        raise RecordError(sentence) from error
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    if not lines or not all(_KEY.fullmatch(line) for line in lines):
        raise RecordError(
            say("{place}: this is no key file; a line is a key of 64 hexadecimal digits. Restore it.", place=place)
        )
    return KeyRing(tuple(bytes.fromhex(line) for line in lines))


def _make(place: Path) -> None:
    """Write a new key beside its place and then link it there: of two processes, one wins and nobody sees a half."""
    place.parent.mkdir(parents=True, exist_ok=True)
    draft = place.with_name(f".{place.name}.{secrets.token_hex(4)}")
    handle = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with os.fdopen(handle, "w", encoding="ascii") as file:
            file.write(secrets.token_hex(32) + "\n")
            file.flush()
            os.fsync(file.fileno())
        try:
            os.link(draft, place)
        except FileExistsError:
            return
    finally:
        draft.unlink()


def _name_of(key: bytes) -> str:
    return hashlib.sha256(b"name of key" + key).hexdigest()[:16]


def _sealed(key: bytes, digest: str) -> str:
    return hmac.new(key, digest.encode("ascii", "replace"), hashlib.sha256).hexdigest()
