"""The middle of a gap as it stands in the database, with the name of what made it.

A middle of another encoder or catalogue cannot be compared with ours; it is then made
again from the gap's questions.
"""

from __future__ import annotations

import hashlib
import struct

import numpy as np

from askhouse.gaps import Centre, Meaning

__all__ = ["mark_of", "packed", "read", "unpacked"]

_HEAD = struct.Struct("<8sI")  # what made it, and of how many questions it is the mean


def packed(centre: Centre, mark: bytes) -> bytes:
    """A middle as bytes: 12 of a head, then its numbers as float32, little-endian."""
    return _HEAD.pack(mark, centre.count) + centre.mean.astype("<f4").tobytes()


def unpacked(content: bytes | None, meaning: Meaning) -> Centre | None:
    """The middle, or None where there is none that `meaning` made."""
    found = read(content)
    if found is None or found[0] != mark_of(meaning) or len(found[1].mean) != meaning.size:
        return None
    return found[1]


def read(content: bytes | None) -> tuple[bytes, Centre] | None:
    """The mark of what made a middle, and the middle; those of one mark can be compared."""
    if content is None or len(content) <= _HEAD.size or (len(content) - _HEAD.size) % 4:
        return None
    mark, count = _HEAD.unpack_from(content)
    if count == 0:
        return None
    mean = np.frombuffer(content, "<f4", offset=_HEAD.size).astype(np.float32)
    return mark, Centre(mean, count)


def mark_of(meaning: Meaning) -> bytes:
    """Eight bytes that stand for what makes a middle."""
    return hashlib.sha256(meaning.name.encode()).digest()[:8]
