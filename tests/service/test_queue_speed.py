"""The measure of the queue runs, and its figures fit together."""

from __future__ import annotations

import re

import pytest

from service.queue_speed import main
from service.settings import ServiceSettings


def test_it_prints_what_is_answered_and_when(
    settings: ServiceSettings, capsys: pytest.CaptureFixture[str]
) -> None:
    """
    Embedding alone is faster than answering, and each p50 is at most its p99.
    """
    main(settings.knowledge, "orchard-barn", 3, settings.index_file)

    embeds, most, sustained, flood = capsys.readouterr().out.splitlines()
    assert _number(embeds, "requests/s") > _number(most, "messages/s") > 0
    for line in (sustained, flood):
        found = re.search(r"p50 (\d+) ms, p99 (\d+) ms, of (\d+)", line)
        assert found is not None
        p50, p99, count = map(int, found.groups())
        assert 0 <= p50 <= p99
        assert count >= 2


def _number(line: str, unit: str) -> float:
    found = re.search(rf"([\d.]+) {unit}", line)
    assert found is not None
    return float(found[1])
