"""Numbers -> one probability, and the threshold for a stated risk.

The estimate is a network of one hidden layer over the signals, fitted on the
corpus's houses by `askhouse.training.decision`: what a cosine means depends on how
far the next fact is behind, which a sum of signals cannot say. The threshold is
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

__all__ = ["Calibration", "Network", "Promise"]


_ARRAYS = ("mean", "spread", "hidden", "hidden_bias", "weights")


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
class Network:
    """One hidden layer over the signals of a hit.

    Attributes:
        mean: Of each of `SIGNALS` over the corpus.
        spread: Their standard deviations.
        hidden: Weights of the hidden layer, `(signals, units)`.
        hidden_bias: `(units,)`.
        weights: Of the output, `(units,)`.
        bias: Of the output.
    """

    mean: NDArray[np.float64]
    spread: NDArray[np.float64]
    hidden: NDArray[np.float64]
    hidden_bias: NDArray[np.float64]
    weights: NDArray[np.float64]
    bias: float

    def probabilities(self, signals: NDArray[np.float64]) -> NDArray[np.float64]:
        """The probability that each hit answers, `(hits,)`, 0 to 1."""
        scaled = (signals - self.mean) / self.spread
        units = np.maximum(scaled @ self.hidden + self.hidden_bias, 0.0)
        shares: NDArray[np.float64] = 1.0 / (1.0 + np.exp(-(units @ self.weights + self.bias)))
        return shares


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """The fitted decision.

    Attributes:
        encoder: The encoder whose similarities it was fitted on.
        reader: The reader it was fitted with, or "".
        network: Turns signals into a probability.
        threshold: A fact answers from this probability on.
        also: A further fact is given from this probability on.
        safety: A learned safety alarm is raised from this probability on.
        lockout: The same for a lockout.
        harmless: Below this probability of danger and of lockout a doubtful word of triage
            raises no alarm; 0 where the heads are not good enough to say so.
        promise: What the threshold keeps.
    """

    encoder: str
    reader: str
    network: Network
    threshold: float
    also: float
    safety: float
    lockout: float
    harmless: float = 0.0
    promise: Promise

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
                network=Network(
                    **{name: np.array(content[name]) for name in _ARRAYS}, bias=content["bias"]
                ),
                threshold=content["threshold"],
                also=content["also"],
                safety=content["safety"],
                lockout=content["lockout"],
                harmless=content.get("harmless", 0.0),
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
            **{name: np.round(getattr(self.network, name), 5).tolist() for name in _ARRAYS},
            "bias": round(self.network.bias, 5),
            "threshold": round(self.threshold, 4),
            "also": round(self.also, 4),
            "safety": round(self.safety, 4),
            "lockout": round(self.lockout, 4),
            "harmless": self.harmless,
            "promise": {
                "risk": self.promise.risk,
                "confidence": self.promise.confidence,
                "messages": self.promise.messages,
                "houses": self.promise.houses,
            },
        }
        path.write_text(json.dumps(content, indent=1) + "\n", encoding="utf-8")
