"""Says in words why the system would not open or write a file."""

import errno
from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from evenhand.words import Words, say

_KNOWN: Final[Mapping[int, Words]] = MappingProxyType(
    {
        errno.EACCES: say("permission denied"),
        errno.EEXIST: say("file exists"),
        errno.EIO: say("input/output error"),
        errno.EISDIR: say("is a directory"),
        errno.ENAMETOOLONG: say("file name too long"),
        errno.ENOENT: say("no such file or directory"),
        errno.ENOSPC: say("no space left on device"),
        errno.ENOTDIR: say("not a directory"),
        errno.EPERM: say("operation not permitted"),
        errno.EROFS: say("read-only file system"),
    }
)


def reason_of(error: Exception) -> str:
    """Return why an error came about, as a clause; what few ever meet stays in the system's own words."""
    clause = str(getattr(error, "strerror", None) or error).lower()
    known = _KNOWN.get(getattr(error, "errno", None) or 0)
    return known if known == clause else clause  # another system may have other words, which say more than ours
