"""What the service writes down: one JSON object a line, and never a guest's words.

A fault is told by its type and by where it was raised. Its message is left out,
because the message of a foreign error often quotes what it choked on.
Whoever logs, numbers are masked and keys in paths are left out on the way.
"""

from __future__ import annotations

import datetime as dt
import json
import logging
import re
import sys
import traceback
from typing import Any

from service.lines.masking import masked, masked_path

__all__ = ["JsonLines", "PlainLines", "configure_logging"]

_FRAMES = 12  # the innermost; the way through the web framework is always the same

# In E.164, or as a gateway writes it, without the plus; an id or a duration is shorter.
_NUMBER = re.compile(r"(?<![\w.:-])\+?\d{9,15}(?![\w-])")
# One-time links, and secrets that a gateway is told as part of its address.
_KEY_IN_PATH = re.compile(r"(?<=^/take/)[^/]+|(?<=/)[A-Za-z0-9_~.=-]{32,}(?=/|$)")
# They write what they send into their lines: addresses with their secrets, numbers, texts.
_TALKATIVE = ("httpx", "httpcore", "apprise", "urllib3", "requests", "sqlalchemy.engine")


class JsonLines(logging.Formatter):
    """A record as one line of JSON; `extra={"fields": {...}}` adds members."""

    def format(self, record: logging.LogRecord) -> str:
        return json.dumps(_line(record))


class PlainLines(logging.Formatter):
    """The same for a terminal: time, level, event, and the members as NAME=VALUE."""

    def format(self, record: logging.LogRecord) -> str:
        line = _line(record)
        head = [line.pop(name) for name in ("time", "level", "logger", "event")]
        # A line break in what is logged must not forge a second line, nor a colour the first.
        shown = (c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in " ".join(head))
        return " ".join(["".join(shown), *(f"{n}={json.dumps(v)}" for n, v in line.items())])


def _line(record: logging.LogRecord) -> dict[str, Any]:
    moment = dt.datetime.fromtimestamp(record.created, dt.UTC)
    fields = getattr(record, "fields", {})
    line = {
        "time": moment.isoformat(timespec="milliseconds"),
        "level": record.levelname.lower(),
        "logger": record.name,
        "event": _without_numbers(record.getMessage()),
        **{name: _shown(name, value) for name, value in fields.items()},
    }
    if record.exc_info and record.exc_info[1] is not None:
        line["fault"] = _fault(record.exc_info[1])
    return line


def _shown(name: str, value: Any) -> Any:
    if not isinstance(value, str):
        return value
    if name == "path":
        value = _KEY_IN_PATH.sub("…", masked_path(value))
    return _without_numbers(value)


def _without_numbers(text: str) -> str:
    return _NUMBER.sub(lambda found: masked(found[0]), text)


def _fault(error: BaseException) -> dict[str, object]:
    frames = traceback.extract_tb(error.__traceback__)[-_FRAMES:]
    return {
        "type": f"{type(error).__module__}.{type(error).__qualname__}",
        "raised": [f"{frame.filename}:{frame.lineno} {frame.name}" for frame in frames],
    }


def configure_logging(*, as_json: bool = True) -> None:
    """Sends all logging to standard error; called once, by a program's start.

    Args:
        as_json: JSON lines, for a program to read; otherwise plain ones, for a person.
    """
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(JsonLines() if as_json else PlainLines())
    handler.setLevel(logging.INFO)  # at the handler, since a library may set its own loggers' level
    logging.basicConfig(level=logging.INFO, handlers=[handler], force=True)
    # The server comes with handlers of its own, in another form.
    for name in ("uvicorn", "uvicorn.error", "uvicorn.access"):
        logger = logging.getLogger(name)
        logger.handlers.clear()
        logger.propagate = True
    # Its access lines hold the query and the caller's address; ours stand in for them.
    logging.getLogger("uvicorn.access").disabled = True
    for name in _TALKATIVE:
        logging.getLogger(name).setLevel(logging.CRITICAL)
    # A line that cannot be written is lost; the standard library would print its arguments.
    logging.raiseExceptions = False
