"""Numbers -> one probability, and the threshold for a stated risk.

The estimate is a logistic regression, fitted on the corpus's houses by
`askhouse.training.decision`, so that its weights can be read; the threshold is
chosen on houses that the fit has not seen.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from askhouse.decision.signals import SIGNALS
from askhouse.errors import ModelError

__all__ = ["Calibration", "Promise"]


@dataclass(frozen=True, slots=True)
class Promise:
    """What a threshold keeps.

    Attributes:
        risk: At most this share of messages gets a wrong reply.
        confidence: With at least this probability over the draw of messages.
        messages: How many messages the threshold was chosen on.
        houses: How many houses they belong to.
    """

    risk: float
    confidence: float
    messages: int
    houses: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """The fitted decision.

    Attributes:
        encoder: The encoder whose similarities it was fitted on.
        reader: The reader it was fitted with, or "".
        weights: One for each of `SIGNALS`.
        bias: Added to their sum.
        threshold: A fact answers from this probability on.
        also: A further fact is given from this probability on.
        safety: A learned safety alarm is raised from this probability on.
        lockout: The same for a lockout.
        promise: What the threshold keeps.
    """

    encoder: str
    reader: str
    weights: NDArray[np.float64]
    bias: float
    threshold: float
    also: float
    safety: float
    lockout: float
    promise: Promise

    def probabilities(self, signals: NDArray[np.float64]) -> NDArray[np.float64]:
        """The probability that each hit answers, `(hits,)`, 0 to 1."""
        shares: NDArray[np.float64] = 1.0 / (1.0 + np.exp(-(signals @ self.weights + self.bias)))
        return shares

    @classmethod
    def read(cls, path: Path) -> Calibration:
        """Reads a calibration.

        Raises:
            ModelError: The file is missing, broken, or of another version.
        """
        try:
            content = json.loads(path.read_text(encoding="utf-8"))
            if content["signals"] != list(SIGNALS):
                raise ModelError(
                    f"{path.name} was fitted for other signals: "
                    "fit it again with `python -m askhouse.training.decision`"
                )
            return cls(
                encoder=content["encoder"],
                reader=content["reader"],
                weights=np.array(content["weights"]),
                bias=content["bias"],
                threshold=content["threshold"],
                also=content["also"],
                safety=content["safety"],
                lockout=content["lockout"],
                promise=Promise(**content["promise"]),
            )
        except (OSError, KeyError, TypeError, ValueError) as error:
            raise ModelError(f"{path.name} cannot be read: install the package again") from error

    def write(self, path: Path) -> None:
        """Writes the calibration as JSON that a person can read."""
        content = {
            "encoder": self.encoder,
            "reader": self.reader,
            "signals": list(SIGNALS),
            "weights": [round(float(weight), 5) for weight in self.weights],
            "bias": round(self.bias, 5),
            "threshold": round(self.threshold, 4),
            "also": round(self.also, 4),
            "safety": round(self.safety, 4),
            "lockout": round(self.lockout, 4),
            "promise": {
                "risk": self.promise.risk,
                "confidence": self.promise.confidence,
                "messages": self.promise.messages,
                "houses": self.promise.houses,
            },
        }
        path.write_text(json.dumps(content, indent=2) + "\n", encoding="utf-8")
