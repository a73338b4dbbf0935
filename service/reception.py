"""Where the lines' routes hand messages over, and fetch the replies that go into the response."""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Callable

from sqlalchemy import select

from service.bell import Bell
from service.database import Database
from service.inbox import store
from service.lines.arrived import Arrived
from service.lines.open_lines import Receipt
from service.outbox import claim_reply
from service.tables import Inbound, MessageState

__all__ = ["Reception"]

_LOOK_AGAIN_S = 0.05


class Reception:
    """Stores what arrives, and tells the workers of this process.

    Args:
        database: Where messages are stored.
        clock: What time it is, UTC.
        incoming: The bell that the workers hear.
        works: Whether messages are worked on, now or as soon as the houses are open.
    """

    def __init__(
        self,
        database: Database,
        clock: Callable[[], dt.datetime],
        incoming: Bell,
        works: Callable[[], bool] = lambda: True,
    ) -> None:
        self._works = works
        self._database = database
        self._clock = clock
        self._incoming = incoming

    def receive(self, arrived: Arrived) -> Receipt:
        """Stores the message, in any case; it may be acknowledged where messages are worked on."""
        with self._database.writing() as session:
            stored = store(session, arrived, self._clock())
        if stored.fresh and stored.message_id is not None:
            self._incoming.ring()
        return Receipt(stored.message_id, worked_on=self._works())

    def reply_text(self, message_id: int, wait_s: float) -> str | None:
        """The reply, which counts as handed over from then on; None while there is none."""
        until = time.monotonic() + wait_s
        while not self._answered(message_id):
            if time.monotonic() >= until:
                return None
            time.sleep(_LOOK_AGAIN_S)
        with self._database.writing() as session:
            return claim_reply(session, message_id, self._clock())

    def _answered(self, message_id: int) -> bool:
        """Looked up without a place among the writers, since it is asked again and again."""
        with self._database.reading() as session:
            state = session.scalar(select(Inbound.state).where(Inbound.id == message_id))
        return state not in (MessageState.WAITING, MessageState.WORKING)
