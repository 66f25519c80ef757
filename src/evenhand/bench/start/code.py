"""The code of the first run: only who can read the server's terminal becomes the first owner."""

import functools
import hashlib
import hmac

from django.conf import settings


@functools.cache
def first_code() -> str:
    """Return the code that `evenhand serve` prints while nobody can log in yet; it follows from the server's key."""
    digest = hmac.new(settings.SECRET_KEY.encode(), b"evenhand first run", hashlib.sha256).hexdigest()
    return digest[:12].upper()


def is_first_code(text: str) -> bool:
    """Say whether this is the code."""
    return hmac.compare_digest(text.strip().upper().encode(), first_code().encode())
