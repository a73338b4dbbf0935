"""What a change of a fact would do, before it is saved: questions answered, answers changed.

The house as it would be is asked what guests have asked before, beside the house as it is.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import select
from sqlalchemy.orm import Session

from askhouse.assistant import Assistant
from askhouse.build import build_assistant
from askhouse.errors import MessageError
from askhouse.knowledge.load import Library
from askhouse.settings import Settings
from askhouse.values import House, Message, Outcome, Reply
from service.gaps.report import Asks
from service.tables import PartRow

__all__ = ["Effects", "Turned", "assistant_over", "effects", "past_questions"]

_MOST = 300  # different questions, the newest first
_HITS = 5  # the facts that a decision looks at


@dataclass(frozen=True, slots=True)
class Turned:
    """A question of the past whose answer would be another: what was said, what would be.

    An empty text means that nothing answers it.
    """

    question: str
    before: str
    after: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Effects:
    """What a change would do.

    Attributes:
        answered: Questions that nothing answered, and that it would.
        changed: Earlier answers that would be others.
        lost: Earlier answers that would be none.
        asked: How many past questions were looked at.
    """

    answered: tuple[Turned, ...]
    changed: tuple[Turned, ...]
    lost: tuple[Turned, ...]
    asked: int


def past_questions(session: Session, house: str, most: int = _MOST) -> list[str]:
    """What guests asked at a house, each once, the newest first."""
    texts = session.scalars(
        select(PartRow.text)
        .where(
            PartRow.house == house,
            PartRow.outcome.in_([Outcome.ANSWER, Outcome.GAP]),
            PartRow.text != "",
        )
        .order_by(PartRow.id.desc())
        .limit(most * 2)
    )
    return list({" ".join(text.lower().split()): text for text in texts}.values())[:most]


def assistant_over(house: House, settings: Settings) -> Assistant:
    """An assistant over one house as it would be; nothing of it is kept.

    What is unchanged is read from the index file, so that only new words are embedded.

    Raises:
        ModelError: The model is missing, or is not the one expected.
    """
    with tempfile.TemporaryDirectory() as folder:
        # A copy: what is only drafted must not be in the index that everyone uses.
        index = Path(folder) / "index.npz"
        if settings.index_file.exists():
            shutil.copyfile(settings.index_file, index)
        return build_assistant(
            Library({house.slug: house}, ()),
            index,
            settings.model,
            calibration=settings.calibration_file,
        )


def effects(questions: Iterable[str], house: str, fact_id: str, now: Asks, then: Asks) -> Effects:
    """What a change of a fact would do to these questions.

    Asked as a stranger asks, so that no code is in what is shown.

    Args:
        house: The house's slug.
        fact_id: The fact that is changed, added or removed.
        now: Answers from the house as it is.
        then: Answers from the house as it would be.
    """
    turned: list[tuple[bool, bool, Turned]] = []
    asked = 0
    for question in questions:
        asked += 1
        message = Message(text=question)
        try:
            # A decision looks at the nearest facts alone; where the fact is not among them
            # before or after, there is nothing to compare.
            if not (_near(now, message, house, fact_id) or _near(then, message, house, fact_id)):
                continue
            before, after = _said(now.reply(message, house)), _said(then.reply(message, house))
        except MessageError:
            continue
        if before != after:
            turned.append((bool(before), bool(after), Turned(question, before, after)))
    return Effects(
        answered=_those(turned, before=False, after=True),
        changed=_those(turned, before=True, after=True),
        lost=_those(turned, before=True, after=False),
        asked=asked,
    )


def _near(assistant: Asks, message: Message, house: str, fact_id: str) -> bool:
    return any(hit.fact.id == fact_id for hit in assistant.hits(message, house, _HITS))


def _said(reply: Reply) -> str:
    """What the answered parts of a reply say; empty where none is answered."""
    answered = [p.text for p in reply.parts if p.decision.outcome is Outcome.ANSWER]
    return "\n".join(answered)


def _those(
    turned: Sequence[tuple[bool, bool, Turned]], *, before: bool, after: bool
) -> tuple[Turned, ...]:
    return tuple(one for was, will, one in turned if (was, will) == (before, after))
