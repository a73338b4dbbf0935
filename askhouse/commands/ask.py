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
    from askhouse.decision.calibration import Calibration
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
        _show(reply, length)
        if why:
            _show_why(reply, assistant.calibration, message)
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


def _show(reply: Reply, length: Length) -> None:
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


def _show_why(reply: Reply, calibration: Calibration, message: Message) -> None:
    """For each part what was read, what triage and the heads say, and which rule decided."""
    from rich.markup import escape

    from askhouse.parts.clean import clean
    from askhouse.parts.language import tongue

    read = tongue(clean(message.text)).read
    for part in reply.parts:
        out.print()
        out.print(f"[bold]{part.part.order + 1}. {escape(part.part.text)}[/bold]")
        out.print(f"   read as: {escape(part.part.reading)}   language: {part.part.language}")
        out.print(f"   triage: {escape(_triage(part, calibration))}")
        out.print(f"   heads: {_heads(part, calibration)}")
        out.print(f"   kinds: {_likeliest(part)}")
        out.print(f"   rule: {_rule(part, calibration, read=read)}")
        out.print(f"   reason: {escape(part.decision.reason)}")
        out.print(
            f"   threshold: a fact answers from the chance {calibration.threshold:.3f} on, "
            f"a further one from {calibration.also:.3f}"
        )
        _show_candidates(part)


def _show_candidates(part: ReplyPart) -> None:
    from rich.markup import escape
    from rich.table import Table

    if not part.hits:
        out.print("   candidates: none to show")  # a stranger's are left out where they hold codes
        return
    table = Table(box=None)
    for column in ("candidate", "chance", "reader", "cosine", "words", "covered"):
        table.add_column(column, justify="left" if column == "candidate" else "right")
    for hit in part.hits:
        table.add_row(
            escape(f"{hit.fact.title} [{hit.fact.id}]"),
            "" if hit.chance is None else f"{hit.chance:.3f}",
            "" if hit.answers is None else f"{hit.answers:.2f}",
            f"{hit.similarity:.2f}",
            f"{hit.wording:.1f}",
            f"{hit.covered:.2f}",
        )
    out.print(table)


def _triage(part: ReplyPart, calibration: Calibration) -> str:
    """The signal that raised the alarm, or that none did."""
    from askhouse.triage.triage import trouble

    alarm = part.decision.alarm
    if alarm is not None:
        hazard = f", hazard {alarm.hazard}" if alarm.hazard else ""
        return f"{alarm.signal} ({alarm.kind}{hazard}, level {alarm.level})"
    harm, outside = part.kinds.get("safety", 0.0), part.kinds.get("lockout", 0.0)
    if harm >= calibration.safety or outside >= calibration.lockout:
        return "no signal of its own; an earlier message's alarm was raised then"
    if part.kinds and trouble(part.kinds) < calibration.harmless:
        return f"no signal (doubtful words count from {calibration.harmless:.3f} on)"
    return "no signal"


def _heads(part: ReplyPart, calibration: Calibration) -> str:
    """What the heads say of harm, beside the limits from which they raise an alarm."""
    limits = {"safety": calibration.safety, "lockout": calibration.lockout}
    return ", ".join(
        f"{name} {_share(part, name)} (alarm from {limit:.3f})" for name, limit in limits.items()
    )


def _share(part: ReplyPart, kind: str) -> str:
    return f"{part.kinds[kind]:.3f}" if kind in part.kinds else "not read"


def _likeliest(part: ReplyPart) -> str:
    likeliest = sorted(part.kinds, key=lambda kind: -part.kinds[kind])[:3]
    return ", ".join(f"{kind} {part.kinds[kind]:.2f}" for kind in likeliest) or "not read"


def _rule(part: ReplyPart, calibration: Calibration, *, read: bool) -> str:
    """Which rule of the decision came first."""
    decision = part.decision
    if decision.stranger:  # at the door, this raises an alarm of its own
        return "asks for a code and is not verified"
    if decision.alarm is not None:
        by_words = decision.alarm.probability == 1.0  # as a rule of the guidance file says it
        return "alarm by words" if by_words else f"alarm by the heads, {decision.confidence:.3f}"
    if not read:
        return "the language is not read"
    if decision.outcome is Outcome.ANSWER:
        return f"chance {decision.confidence:.3f} is at or above the threshold"
    if decision.ask_back:
        return "asked back: two facts together are likely enough"
    return f"below the threshold {calibration.threshold:.3f}: {_rest(part)}"


def _rest(part: ReplyPart) -> str:
    """What a part that no fact answers was taken for."""
    decision = part.decision
    if decision.outcome is Outcome.GAP:
        doubtful = max(part.kinds, key=lambda kind: part.kinds[kind], default="") == "chat"
        return "chat, but not surely" if doubtful else "question"
    return str(decision.kind or decision.outcome)
