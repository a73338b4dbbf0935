"""What flows: seasons, media, and that nothing can be changed on its way."""

from __future__ import annotations

import dataclasses
import datetime as dt

import pytest

from askhouse.values import Length, Media, Reply, Season, Source
from tests.factories import make_fact, make_house


def day(month: int, day_of_month: int, year: int = 2026) -> dt.date:
    return dt.date(year, month, day_of_month)


SUMMER = Season(day(5, 1, 2000), day(9, 30, 2000), yearly=True)
WINTER = Season(day(11, 1, 2000), day(3, 31, 2000), yearly=True)
ONCE = Season(day(7, 1), day(7, 14), yearly=False)
LEAP = Season(day(2, 29, 2000), day(2, 29, 2000), yearly=True)


@pytest.mark.parametrize(
    ("season", "holds", "does_not"),
    [
        # Both ends belong to it, every year.
        (SUMMER, [day(5, 1), day(9, 30), day(7, 1, 2031)], [day(4, 30), day(10, 1), day(1, 1)]),
        # It may run over New Year.
        (WINTER, [day(11, 1), day(12, 31), day(1, 1), day(3, 31)], [day(4, 1), day(10, 31)]),
        # Full dates hold once.
        (ONCE, [day(7, 1), day(7, 14)], [day(6, 30), day(7, 15), day(7, 7, 2027)]),
        # The 29th of February comes only in leap years.
        (LEAP, [day(2, 29, 2028)], [day(2, 28), day(3, 1)]),
    ],
)
def test_a_season_holds_from_its_first_day_to_its_last(
    season: Season, holds: list[dt.date], does_not: list[dt.date]
) -> None:
    """
    The first and the last day belong to the season, the days around it do not.
    """
    assert all(season.holds_on(one) for one in holds)
    assert not any(season.holds_on(one) for one in does_not)


def test_media_start_as_in_media_fragments() -> None:
    """
    W3C Media Fragments 4.2.1: a start in seconds is `#t=90`, without a needless point.
    """
    assert str(Media("https://example.org/a", 90.0)) == "https://example.org/a#t=90"
    assert str(Media("https://example.org/a", 1.5)) == "https://example.org/a#t=1.5"
    assert str(Media("https://example.org/a")) == "https://example.org/a"


def test_a_fact_is_found_by_its_id() -> None:
    """
    A house gives the fact of an id, and says KeyError for one it does not have.
    """
    bins = make_fact("bins")

    assert make_house(bins).fact("bins") is bins
    with pytest.raises(KeyError, match="sauna"):
        make_house(bins).fact("sauna")


def test_nothing_can_be_changed_on_its_way() -> None:
    """
    A station can only add: what an earlier one found is frozen.
    """
    with pytest.raises(dataclasses.FrozenInstanceError):
        make_fact().text = "other"  # type: ignore[misc]


def test_a_reply_is_there_in_both_lengths() -> None:
    """
    The text of a length is that length's, and not the other's.
    """
    reply = Reply(house="ferry-lodge", full="long", short="s", parts=())

    assert (reply.text(Length.FULL), reply.text(Length.SHORT)) == ("long", "s")


def test_a_source_reads_like_a_compilers() -> None:
    """
    `file:line`, which editors open at a click.
    """
    assert str(Source("facts/water.yaml", 14)) == "facts/water.yaml:14"
