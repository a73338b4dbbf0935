"""The corpus as one JSON file, so that training needs torch and nothing of the product.

    python -m askhouse.training.prepare --out corpus.json

The machine with an accelerator may hold little else than torch and transformers;
this file and the modules that `folds` imports are all it needs. Where the parts of
a message begin is told by the models that are in the package now.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Any

import typer

from askhouse.encoder import MODELS, open_encoder
from askhouse.kinds import Kinds
from askhouse.search.views import views_of
from askhouse.training.corpus import Corpus, Label, read_corpus
from askhouse.training.cuts import Cutter

__all__ = ["as_json"]


def as_json(corpus: Corpus, cutter: Cutter) -> dict[str, Any]:
    """Houses with the views of their facts, lines and triage lines, as plain values."""
    return {
        "houses": {
            slug: [{"id": fact.id, "views": views_of(fact)} for fact in house.facts]
            for slug, house in corpus.houses.items()
        },
        "lines": [
            {
                "house": line.house,
                "text": line.text,
                "language": line.language,
                "labels": [_label(label) for label in line.labels],
                "borrowed": borrowed,
                "starts": ()
                if len(line.labels) == 1
                else cutter.starts(line, corpus.houses[line.house]),
            }
            for lines, borrowed in ((corpus.lines, False), (corpus.borrowed, True))
            for line in lines
        ],
        "triage": [
            {"text": e.text, "language": e.language, "kind": e.kind, "hazard": e.hazard}
            for e in corpus.triage
        ],
    }


def _label(label: Label) -> dict[str, Any]:
    return {"kind": label.kind, "needed": label.needed, "also": label.also, "near": label.near}


def main(
    out: Annotated[Path, typer.Option()],
    corpus: Annotated[Path, typer.Option()] = Path("knowledge/corpus"),
) -> None:
    """Write the corpus as one JSON file."""
    encoder = open_encoder("trained")
    cutter = Cutter(encoder, Kinds(MODELS / "heads-trained.npz", encoder))
    content = as_json(read_corpus(corpus), cutter)
    out.write_text(json.dumps(content, ensure_ascii=False), encoding="utf-8")
    print(
        f"{out}: {len(content['houses'])} houses, {len(content['lines'])} lines, "
        f"{len(content['triage'])} triage lines"
    )


if __name__ == "__main__":
    typer.run(main)
