"""The measure of the service runs, and measures the service that it is pointed at."""

from __future__ import annotations

import pytest

from service.speed import main


def test_speed_prints_a_line_for_each_number_of_clients(
    url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """
    Each number of clients has a line with its replies a second and times that fit together.
    """
    main(url, house="orchard-barn", seconds=1, clients=[1, 2])

    heading, one, two = capsys.readouterr().out.splitlines()
    assert heading.split()[0] == "clients"
    assert [one.split()[0], two.split()[0]] == ["1", "2"]
    for line in (one, two):
        _, replies, median, most, health_median, health_most = map(float, line.split())
        assert replies >= 1
        assert 0 < median <= most
        assert 0 < health_median <= health_most
