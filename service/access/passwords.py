"""Passwords: Argon2id with the parameters of RFC 9106, section 4, second recommended option."""

from __future__ import annotations

import threading
from functools import lru_cache

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from argon2.profiles import RFC_9106_LOW_MEMORY

__all__ = ["FEWEST", "MOST", "hash_password", "is_dated", "matches", "weakness"]

# NIST SP 800-63B asks for at least 8 characters and for no rule on their kinds; twelve leave
# room for a short sentence, which a host can remember.
FEWEST = 12
MOST = 200  # a bound on work, not on taste

# 64 MiB, three passes, four lanes: what a small machine can spare. The first option of the RFC
# takes 2 GiB, which would let one sign-in push everything else out of a home server's memory.
_hasher = PasswordHasher.from_parameters(RFC_9106_LOW_MEMORY)
_at_once = threading.Semaphore(2)  # so that tries from everywhere cannot fill the memory either


def weakness(password: str) -> str | None:
    """What is wrong with a new password, for the one who chose it; None where nothing is."""
    if len(password) < FEWEST:
        return f"Use at least {FEWEST} characters; a short sentence is easy to remember."
    if len(password) > MOST:
        return f"Use at most {MOST} characters."
    if len(set(password.lower())) < 5:
        return "Use more than four different characters."
    return None


def hash_password(password: str) -> str:
    """The encoded hash, with salt and parameters."""
    with _at_once:
        return _hasher.hash(password)


def matches(stored: str | None, password: str) -> bool:
    """Whether it is the password of that hash; takes as long where there is no hash."""
    if len(password) > MOST:
        return False
    with _at_once:
        try:
            return _hasher.verify(stored or _nobodys(), password) and bool(stored)
        except (VerificationError, InvalidHashError):
            return False


def is_dated(stored: str) -> bool:
    """Whether the hash was made with other parameters than today's."""
    return _hasher.check_needs_rehash(stored)


@lru_cache(maxsize=1)
def _nobodys() -> str:
    return _hasher.hash("a password that nobody has")
