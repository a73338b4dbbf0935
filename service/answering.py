"""The assistant behind the service: opened in a thread, and asked in threads, a few at once.

Whatever computes stays off the event loop, so that health is answered while
messages are worked on. Later stations (threads, pages) ask here too.
"""

from __future__ import annotations

import asyncio
import logging
import threading
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from enum import Enum
from pathlib import Path
from types import MappingProxyType

from anyio import CapacityLimiter, to_thread

from askhouse.assistant import Assistant
from askhouse.build import Told, build_assistant
from askhouse.errors import AskhouseError, KnowledgeError, UnknownHouseError
from askhouse.knowledge.load import Library, load_houses
from askhouse.settings import Settings
from askhouse.values import House, Message, Reply

__all__ = ["Answering", "Stage"]

log = logging.getLogger(__name__)


class Stage(Enum):
    """How far the assistant is.

    HELD: no house can be opened; the service works all the same, and passes every message on to
    the host until the files are mended. FAILED: nothing can be worked on.
    """

    CLOSED = "closed"
    OPENING = "opening"
    OPEN = "open"
    HELD = "held"
    FAILED = "failed"


class _NoHouses:
    """Who answers while no house can be opened: nobody."""

    houses: Mapping[str, House] = MappingProxyType({})

    def reply(self, message: Message, house: str) -> Reply:
        raise UnknownHouseError(f"no house can be opened, {house!r} among them")


_NO_HOUSES = _NoHouses()


class _ClosingError(Exception):
    """The service closes while the houses are still being opened."""


class Answering:
    """Answers messages with the assistant of all houses.

    Args:
        settings: Where houses, index and model are.
        at_once: How many messages are worked on at the same time. Two keep two
            processors busy, since the model uses several threads for one text; with four,
            health was told in 25 ms instead of 8 while sixteen clients asked, for a tenth
            more replies. One text at a time, too: encoding those of several messages in
            one call took as long for each. `python -m service.speed` measures it again.
    """

    def __init__(self, settings: Settings, at_once: int) -> None:
        self._settings = settings
        self._at_once = at_once
        self._closing = threading.Event()
        self._assistant: Assistant | None = None
        self.stage = Stage.CLOSED

    @asynccontextmanager
    async def running(self) -> AsyncIterator[None]:
        """Opens the houses meanwhile; closes when the block is left, even while they open."""
        self._limiter = CapacityLimiter(self._at_once)
        self._closing.clear()
        self.stage = Stage.OPENING
        opening = asyncio.create_task(self._open())
        try:
            yield
        finally:
            self._closing.set()
            await opening
            self.stage, self._assistant = Stage.CLOSED, None

    @property
    def houses(self) -> Mapping[str, House]:
        """The houses that can be asked about, by slug; none before the stage is OPEN."""
        return self._assistant.houses if self._assistant else {}

    def assistant(self) -> Assistant:
        """The assistant of the houses as they were last read; only once the stage is OPEN."""
        assert self._assistant is not None
        return self._assistant

    def answers(self) -> Assistant | _NoHouses:
        """The assistant, or what stands in its place while no house can be opened."""
        return self._assistant or _NO_HOUSES

    def fail(self, reason: str) -> None:
        """The service cannot work, whether houses are open or not: it says so, and stops."""
        self.stage = Stage.FAILED
        log.critical("the service is not set up rightly: %s", reason)

    def reopen(self) -> None:
        """Reads the houses anew, in the calling thread.

        A house whose files cannot be read any more stays as it was: a slip of the host's must
        not leave its guests without answers. So do all where nothing can be opened.
        """
        try:
            self._assistant = self._build()
        except AskhouseError as error:
            log.error("the houses were changed and cannot be opened: %s", error)
            return
        if self.stage is Stage.HELD:
            self.stage = Stage.OPEN
            log.info("ready: %s", ", ".join(sorted(self.houses)))

    async def reply(self, message: Message, house: str) -> Reply:
        """The draft reply to a message; to be asked only once the stage is OPEN.

        Raises:
            MessageError: The message is empty or too long.
            UnknownHouseError: No such house.
        """
        return await to_thread.run_sync(
            self.assistant().reply, message, house, limiter=self._limiter
        )

    async def _open(self) -> None:
        try:
            self._assistant = await to_thread.run_sync(self._build)
            self.stage = Stage.OPEN
            log.info("ready: %s", ", ".join(sorted(self.houses)))
        except _ClosingError:
            log.info("closed before the houses were open")
        except AskhouseError as error:
            self.stage = Stage.HELD
            log.critical("the houses cannot be opened: %s", error)
        except Exception:
            self.stage = Stage.HELD
            log.critical("the houses cannot be opened", exc_info=True)

    def _build(self) -> Assistant:
        folder = self._settings.knowledge
        library = load_houses(folder)
        if not library.houses and not self.houses:
            raise KnowledgeError(f"no house can be used in {folder}: see `askhouse check`")
        if library.errors:
            kept = {s: h for s, h in self.houses.items() if s not in library.houses}
            kept = {slug: house for slug, house in kept.items() if _is_there(folder, slug)}
            library = Library({**library.houses, **kept}, library.problems)
            log.warning(
                "%d errors in %s: some houses are left out, or stay as they were (%s); see "
                "`askhouse check`",
                len(library.errors),
                folder,
                ", ".join(sorted(kept)) or "none",
            )
        assistant = build_assistant(
            library,
            self._settings.index_file,
            self._settings.model,
            Told(log.info, self._progress),
            self._settings.calibration_file,
        )
        # The first message loads what the later ones find loaded, such as the languages.
        assistant.reply(Message(text="Where is the light switch?"), next(iter(library.houses)))
        return assistant

    def _progress(self, house: str, done: int, total: int) -> None:
        if self._closing.is_set():
            raise _ClosingError
        log.info("embedding %s: %d of %d", house, done, total)


def _is_there(folder: Path, slug: str) -> bool:
    """Whether a house's files are still there, readable or not."""
    return (folder / slug).exists() or (folder / f"{slug}.yaml").exists()
