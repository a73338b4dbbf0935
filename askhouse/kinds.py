"""The learned heads: what kind of thing a part is, read from its vector.

They stand below triage and decision, beside the encoder. Each head is a multinomial
logistic regression on the encoder's vector. With the trained encoder it also looks at
the single words, since a mean over them hides one bad sentence in a long cheerful
message. Its weights belong to one encoder and are refused with another.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from zipfile import BadZipFile

import numpy as np
from numpy.typing import NDArray

from askhouse.encoder import Encoded, Encoder
from askhouse.errors import ModelError

__all__ = ["KINDS", "KindHead", "Kinds", "Once", "Scores"]

# What a part can be. "question" is for the facts; the others are outcomes of their own.
KINDS = ("question", "safety", "lockout", "damage", "request", "complaint", "chat")

Scores = dict[str, float]


@dataclass(frozen=True, slots=True)
class KindHead:
    """One softmax over named classes.

    Attributes:
        classes: Names, in the order of the rows of `weights`.
        weights: `(classes, size) float32`.
        bias: `(classes,) float32`.
        looks: Which words each class looks for, `(classes, width) float32`, or None.
        says: What such a word says for the class, of the same shape, or None.
    """

    classes: tuple[str, ...]
    weights: NDArray[np.float32]
    bias: NDArray[np.float32]
    looks: NDArray[np.float32] | None = None
    says: NDArray[np.float32] | None = None

    def probabilities(self, encoded: Encoded) -> Scores:
        """A probability for each class; they add up to 1."""
        logits = self.weights @ encoded.vector + self.bias
        if self.looks is not None and self.says is not None and encoded.words is not None:
            words = encoded.words.astype(np.float32)
            sought = words @ self.looks.T
            shares = np.exp(sought - sought.max(axis=0))
            logits += (shares / shares.sum(axis=0) * (words @ self.says.T)).sum(axis=0)
        exponents = np.exp(logits - logits.max())
        shares = exponents / exponents.sum()
        return dict(zip(self.classes, shares.tolist(), strict=True))


class Kinds:
    """The heads of one file: `kind` over `KINDS`, and `hazard` over the hazards of triage.

    Args:
        path: The file.
        encoder: The encoder that the heads were trained on.
        alone: The encoder is not the one of search: a text is encoded again for the heads.

    Raises:
        ModelError: The file is missing, broken, or belongs to another encoder.
    """

    def __init__(self, path: Path, encoder: Encoder, *, alone: bool = False) -> None:
        try:
            with path.open("rb") as file, np.load(file, allow_pickle=False) as content:
                owner = str(content["encoder"])
                self._kind = _head(content, "kind")
                self._hazard = _head(content, "hazard")
        except (OSError, EOFError, BadZipFile, KeyError, ValueError) as error:
            raise ModelError(f"{path.name} cannot be read: install the package again") from error
        if owner != encoder.name:
            raise ModelError(
                f"{path.name} was trained for another encoder ({owner}): "
                "install the package again, or after a training of your own write both anew "
                "with `python -m askhouse.training.export`"
            )
        self._encoder = encoder if alone else None

    def read(self, text: str, encoded: Encoded) -> tuple[Scores, Scores]:
        """Probabilities of kind, and of hazard given that there is harm.

        Args:
            text: The part.
            encoded: As the encoder of search sees it.
        """
        if self._encoder is not None:
            (encoded,) = self._encoder.encode_words([text])
        return self._kind.probabilities(encoded), self._hazard.probabilities(encoded)


class Once:
    """Each text of one message encoded once, and read by the heads once, whoever asks for it."""

    def __init__(self, encoder: Encoder, heads: Kinds) -> None:
        self._encoder = encoder
        self._heads = heads
        self._encoded: dict[str, Encoded] = {}
        self._read: dict[str, tuple[Scores, Scores]] = {}

    def __call__(self, text: str) -> Encoded:
        """The text as the encoder of search sees it."""
        if text not in self._encoded:
            (self._encoded[text],) = self._encoder.encode_words([text])
        return self._encoded[text]

    def kinds(self, text: str) -> tuple[Scores, Scores]:
        """What `Kinds.read` says of it."""
        if text not in self._read:
            self._read[text] = self._heads.read(text, self(text))
        return self._read[text]


def _head(content: np.lib.npyio.NpzFile, name: str) -> KindHead:
    return KindHead(
        classes=tuple(str(c) for c in content[f"{name}_classes"]),
        weights=content[f"{name}_weights"],
        bias=content[f"{name}_bias"],
        looks=content.get(f"{name}_looks"),
        says=content.get(f"{name}_says"),
    )
