"""The index file beside the data: vectors by the hash of the text they stand for.

A changed fact alone is embedded again. The file holds no text, only hashes, vectors
and, for the reader, states of words; no view holds a secret. Whatever is wrong with the
file, it is made again, and one line says why.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from askhouse.encoder import Encoder, Vectors, WordStates
from askhouse.errors import SettingsError

__all__ = ["FORMAT", "VectorStore", "text_hash"]

FORMAT = "askhouse-vectors-2"
BATCH = 64  # texts between two signs of progress

Progress = Callable[[int, int], None]


def text_hash(text: str) -> str:
    """SHA-256 of the text, in hexadecimal."""
    return hashlib.sha256(text.encode()).hexdigest()


class VectorStore:
    """Vectors of one encoder, kept in a file.

    Args:
        path: The file; None keeps everything in memory.
        encoder: Makes the vectors that are missing.
        tell: Takes the one line that says why a file was made again.
    """

    def __init__(
        self, path: Path | None, encoder: Encoder, tell: Callable[[str], None] = lambda line: None
    ) -> None:
        self._path = path
        self._encoder = encoder
        self._vectors: dict[str, Vectors] = {}
        self._words: dict[str, WordStates] = {}
        self.changed = False  # whether there is more to save than was read
        if path is not None and path.exists():
            reason = self._read(path)
            if reason:
                tell(f"{path.name}: {reason}; the index is made again")

    def _read(self, path: Path) -> str | None:
        """Reads the file; the reason why it cannot be used, or None."""
        try:
            # Opened here, since numpy leaves a file open that it cannot read.
            with path.open("rb") as file, np.load(file, allow_pickle=False) as content:
                return self._take(content)
        # A file can be broken in more ways than numpy has errors for.
        except Exception as error:
            return f"cannot be read ({type(error).__name__})"

    def _take(self, content: np.lib.npyio.NpzFile) -> str | None:
        if str(content["format"]) != FORMAT:
            return "was written by another version"
        if str(content["encoder"]) != self._encoder.name:
            return "belongs to another model"
        hashes, vectors = content["hashes"], content["vectors"]
        read, lengths, states = content["read"], content["lengths"], content["states"]
        if vectors.shape != (len(hashes), self._encoder.size) or vectors.dtype != np.float32:
            return "does not hold what it says"
        if len(read) != len(lengths) or states.shape != (sum(lengths), self._encoder.width):
            return "does not hold what it says"
        if not np.allclose(np.linalg.norm(vectors, axis=1), 1.0, atol=1e-3):
            return "holds vectors that are not of length one"
        groups = np.split(states, np.cumsum(lengths)[:-1]) if len(lengths) else []
        self._words = dict(zip((str(h) for h in read), groups, strict=True))
        self._vectors = dict(zip((str(h) for h in hashes), vectors, strict=True))
        return None

    def vectors(self, texts: Sequence[str], progress: Progress | None = None) -> Vectors:
        """Unit vectors of the texts, `(len(texts), size) float32`; embeds what is missing."""
        hashes = [text_hash(text) for text in texts]
        missing = {h: t for h, t in zip(hashes, texts, strict=True) if h not in self._vectors}
        # Shortest first, since a batch costs what its longest text costs: a third less in all.
        todo = sorted(missing.items(), key=lambda item: len(item[1]))
        for start in range(0, len(todo), BATCH):
            batch = todo[start : start + BATCH]
            made = self._encoder.encode([text for _, text in batch])
            self._vectors.update(zip((h for h, _ in batch), made, strict=True))
            self.changed = True
            if progress is not None:
                progress(min(start + BATCH, len(todo)), len(todo))
        if not texts:
            return np.empty((0, self._encoder.size), dtype=np.float32)
        return np.stack([self._vectors[h] for h in hashes])

    def words(
        self, texts: Sequence[str], progress: Progress | None = None
    ) -> list[WordStates] | None:
        """The reader's word states of the texts; None where the encoder has no reader."""
        if not self._encoder.width:
            return None
        hashes = [text_hash(text) for text in texts]
        missing = {h: t for h, t in zip(hashes, texts, strict=True) if h not in self._words}
        todo = sorted(missing.items(), key=lambda item: len(item[1]))
        for start in range(0, len(todo), BATCH):
            batch = todo[start : start + BATCH]
            for (h, _), made in zip(
                batch, self._encoder.encode_words([text for _, text in batch]), strict=True
            ):
                assert made.words is not None
                self._vectors[h], self._words[h] = made.vector, made.words
            self.changed = True
            if progress is not None:
                progress(min(start + BATCH, len(todo)), len(todo))
        return [self._words[h] for h in hashes]

    def keep_only(self, texts: Sequence[str]) -> None:
        """Forgets the vectors of texts that no house holds any more."""
        wanted = {text_hash(text) for text in texts}
        self._vectors = {h: v for h, v in self._vectors.items() if h in wanted}
        self._words = {h: w for h, w in self._words.items() if h in wanted}

    def __len__(self) -> int:
        return len(self._vectors)

    def save(self) -> None:
        """Writes the file as a whole, so that a kill leaves the old one or the new one.

        Raises:
            SettingsError: The place cannot be written to.
        """
        if self._path is None:
            return
        try:
            self._write(self._path)
            self.changed = False
        except OSError as error:
            raise SettingsError(
                f"the index {self._path} cannot be written ({error.strerror}): "
                "name a file that can be with ASKHOUSE_INDEX"
            ) from error

    def _write(self, path: Path) -> None:
        hashes: NDArray[np.str_] = np.array(sorted(self._vectors), dtype="U64")
        vectors = (
            np.stack([self._vectors[str(h)] for h in hashes])
            if len(hashes)
            else np.empty((0, self._encoder.size), dtype=np.float32)
        )
        read: NDArray[np.str_] = np.array(sorted(self._words), dtype="U64")
        states = [self._words[str(h)] for h in read]
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, suffix=".part")
        try:
            with os.fdopen(handle, "wb") as file:
                np.savez(
                    file,
                    format=np.array(FORMAT),
                    encoder=np.array(self._encoder.name),
                    hashes=hashes,
                    vectors=vectors,
                    read=read,
                    lengths=np.array([len(group) for group in states], dtype=np.int64),
                    states=np.concatenate(states)
                    if states
                    else np.empty((0, self._encoder.width), dtype=np.float16),
                )
            Path(name).replace(path)
        finally:
            Path(name).unlink(missing_ok=True)
