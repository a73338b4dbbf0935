"""Crowd-written hotel questions: is a question's answer found among the hotel's answers?

    python -m askhouse.measure.hotel_faq hotel-faq.json

The file is a list of {entity, pairs: [{question, answer}]}, the form of the
knowledge file of DSTC9 Track 1 (Kim et al. 2020, arXiv:2006.03533). The questions
are hidden; some repeat one another, so recall at 1 cannot reach 1.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import numpy as np
import typer

from askhouse.encoder import Encoder, open_encoder
from askhouse.measure.metrics import Share

__all__ = ["ranks"]

FEWEST_PAIRS = 5  # hotels with fewer answers say little


def ranks(encoder: Encoder, hotels: list[dict[str, list[dict[str, str]]]]) -> list[int]:
    """The place of each question's answer among the answers of its hotel, from 1."""
    found = []
    for hotel in hotels:
        pairs = hotel["pairs"]
        if len(pairs) < FEWEST_PAIRS:
            continue
        asked = encoder.encode([pair["question"] for pair in pairs])
        answers = encoder.encode([pair["answer"] for pair in pairs])
        scores = asked @ answers.T
        found += [int((row > row[place]).sum()) + 1 for place, row in enumerate(scores)]
    return found


def main(path: Annotated[Path, typer.Argument()]) -> None:
    """Print recall at 1 and 5 and MRR of the trained and the plain encoder."""
    hotels = json.loads(path.read_text(encoding="utf-8"))
    for model in ("trained", "plain"):
        places = np.array(ranks(open_encoder(model), hotels))
        first, five = Share(int((places == 1).sum()), len(places)), int((places <= 5).sum())
        print(f"{model:8} recall at 1 {first}")
        print(f"{'':8} recall at 5 {Share(five, len(places))}, MRR {np.mean(1 / places):.3f}")


if __name__ == "__main__":
    typer.run(main)
