"""A labelled set through the same way that a guest's message takes."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import ir_measures
from ir_measures import RR, R

from askhouse.assistant import Assistant
from askhouse.measure.labelled import LabelledMessage
from askhouse.measure.metrics import Share, area_under_risk_coverage, calibration_error
from askhouse.values import House, Kind, Message, Outcome, Reply

__all__ = ["Evaluation", "details_line", "evaluate", "write_details"]


@dataclass(frozen=True, slots=True)
class Answered:
    """A labelled message with the reply it got."""

    labelled: LabelledMessage
    reply: Reply

    @property
    def cited(self) -> frozenset[str]:
        """The facts that the reply cites."""
        return frozenset(c.fact_id for part in self.reply.parts for c in part.citations)

    @property
    def wrong(self) -> bool:
        """The reply cites a fact that no part of the message may be answered with."""
        return bool(self.cited - self.labelled.allowed)

    def raised(self, outcome: Outcome, kind: Kind | None = None) -> bool:
        """Whether any part of the reply has that outcome (and kind)."""
        return any(
            part.decision.outcome is outcome and (kind is None or part.decision.kind is kind)
            for part in self.reply.parts
        )

    @property
    def confidence(self) -> float:
        """How sure the reply is of its answers, 0 to 1; the least sure counts."""
        return min(
            (
                p.decision.confidence
                for p in self.reply.parts
                if p.decision.outcome is Outcome.ANSWER
            ),
            default=0.0,
        )


@dataclass(frozen=True, slots=True)
class Evaluation:
    """All figures of one run."""

    answered: tuple[Answered, ...]
    shares: Mapping[str, Share]
    retrieval: Mapping[str, float]
    curves: Mapping[str, float]
    answers: tuple[tuple[float, bool], ...]
    confusion: Mapping[tuple[str, str], int] = field(default_factory=dict)


def evaluate(
    assistant: Assistant,
    messages: Sequence[LabelledMessage],
    progress: Callable[[int, int], None] | None = None,
) -> Evaluation:
    """Runs every message and counts.

    What is counted:
        right answers: parts to be answered for which a needed fact is cited,
            in a reply without a wrong fact.
        complete answers: the same, with every needed fact cited.
        wrong replies: messages whose reply cites a fact that none of its parts allows.
        gaps kept: parts that are gaps, in a reply that says so and cites no wrong fact.
        safety, lockout: parts of that kind in a reply that raises it.
        false alarms: messages without such a part whose reply raises it all the same.
        secrets shown: messages of unverified senders whose reply holds a sensitive fact's words.
    """
    answered = []
    for place, message in enumerate(messages, start=1):
        reply = assistant.reply(
            Message(text=message.message, verified=message.verified), message.house
        )
        answered.append(Answered(message, reply))
        if progress is not None:
            progress(place, len(messages))
    return Evaluation(
        answered=tuple(answered),
        shares=_shares(answered, assistant.houses),
        retrieval=_retrieval(assistant, messages),
        curves=_curves(answered),
        answers=tuple(
            (one.confidence, one.wrong) for one in answered if one.raised(Outcome.ANSWER)
        ),
        confusion=_confusion(answered),
    )


def _shares(answered: Sequence[Answered], houses: Mapping[str, House]) -> dict[str, Share]:
    right = complete = answers = gaps = kept = 0
    for one in answered:
        for part in one.labelled.parts:
            if part.outcome is Outcome.ANSWER:
                answers += 1
                right += not one.wrong and bool(one.cited & set(part.facts))
                complete += not one.wrong and one.cited >= set(part.facts)
            if part.outcome is Outcome.GAP:
                gaps += 1
                kept += not one.wrong and one.raised(Outcome.GAP)
    shares = {
        "right answers": Share(right, answers),
        "complete answers": Share(complete, answers),
        "wrong replies": Share(sum(one.wrong for one in answered), len(answered)),
        "gaps kept": Share(kept, gaps),
    }
    for kind in Kind:
        with_kind = [one for one in answered if one.labelled.has(Outcome.ESCALATE, kind)]
        without = [one for one in answered if not one.labelled.has(Outcome.ESCALATE, kind)]
        if kind in (Kind.SAFETY, Kind.LOCKOUT):
            shares[f"{kind} noticed"] = Share(
                sum(one.raised(Outcome.ESCALATE, kind) for one in with_kind), len(with_kind)
            )
            shares[f"false {kind}"] = Share(
                sum(one.raised(Outcome.ESCALATE, kind) for one in without), len(without)
            )
    to_host = [
        one for one in answered if any(one.labelled.has(Outcome.ESCALATE, k) for k in _TO_HOST)
    ]
    shares["damage, request, complaint to the host"] = Share(
        sum(one.raised(Outcome.ESCALATE) for one in to_host), len(to_host)
    )
    chat = [one for one in answered if all(p.outcome is Outcome.CHAT for p in one.labelled.parts)]
    shares["chat left alone"] = Share(
        sum(not one.raised(Outcome.ESCALATE) and not one.cited for one in chat), len(chat)
    )
    strangers = [one for one in answered if not one.labelled.verified]
    shares["secrets shown"] = Share(
        sum(_shows_secret(one, houses[one.labelled.house]) for one in strangers), len(strangers)
    )
    return shares


_TO_HOST = (Kind.DAMAGE, Kind.REQUEST, Kind.COMPLAINT)


def _shows_secret(one: Answered, house: House) -> bool:
    said = "\n".join([one.reply.full, one.reply.short, *(p.text for p in one.reply.parts)])
    secrets = {fact.id for fact in house.facts if fact.sensitive}
    texts = [fact.text for fact in house.facts if fact.sensitive]
    return bool(one.cited & secrets) or any(text in said for text in texts)


def _retrieval(assistant: Assistant, messages: Sequence[LabelledMessage]) -> dict[str, float]:
    """Recall and MRR over messages with one part that is to be answered."""
    relevant, run = {}, {}
    for message in messages:
        if len(message.parts) != 1 or message.parts[0].outcome is not Outcome.ANSWER:
            continue
        relevant[message.id] = dict.fromkeys(message.allowed, 1)
        hits = assistant.hits(Message(text=message.message), message.house, most=20)
        run[message.id] = {hit.fact.id: 1.0 / hit.rank for hit in hits}
    if not relevant:
        return {}
    # Any one of the facts that may be given counts as found: success at k.
    found = ir_measures.calc_aggregate(
        [ir_measures.Success @ 1, ir_measures.Success @ 3, ir_measures.Success @ 5, RR, R @ 5],
        relevant,
        run,
    )
    return {
        "recall at 1": found[ir_measures.Success @ 1],
        "recall at 3": found[ir_measures.Success @ 3],
        "recall at 5": found[ir_measures.Success @ 5],
        "MRR": found[RR],
        "messages": float(len(relevant)),
    }


def _curves(answered: Sequence[Answered]) -> dict[str, float]:
    chances = [one.confidence for one in answered if one.raised(Outcome.ANSWER)]
    errors = [one.wrong for one in answered if one.raised(Outcome.ANSWER)]
    return {
        "area under risk-coverage": area_under_risk_coverage(chances, errors),
        "expected calibration error": calibration_error(chances, [not e for e in errors]),
    }


def _confusion(answered: Sequence[Answered]) -> dict[tuple[str, str], int]:
    """Of messages with one part: what it should be, what it became."""
    counts: dict[tuple[str, str], int] = {}
    for one in answered:
        if len(one.labelled.parts) != 1:
            continue
        part = one.labelled.parts[0]
        first = one.reply.parts[0].decision
        pair = (str(part.kind or part.outcome), str(first.kind or first.outcome))
        counts[pair] = counts.get(pair, 0) + 1
    return counts


def details_line(message_id: str, reply: Reply) -> str:
    """One line of the details file: id, reply, and the parts with their outcome."""
    return json.dumps(
        {
            "id": message_id,
            "reply": reply.full,
            "parts": [
                {
                    "outcome": str(part.decision.outcome),
                    "kind": None if part.decision.kind is None else str(part.decision.kind),
                    "facts": [citation.fact_id for citation in part.citations],
                    "text": part.part.text,
                    "confidence": round(part.decision.confidence, 4),
                }
                for part in reply.parts
            ],
        },
        ensure_ascii=False,
    )


def write_details(evaluation: Evaluation, path: Path) -> None:
    """Writes the details file, one line a message."""
    lines = [details_line(one.labelled.id, one.reply) for one in evaluation.answered]
    path.write_text("".join(line + "\n" for line in lines), encoding="utf-8")
