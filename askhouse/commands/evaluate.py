"""askhouse evaluate: a labelled set through the way of a guest's message."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated

import typer

from askhouse.commands.shared import (
    JsonOption,
    ModelOption,
    err,
    out,
    print_json,
    read_library,
)
from askhouse.settings import read_settings

__all__ = ["evaluate"]


def evaluate(
    folder: Annotated[Path, typer.Argument(help="Holds properties/*.yaml and messages.jsonl.")],
    details: Annotated[
        Path | None, typer.Option(help="Write one JSON line a message to this file.")
    ] = None,
    model: ModelOption = None,
    curve: Annotated[
        bool, typer.Option("--curve/--no-curve", help="Draw risk by coverage.")
    ] = True,
    as_json: JsonOption = False,
) -> None:
    """Measure Askhouse on a labelled set."""
    from rich.progress import Progress
    from rich.table import Table

    from askhouse.build import Told, build_assistant
    from askhouse.measure.evaluate import evaluate as measured
    from askhouse.measure.evaluate import write_details
    from askhouse.measure.labelled import read_messages

    messages = read_messages(folder)
    library = read_library(folder / "properties")
    settings = read_settings()
    assistant = build_assistant(
        library,
        None,
        model or settings.model,
        Told(line=lambda line: err.print(line, markup=False, highlight=False, soft_wrap=True)),
        settings.calibration,  # only where one is set: the folder is not the host's own
    )
    with Progress(console=err, transient=True) as progress:
        task = progress.add_task("messages", total=len(messages), visible=not as_json)
        result = measured(
            assistant, messages, lambda done, total: progress.update(task, completed=done)
        )
    if details is not None:
        write_details(result, details)
    if as_json:
        print_json(
            {
                "shares": {
                    name: {"count": s.count, "total": s.total, "interval": s.interval}
                    for name, s in result.shares.items()
                },
                "retrieval": _numbers(result.retrieval),
                "curves": _numbers(result.curves),
            }
        )
        return
    table = Table("figure", "count", "share", "Wilson 95 %", box=None)
    for name, share in result.shares.items():
        low, high = share.interval
        table.add_row(
            name, f"{share.count} of {share.total}", f"{share.value:.1%}", f"{low:.1%} – {high:.1%}"
        )
    out.print(table)
    for name, value in {**result.retrieval, **result.curves}.items():
        out.print(f"{name:28} {value:.3f}", highlight=False)
    if curve:
        _draw(result.answers)


def _numbers(figures: Mapping[str, float]) -> dict[str, float | None]:
    """JSON has no word for what is not a number; a figure of nothing is null."""
    return {name: None if math.isnan(value) else value for name, value in figures.items()}


def _draw(answers: tuple[tuple[float, bool], ...]) -> None:
    """Risk by coverage, as a picture in the terminal."""
    import plotext

    from askhouse.measure.metrics import risk_coverage

    if not answers:
        return
    coverage, risk = risk_coverage([a for a, _ in answers], [w for _, w in answers])
    picture = plotext.figure
    picture.clear()
    picture.theme("colorless")
    picture.plot_size(72, 16)
    picture.ruler("y").lim(0, max(0.3, float(risk.max())))
    picture.title("risk by coverage: wrong replies among the surest answers")
    picture.label("share of answers kept, surest first", "x")
    picture.draw(picture.signal(coverage.tolist(), risk.tolist()))
    drawn = plotext.uncolorize(picture.build().string())
    out.print(drawn, markup=False, highlight=False)
