"""A process that begets others, which run what is due until they are killed: see test_kill.py.

It has everything imported, opens nothing and has one thread, so that another is a fork away.
"""

from __future__ import annotations

import datetime as dt
import os
import signal
import sys

from service.alerts.tick import run_due
from service.database import Database, open_engine
from tests.service.alerts.staging import HOUSES, LINES, NOON, SECTIONS, make_settings

_HELLO = {"name": "hello", "day": "arrival", "at": "09:00", "text": "Hi, {{ fact('key-safe') }}"}
_LODGE = SECTIONS["houses"]["ferry-lodge"] | {"planned": [_HELLO]}
SETTINGS = make_settings(houses=SECTIONS["houses"] | {"ferry-lodge": _LODGE})


def climb_on(url: str, began: dt.datetime) -> None:
    """Looks, and looks again; a second of ours is half an hour on the ladders."""
    database = Database(open_engine(url))

    def clock() -> dt.datetime:
        return NOON + 1800 * (dt.datetime.now(dt.UTC) - began)

    while True:
        run_due(database, SETTINGS, HOUSES, clock, lines=LINES, rules={})


def main(url: str) -> None:
    """For each line that comes in, another climber; its process id goes out."""
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # the dead are not kept
    began = dt.datetime.now(dt.UTC)
    for _ in sys.stdin:
        child = os.fork()
        if child == 0:
            climb_on(url, began)
        print(child, flush=True)


if __name__ == "__main__":
    main(sys.argv[1])
