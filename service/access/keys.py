"""Random keys that open something, and the hashes under which they are kept."""

from __future__ import annotations

import hashlib
import secrets

__all__ = ["key_hash", "new_key"]


def new_key() -> str:
    """A key of 256 random bits, in letters that a link can carry."""
    return secrets.token_urlsafe(32)


def key_hash(key: str) -> str:
    """The SHA-256 under which a key is kept and found.

    A plain hash does: the key itself is random, so there is nothing to guess from it, and it is
    found by an index instead of being compared.
    """
    return hashlib.sha256(key.encode("utf-8", "surrogatepass")).hexdigest()
