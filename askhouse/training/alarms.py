"""From when on the heads alone raise an alarm: `python -m askhouse.training.alarms FOLDER`.

The folder is a labelled set of houses that no model has learned from. Needed after a
further training, which leaves no houses of the corpus held out.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from askhouse.build import shipped_calibration
from askhouse.encoder import MODELS, open_encoder
from askhouse.knowledge.load import load_houses
from askhouse.measure.labelled import read_messages
from askhouse.training.decision import alarm_threshold
from askhouse.training.scored import from_labelled


def main(
    folder: Annotated[Path, typer.Argument(help="Holds properties/*.yaml and messages.jsonl.")],
    out: Annotated[Path, typer.Option()] = MODELS / "decision-trained.json",
) -> None:
    """Write both thresholds into the decision."""
    houses, messages = load_houses(folder / "properties").houses, read_messages(folder)
    examples = from_labelled(houses, messages, "trained")
    safety, lockout = (alarm_threshold(examples, name) for name in ("safety", "lockout"))
    replace(
        shipped_calibration("trained"),
        encoder=open_encoder("trained").name,
        safety=safety,
        lockout=lockout,
    ).write(out)
    for name, threshold in (("safety", safety), ("lockout", lockout)):
        true = [example.heard[name] for example in examples if example.label.kind == name]
        found = sum(share >= threshold for share in true)
        print(f"{name}: from {threshold}, {found} of {len(true)} are found by the heads alone")


if __name__ == "__main__":
    typer.run(main)
