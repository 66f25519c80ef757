"""Hashes passwords and PINs with argon2id, at most two at once: each takes 64 MiB and a core for a moment."""

import threading
from typing import Any

from django.contrib.auth.hashers import Argon2PasswordHasher

_TWO = threading.BoundedSemaphore(2)


class BoundedArgon2(Argon2PasswordHasher):
    """Django's argon2 hasher, which waits while two others are at work.

    References
    ----------
    RFC 9106, section 4: the second recommended option, 64 MiB of memory and three passes.
    """

    time_cost = 3
    memory_cost = 65_536
    parallelism = 4

    def encode(self, password: str, salt: str) -> str:
        """Return the hash of a password."""
        with _TWO:
            return super().encode(password, salt)

    def verify(self, password: str, encoded: str) -> bool:
        """Say whether a password fits a hash."""
        with _TWO:
            return super().verify(password, encoded)

    def harden_runtime(self, password: str, encoded: str) -> Any:
        """Do nothing: every hash costs the same."""
