"""Climbing while it is killed: nobody told twice, nobody left out."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

from service.alerts.tick import run_due
from service.database import Database
from tests.service.alerts.climber import SETTINGS
from tests.service.alerts.staging import (
    HOUSES,
    LINES,
    NOON,
    add_alert,
    add_people,
    add_stay,
    add_thread,
    deliveries,
    minutes,
)

ALERTS = 40
GUESTS = [f"+442079460{n}" for n in range(100, 120)]
KILLS = 16
ROOT = Path(__file__).parents[3]


class Climbers:
    """Processes that climb, by their ids, the oldest first."""

    def __init__(self, url: str) -> None:
        self._nest = subprocess.Popen(
            [sys.executable, "-m", "tests.service.alerts.climber", url],
            cwd=ROOT,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            bufsize=1,
        )
        self._ids: list[int] = []

    def add(self) -> None:
        assert self._nest.stdin is not None
        assert self._nest.stdout is not None
        self._nest.stdin.write("another\n")
        self._ids.append(int(self._nest.stdout.readline()))

    def kill(self) -> None:
        os.kill(self._ids.pop(0), signal.SIGKILL)

    def close(self) -> None:
        while self._ids:
            self.kill()
        self._nest.communicate()


@pytest.fixture
def climbers(database: Database) -> Iterator[Climbers]:
    """None yet; in the end none is left."""
    climbers = Climbers(database.engine.url.render_as_string(hide_password=False))
    yield climbers
    climbers.close()


def _more_than(database: Database, done: int) -> int:
    """How many deliveries there are, once there are more than so many."""
    until = time.monotonic() + 30
    while (found := len(deliveries(database))) <= done:
        assert time.monotonic() < until, f"nobody climbs any more, after {done} deliveries"
        time.sleep(0.02)
    return found


def test_killed_again_and_again(database: Database, climbers: Climbers) -> None:
    """
    Two processes climb 40 ladders and write to 20 guests while they are killed sixteen times:
    in the end each contact of each rung was told once, and each guest.
    """
    with database.writing() as session:
        add_people(session)
        thread = add_thread(session)
        # Half a minute apart, so that there is always something to do.
        ids = [add_alert(session, thread, next_at=NOON + minutes(n / 2)).id for n in range(ALERTS)]
        for number in GUESTS:
            add_stay(session, number, uid=number)
    chance = random.Random(62)
    done = 0

    climbers.add()
    climbers.add()
    for _ in range(KILLS):
        done = _more_than(database, done)  # so that each is killed at work
        time.sleep(chance.uniform(0, 0.1))
        climbers.kill()
        climbers.add()
    climbers.close()
    rungs = [(0, "ola-push"), (0, "ola-text"), (1, "sam-mail"), (2, "desk-hook")]
    first_round = {f"alert:{id_}:0:{rung}:{name}" for id_ in ids for rung, name in rungs}
    until = time.monotonic() + 30
    while True:
        run_due(database, SETTINGS, HOUSES, lambda: NOON + minutes(600), lines=LINES, rules={})
        sent = deliveries(database)
        found = Counter(d.key for d in sent)
        told = sorted(d.to for d in sent if d.key.startswith("planned:"))
        # A server may hold a dead client's rows a little longer; the next tick has them.
        if (first_round <= found.keys() and told == GUESTS) or time.monotonic() > until:
            break

    assert set(found.values()) == {1}
    assert first_round <= set(found)
    assert told == GUESTS
    # Round after round without a gap: what comes later is there only with what comes before.
    for id_ in ids:
        mine = [key.split(":") for key in found if key.startswith(f"alert:{id_}:")]
        steps = sorted({(int(key[2]), int(key[3])) for key in mine})
        assert steps == [divmod(n, 3) for n in range(len(steps))]
        assert Counter(key[4] for key in mine if key[3] == "0").keys() == {"ola-push", "ola-text"}
