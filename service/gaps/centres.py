"""The middle of a gap as it stands in the database, with the name of what made it.

A middle of another encoder or catalogue cannot be compared with ours; it is then made
again from the gap's questions.
"""

from __future__ import annotations

import hashlib
import struct

import numpy as np

from askhouse.gaps import Centre, Meaning

__all__ = ["packed", "unpacked"]

_HEAD = struct.Struct("<8sI")  # what made it, and of how many questions it is the mean


def packed(centre: Centre, meaning: Meaning) -> bytes:
    """A middle as bytes: 12 of a head, then its numbers as float32, little-endian."""
    return _HEAD.pack(_tag(meaning), centre.count) + centre.mean.astype("<f4").tobytes()


def unpacked(content: bytes | None, meaning: Meaning) -> Centre | None:
    """The middle, or None where there is none that `meaning` made."""
    if content is None or len(content) != _HEAD.size + 4 * meaning.size:
        return None
    tag, count = _HEAD.unpack_from(content)
    if tag != _tag(meaning) or count == 0:
        return None
    return Centre(np.frombuffer(content, "<f4", offset=_HEAD.size).astype(np.float32), count)


def _tag(meaning: Meaning) -> bytes:
    return hashlib.sha256(meaning.name.encode()).digest()[:8]
