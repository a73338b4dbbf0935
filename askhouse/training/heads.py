"""Train the plain model's heads: kind of a part, and hazard of an alarm, from its vector.

python -m askhouse.training.heads

The trained model's are learned with it and written by `askhouse.training.export`.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import numpy as np
import typer
from numpy.typing import NDArray
from sklearn.linear_model import LogisticRegression

from askhouse.encoder import MODELS, Vectors, open_encoder
from askhouse.kinds import KINDS
from askhouse.training.corpus import Corpus, read_corpus

__all__ = ["examples", "fit_heads"]

SEED = 7


def examples(corpus: Corpus) -> tuple[list[str], list[str], list[str | None]]:
    """Texts with their kind, and their hazard where they are alarms."""
    texts: list[str] = []
    kinds: list[str] = []
    hazards: list[str | None] = []
    for line in corpus.lines:
        if len(line.labels) == 1:  # which words belong to which label is not told for more
            texts.append(line.text)
            kinds.append(line.labels[0].kind)
            hazards.append(None)
    for entry in corpus.triage:
        texts.append(entry.text)
        kinds.append(entry.kind)
        hazards.append(entry.hazard)
    return texts, kinds, hazards


def fit_heads(
    vectors: Vectors, kinds: list[str], hazards: list[str | None], strength: float = 4.0
) -> dict[str, NDArray[np.generic]]:
    """Both heads as arrays to save. `strength` is the inverse of the penalty."""
    weights = np.array([1.0 if kind != "question" else 0.5 for kind in kinds])
    kind = LogisticRegression(C=strength, max_iter=2000, random_state=SEED)
    kind.fit(vectors, kinds, sample_weight=weights)
    alarms = [place for place, hazard in enumerate(hazards) if hazard is not None]
    hazard = LogisticRegression(C=strength, max_iter=2000, random_state=SEED)
    hazard.fit(vectors[alarms], [hazards[place] for place in alarms])
    order = [list(kind.classes_).index(name) for name in KINDS if name in kind.classes_]
    return {
        "kind_classes": kind.classes_[order].astype(str),
        "kind_weights": kind.coef_[order].astype(np.float32),
        "kind_bias": kind.intercept_[order].astype(np.float32),
        "hazard_classes": hazard.classes_.astype(str),
        "hazard_weights": hazard.coef_.astype(np.float32),
        "hazard_bias": hazard.intercept_.astype(np.float32),
    }


def main(
    corpus: Annotated[Path, typer.Option()] = Path("knowledge/corpus"),
    out: Annotated[Path, typer.Option()] = MODELS / "heads-plain.npz",
) -> None:
    """Train the heads on the whole corpus and write them."""
    encoder = open_encoder("plain")
    texts, kinds, hazards = examples(read_corpus(corpus))
    arrays = fit_heads(encoder.encode(texts), kinds, hazards)
    np.savez(out, allow_pickle=False, encoder=np.array(encoder.name), **arrays)
    print(f"{out}: {len(texts)} texts, kinds {sorted(set(kinds))}")


if __name__ == "__main__":
    typer.run(main)
