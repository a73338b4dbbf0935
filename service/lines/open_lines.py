"""The lines as they stand open: settings with their secrets, and what takes in their messages."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Protocol

from askhouse.errors import SettingsError
from service.lines.arrived import Arrived
from service.lines.settings import LineSettings
from service.lines.signing_settings import read_signing_secret

__all__ = ["Inbox", "OpenLine", "OpenLines", "Receipt", "open_lines"]


@dataclass(frozen=True, slots=True)
class Receipt:
    """What became of a message that was handed over.

    Attributes:
        message_id: None for a piece whose others are still missing; for a message that came
            before, that of the first time.
        worked_on: Whether anything works on messages. Where nothing does, a gateway is not told
            yes: it tries again, and whoever watches it sees that something is wrong.
    """

    message_id: int | None
    worked_on: bool = True


class Inbox(Protocol):
    """Where messages go, and where the replies come from that a line gives in its response."""

    def receive(self, arrived: Arrived) -> Receipt:
        """Stores the message; once this returns, it may be acknowledged."""

    def reply_text(self, message_id: int, wait_s: float) -> str | None:
        """The reply, fitted, or None while there is none; "" where nothing is to be said.

        From then on it counts as handed over, and nothing else sends it. Asked again, within ten
        minutes, it gives the same text: a gateway hands a message over again only where it got
        no answer; later, it gives "", so that a recorded request brings nothing to light.

        Args:
            wait_s: Seconds it may wait for the reply; the routes ask with 0, again and again.
        """


@dataclass(frozen=True, slots=True)
class OpenLine:
    """A line and the secret its gateway signs with; the secret is in no representation."""

    settings: LineSettings
    secret: str = field(repr=False)


@dataclass(frozen=True, slots=True)
class OpenLines:
    """Every line by its name, and the clock that signatures are held against."""

    by_name: Mapping[str, OpenLine]
    now: Callable[[], datetime] = lambda: datetime.now(UTC)


def open_lines(lines: Sequence[LineSettings], environ: Mapping[str, str]) -> OpenLines:
    """The lines with their secrets.

    Raises:
        SettingsError: Two lines have one name, or secrets are missing or weak; names all.
    """
    opened: dict[str, OpenLine] = {}
    named = Counter(settings.name for settings in lines)
    problems = [
        f"lines: {count} are named {name}; rename them"
        for name, count in named.items()
        if count > 1
    ]
    for settings in lines:
        try:
            opened[settings.name] = OpenLine(
                settings, read_signing_secret(settings.signing, environ)
            )
        except SettingsError as error:
            problems.append(f"lines: {settings.name}: {error}")
    if problems:
        raise SettingsError("; ".join(problems))
    return OpenLines(opened)
