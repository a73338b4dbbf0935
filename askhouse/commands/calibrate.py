"""askhouse calibrate: the threshold again, on a host's own labelled messages."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from askhouse.commands.shared import (
    EXIT_OK,
    EXIT_PROBLEMS,
    JsonOption,
    KnowledgeOption,
    ModelOption,
    err,
    out,
    print_json,
    read_library,
    settings_for,
)
from askhouse.errors import KnowledgeError, SettingsError

if TYPE_CHECKING:
    from askhouse.measure.labelled import LabelledMessage
    from askhouse.measure.threshold import Refit
    from askhouse.values import House

__all__ = ["calibrate", "in_words"]


def calibrate(
    folder: Annotated[Path, typer.Argument(help="Holds properties/*.yaml and messages.jsonl.")],
    risk: Annotated[float, typer.Option(help="Share of messages that may get a wrong reply.")] = (
        0.03
    ),
    confidence: Annotated[float, typer.Option(help="How sure that promise must be.")] = 0.95,
    to: Annotated[
        Path | None,
        typer.Option("--out", help="Where to write; beside the houses, where none is given."),
    ] = None,
    knowledge: KnowledgeOption = None,
    model: ModelOption = None,
    as_json: JsonOption = False,
) -> None:
    """Choose the threshold again on labelled messages of your own."""
    from dataclasses import replace

    from askhouse.build import build_assistant, shipped_calibration
    from askhouse.decision.calibration import Promise
    from askhouse.encoder import open_encoder
    from askhouse.measure.labelled import read_messages
    from askhouse.measure.threshold import refit, surest

    for name, share in (("risk", risk), ("confidence", confidence)):
        if not 0 < share < 1:
            raise SettingsError(f"--{name} is {share:g}: give a share above 0 and below 1")
    settings = settings_for(knowledge, model)
    messages = read_messages(folder)
    library = read_library(folder / "properties")
    _check(folder, messages, library.houses)
    calibration = shipped_calibration(settings.model)
    assistant = build_assistant(library, None, settings.model)
    found = surest(assistant, messages, calibration)
    houses = len({message.house for message in messages})
    chosen = refit(found, houses, risk=risk, confidence=confidence)
    path = to or settings.calibration_file
    if chosen.kept:
        path.parent.mkdir(parents=True, exist_ok=True)
        replace(
            calibration,
            encoder=open_encoder(settings.model).name,
            threshold=chosen.threshold,
            promise=Promise(risk, confidence, len(messages), houses),
        ).write(path)
    if as_json:
        print_json(_as_json(chosen, calibration.threshold, risk, confidence, path))
    else:
        say = out if chosen.kept else err
        for line in in_words(chosen, calibration.threshold, risk, confidence):
            say.print(line, markup=False, highlight=False, soft_wrap=True)
        if chosen.kept:
            out.print(str(path), markup=False, highlight=False, soft_wrap=True)
    raise typer.Exit(EXIT_OK if chosen.kept else EXIT_PROBLEMS)


def _check(folder: Path, messages: Sequence[LabelledMessage], houses: Mapping[str, House]) -> None:
    for message in messages:
        if message.house not in houses:
            raise KnowledgeError(
                f"{folder / 'messages.jsonl'}: message {message.id} is for {message.house!r}, "
                f"and no house in {folder / 'properties'} that can be used is called so"
            )
        ids = {fact.id for fact in houses[message.house].facts}
        unknown = sorted(message.allowed - ids)
        if unknown:
            raise KnowledgeError(
                f"{folder / 'messages.jsonl'}: message {message.id} names the fact "
                f"{unknown[0]!r}, which {message.house} does not have"
            )


def in_words(chosen: Refit, before: float, risk: float, confidence: float) -> list[str]:
    """What is promised, or why nothing can be."""
    counted = f"{_some(chosen.messages, 'message')} to {_some(chosen.houses, 'house')}"
    if chosen.kept:
        return [
            f"On {counted}, a fact answers from a chance of {chosen.threshold:.2f} on "
            f"(before: {before:.2f}).",
            f"At that threshold {chosen.answered} are answered, {chosen.errors} of them wrongly.",
            f"So with {confidence:.0%} confidence at most {chosen.bound:.2%} of messages like "
            f"these get a wrong reply; {risk:.2%} were allowed.",
        ]
    if chosen.messages < chosen.needed:
        return [
            f"{counted.capitalize()} are too few to promise anything: to show that at most "
            f"{risk:.2%} get a wrong reply, with {confidence:.0%} confidence, takes at least "
            f"{chosen.needed}, none of them wrong.",
            "Nothing is written; the threshold stays as it was.",
        ]
    return [
        f"On {counted}, even the surest replies are wrong too often to promise at most {risk:.2%} "
        f"with {confidence:.0%} confidence.",
        "Nothing is written. Look at the wrong replies with `askhouse evaluate --details`, "
        "label more messages, or allow a larger --risk.",
    ]


def _some(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def _as_json(
    chosen: Refit, before: float, risk: float, confidence: float, path: Path
) -> dict[str, Any]:
    return {
        "kept": chosen.kept,
        "threshold": chosen.threshold if chosen.kept else None,
        "before": before,
        "risk": risk,
        "confidence": confidence,
        "bound": round(chosen.bound, 6) if chosen.kept else None,
        "messages": chosen.messages,
        "houses": chosen.houses,
        "answered": chosen.answered,
        "wrong": chosen.errors,
        "messages_needed": chosen.needed,
        "file": str(path) if chosen.kept else None,
    }
