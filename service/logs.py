"""What the service writes down: one JSON object a line, and never a guest's words.

A fault is told by its type and by where it was raised. Its message is left out,
because the message of a foreign error often quotes what it choked on.
"""

from __future__ import annotations

import datetime as dt
import json
import logging
import sys
import traceback
from types import TracebackType

__all__ = ["JsonLines", "configure_logging"]

_FRAMES = 12  # the innermost; the way through the web framework is always the same

ExcInfo = tuple[type[BaseException], BaseException, TracebackType | None]


class JsonLines(logging.Formatter):
    """A record as one line of JSON; `extra={"fields": {...}}` adds members."""

    def format(self, record: logging.LogRecord) -> str:
        moment = dt.datetime.fromtimestamp(record.created, dt.UTC)
        line = {
            "time": moment.isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "event": record.getMessage(),
            **getattr(record, "fields", {}),
        }
        if record.exc_info and record.exc_info[1] is not None:
            line["fault"] = _fault(record.exc_info[1])
        return json.dumps(line)


def _fault(error: BaseException) -> dict[str, object]:
    frames = traceback.extract_tb(error.__traceback__)[-_FRAMES:]
    return {
        "type": f"{type(error).__module__}.{type(error).__qualname__}",
        "raised": [f"{frame.filename}:{frame.lineno} {frame.name}" for frame in frames],
    }


def configure_logging() -> None:
    """Sends all logging to standard error as JSON lines; called once, by a program's start."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(JsonLines())
    handler.setLevel(logging.INFO)  # at the handler, since a library may set its own loggers' level
    logging.basicConfig(level=logging.INFO, handlers=[handler], force=True)
    # The server comes with handlers of its own, in another form.
    for name in ("uvicorn", "uvicorn.error", "uvicorn.access"):
        logger = logging.getLogger(name)
        logger.handlers.clear()
        logger.propagate = True
    # Its access lines hold the query and the caller's address; ours stand in for them.
    logging.getLogger("uvicorn.access").disabled = True
