"""No message is lost and none is answered twice, however often the service is killed."""

from __future__ import annotations

import os

import pytest

from tests.service.databases import own_postgres
from tests.service.killing import Plan, run

# Read here, since tests see no ASKHOUSE_* variable. The full measure takes ten minutes.
FULL = os.environ.get("ASKHOUSE_TEST_KILLS") == "full"
SMALL = {"messages": 100, "kills": 6}
WHOLE = {"messages": 1000, "kills": 50}
LIFE_S = 10  # at most, between two kills: a service needs some two seconds until it works


def plan(services: int) -> Plan:
    return Plan(services=services, life_s=LIFE_S, **(WHOLE if FULL else SMALL))


@pytest.mark.parametrize("backend", ["sqlite", "postgresql"])
def test_killed_at_any_moment_every_message_is_answered_once(
    backend: str, tmp_path: object
) -> None:
    """
    With retries, duplicates, pieces and reordering, and a gateway that refuses and goes silent:
    each message reaches the gateway as one reply under one key, the right one, to its sender.
    """
    if backend == "sqlite":
        outcome = run(f"sqlite:///{tmp_path}/askhouse.db", plan(1))
    else:
        with own_postgres() as url:
            outcome = run(url, plan(2))

    print(f"{backend}: {outcome}")  # shown by pytest -s

    assert outcome.kills >= (WHOLE if FULL else SMALL)["kills"]
    assert outcome.lost == []
    assert outcome.answered_twice == []
    assert outcome.wrong == []
