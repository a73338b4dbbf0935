"""askhouse ask: a guest's message in, a cited draft reply out."""

from __future__ import annotations

import datetime as dt
import gc
import sys
from typing import TYPE_CHECKING, Annotated, Any

import typer

from askhouse.commands.shared import (
    EXIT_GAP,
    EXIT_HOST,
    EXIT_OK,
    JsonOption,
    KnowledgeOption,
    ModelOption,
    open_assistant,
    out,
    print_json,
)
from askhouse.values import Length, Message, Outcome, Reply, Turn

if TYPE_CHECKING:
    from askhouse.values import ReplyPart

__all__ = ["as_json", "ask"]


def ask(
    house: Annotated[str, typer.Argument(help="The house's slug, or - for the only one.")],
    text: Annotated[str, typer.Argument(help="The guest's message; - reads standard input.")],
    verified: Annotated[
        bool,
        typer.Option("--verified", help="The sender is a guest of the house, inside the stay."),
    ] = False,
    after: Annotated[
        list[str] | None, typer.Option("--after", help="An earlier message of the thread; repeat.")
    ] = None,
    short: Annotated[bool, typer.Option("--short", help="The length of a text message.")] = False,
    why: Annotated[bool, typer.Option("--why", help="Show how each part was decided.")] = False,
    day: Annotated[
        dt.datetime | None,
        typer.Option(formats=["%Y-%m-%d"], help="The date at the house; facts out of season rest."),
    ] = None,
    knowledge: KnowledgeOption = None,
    model: ModelOption = None,
    as_json_text: JsonOption = False,
) -> None:
    """Draft a cited reply to a guest's message."""
    gc.disable()  # nothing is thrown away before the process ends; looking cost a tenth of a second
    assistant = open_assistant(knowledge, model, house)
    if house == "-" and len(assistant.houses) == 1:
        (house,) = assistant.houses
    message = Message(
        text=_standard_input() if text == "-" else text,
        verified=verified,
        thread=tuple(Turn(text=earlier) for earlier in after or ()),
        day=day.date() if day else None,
    )
    reply = assistant.reply(message, house)
    length = Length.SHORT if short else Length.FULL
    if as_json_text:
        print_json(as_json(reply))
    else:
        _show(reply, length, why=why)
    raise typer.Exit(_exit_code(reply))


def _standard_input() -> str:
    # Bytes that are no UTF-8 must not end in a trace; a guest's message may come from anywhere.
    return sys.stdin.buffer.read().decode("utf-8", errors="replace")


def _exit_code(reply: Reply) -> int:
    outcomes = {part.decision.outcome for part in reply.parts}
    if Outcome.ESCALATE in outcomes:
        return EXIT_HOST
    return EXIT_GAP if Outcome.GAP in outcomes else EXIT_OK


def as_json(reply: Reply) -> dict[str, Any]:
    """The reply as plain values for JSON."""
    return {
        "house": reply.house,
        "full": reply.full,
        "short": reply.short,
        "parts": [_part_as_json(part) for part in reply.parts],
    }


def _part_as_json(part: ReplyPart) -> dict[str, Any]:
    decision = part.decision
    return {
        "text": part.part.text,
        "language": part.part.language,
        "outcome": str(decision.outcome),
        "kind": None if decision.kind is None else str(decision.kind),
        "level": None if decision.alarm is None else str(decision.alarm.level),
        "hazard": None
        if decision.alarm is None or decision.alarm.hazard is None
        else str(decision.alarm.hazard),
        "confidence": round(decision.confidence, 4),
        "reason": decision.reason,
        "reply": part.text,
        "facts": [
            {
                "id": citation.fact_id,
                "title": citation.title,
                "written": str(citation.source),
                "verified_on": citation.verified_on and citation.verified_on.isoformat(),
            }
            for citation in part.citations
        ],
    }


def _show(reply: Reply, length: Length, *, why: bool) -> None:
    from rich.markup import escape
    from rich.panel import Panel
    from rich.table import Table

    out.print(Panel(escape(reply.text(length)), title="Draft reply", title_align="left"))
    table = Table(box=None, pad_edge=False, expand=False)
    for column in ("guest's words", "outcome", "sure", "rests on", "verified"):
        table.add_column(column, overflow="fold")
    for part in reply.parts:
        decision = part.decision
        kind = f" · {decision.kind}" if decision.kind else ""
        rests = "\n".join(f"{c.title} [{c.fact_id}] {c.source}" for c in part.citations)
        checked = "\n".join(str(c.verified_on or "never") for c in part.citations)
        table.add_row(
            escape(part.part.text),
            f"{decision.outcome}{kind}",
            f"{decision.confidence:.2f}",
            escape(rests or decision.reason),
            checked,
        )
    out.print(table)
    if why:
        _show_why(reply)


def _show_why(reply: Reply) -> None:
    from rich.markup import escape
    from rich.table import Table

    for part in reply.parts:
        decision = part.decision
        out.print()
        out.print(f"[bold]{part.part.order + 1}. {escape(part.part.text)}[/bold]")
        out.print(f"   read as: {escape(part.part.reading)}   language: {part.part.language}")
        out.print(f"   {escape(decision.reason)}")
        if part.hits:
            table = Table(box=None)
            for column in ("candidate", "chance", "cosine", "words", "covered"):
                table.add_column(column, justify="left" if column == "candidate" else "right")
            for hit in part.hits:
                table.add_row(
                    escape(f"{hit.fact.title} [{hit.fact.id}]"),
                    "" if hit.chance is None else f"{hit.chance:.2f}",
                    f"{hit.similarity:.2f}",
                    f"{hit.wording:.1f}",
                    f"{hit.covered:.2f}",
                )
            out.print(table)
