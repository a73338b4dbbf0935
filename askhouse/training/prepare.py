"""The corpus as one JSON file, so that training needs torch and nothing of the product.

    python -m askhouse.training.prepare --out corpus.json

The machine with an accelerator may hold little else than torch and transformers;
this file and the modules that `folds` imports are all it needs. Where the parts of
a message begin is told by the models that are in the package now; each part is
learned from by itself too, read as the engine reads it.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Annotated, Any

import typer

from askhouse.encoder import MODELS, open_encoder
from askhouse.kinds import Kinds
from askhouse.parts.context import reading
from askhouse.parts.cuts import cut_at
from askhouse.parts.split import without_joiner
from askhouse.search.views import views_of
from askhouse.training.corpus import Corpus, Label, Line, read_corpus
from askhouse.training.cuts import Cutter


def _rows(line: Line, corpus: Corpus, cutter: Cutter) -> Iterator[dict[str, Any]]:
    """The line, and after it each of its parts if there are several and their starts are known."""
    starts = () if len(line.labels) == 1 else cutter.starts(line, corpus.houses[line.house])
    yield {**_row(line.text, line, line.labels, measured=True), "starts": starts}
    if not starts:
        return
    first, *others = cut_at(line.text, starts)
    pieces = [first, *map(without_joiner, others)]
    for order, (piece, label) in enumerate(zip(pieces, line.labels, strict=True)):
        yield _row(reading(piece, pieces[:order], ()), line, (label,), measured=False)


def _row(text: str, line: Line, labels: tuple[Label, ...], *, measured: bool) -> dict[str, Any]:
    return {
        "house": line.house,
        "text": text,
        "language": line.language,
        "round": line.round,
        "labels": [_label(label) for label in labels],
        "measured": measured,
        "starts": (),
    }


def _label(label: Label) -> dict[str, Any]:
    return {"kind": label.kind, "needed": label.needed, "also": label.also, "near": label.near}


_opened: list[tuple[Corpus, Cutter]] = []  # one in each process


def _open(folder: Path) -> None:
    encoder = open_encoder("trained")
    cutter = Cutter(encoder, Kinds(MODELS / "heads-trained.npz", encoder))
    _opened.append((read_corpus(folder), cutter))


def _rows_beside(house: str) -> list[dict[str, Any]]:
    """The lines of a house, and those it borrowed, as plain values."""
    corpus, cutter = _opened[0]
    own = (line for line in corpus.lines if line.house == house)
    borrowed = (line for line in corpus.borrowed if line.house == house)
    return [
        *(row for line in own for row in _rows(line, corpus, cutter)),
        *(_row(line.text, line, line.labels, measured=False) for line in borrowed),
    ]


def main(
    out: Annotated[Path, typer.Option()],
    corpus: Annotated[Path, typer.Option()] = Path("knowledge/corpus"),
) -> None:
    """Write the corpus as one JSON file."""
    read = read_corpus(corpus)
    with ProcessPoolExecutor(initializer=_open, initargs=(corpus,)) as pool:
        lines = [row for rows in pool.map(_rows_beside, read.houses) for row in rows]
    content = {
        "houses": {
            slug: [{"id": fact.id, "views": views_of(fact)} for fact in house.facts]
            for slug, house in read.houses.items()
        },
        "lines": lines,
        "triage": [
            {"text": e.text, "language": e.language, "kind": e.kind, "hazard": e.hazard}
            for e in read.triage
        ],
    }
    out.write_text(json.dumps(content, ensure_ascii=False), encoding="utf-8")
    print(
        f"{out}: {len(content['houses'])} houses, {len(content['lines'])} lines, "
        f"{len(content['triage'])} triage lines"
    )


if __name__ == "__main__":
    typer.run(main)
