"""Who is writing: the sender of a message, its line and the time -> house, stay, and what they
may be told.

| who writes | standing | house | verified |
|---|---|---|---|
| a stay's number, its window open | guest | the stay's | yes |
| … a stay's window over, check-out not yet, or a fact's own window still open | guest | the stay's | no |
| … the window not open yet, arrival within `early_days`, or a fact's own window open | early | the stay's | no |
| … departed at most `after_days` ago | past | the stay's | no |
| … longer ago, or the stay is cancelled, or of a house of another line | stranger | see below | no |
| two stays of one house, one number (changeover, a family's telephone) | by the stay in progress by check-in and check-out; between the two, the arriving one; several in progress, the one that departs last | the stays' | as that stay |
| an open window in one house, a booking or a past stay in another | guest | of the open window | yes |
| open windows in two houses of the line | unclear | none, until the guest names the area | no |
| bookings in two houses, no window open | unclear | the same | no |
| a member of staff, no stay | staff | their only house on the line, or none | no |
| withheld, a name, a short code, an emergency number, our own number, a premium-rate number | withheld | the line's only house, or none | no |
| a number in no country's plan, or of nobody we know | stranger | the line's only house, or none | no |

`verified` says that the house's window is open. `facts` names the sensitive facts that may be told:
one may have a window of its own, which opens or closes before the house's or after it.

Where no house is settled and the sender can be asked, `ask_area` says so. The reply then asks for
the area and names none: a list of houses is nobody's business. What the guest answers is read by
`service.stays.areas.area_named`, kept with the thread, and given here as `settled`; it decides
only what stays leave open, and makes nobody verified who has no stay there.
"""  # noqa: E501 (a table's row is one line)

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Protocol

from sqlalchemy import select
from sqlalchemy.orm import Session

from askhouse.values import House
from service.stays.phone_numbers import Look, look
from service.stays.release import OWN_CODE_SECRET, Window, open_windows, staying, window
from service.stays.settings import StayRules, rules_of
from service.stays.stays import stays_of_number
from service.tables import Person, Role, Stay

__all__ = ["Line", "Standing", "Who", "who_is"]


class Line(Protocol):
    """What is asked of a line's settings."""

    @property
    def name(self) -> str:
        """The gateway's name."""

    @property
    def number(self) -> str | None:
        """The line's own number, E.164."""

    @property
    def houses(self) -> Sequence[str]:
        """Slugs of the houses that it serves."""


class Standing(StrEnum):
    """What a sender is to the house."""

    GUEST = "guest"
    EARLY = "early"
    PAST = "past"
    STAFF = "staff"
    STRANGER = "stranger"
    WITHHELD = "withheld"
    UNCLEAR = "unclear"


@dataclass(frozen=True, slots=True, kw_only=True)
class Who:
    """Who is writing.

    Attributes:
        house: Slug of the house they write about; None where it is not settled.
        stay: The stay they are known by, whether its window is open or not.
        verified: A guest inside the house's release window.
        standing: See the table above.
        release: The stay's window, for "I can tell you from …"; None without a stay to come
            or in progress.
        facts: The sensitive facts that may be told now, by id, each with its window; none but
            these may. Empty for all but guests, and for early ones but for facts whose own
            window opens before the house's.
        person: Of the host's side, if the number is one of theirs and they serve a house of
            the line; also where they are a guest.
        ask_area: No house is settled: ask for the area, and name none.
    """

    house: str | None
    stay: Stay | None = None
    verified: bool = False
    standing: Standing
    release: Window | None = None
    facts: Mapping[str, Window] = field(default_factory=dict)
    person: Person | None = None
    ask_area: bool = False

    def told_until(self, secrets: Iterable[str]) -> dt.datetime | None:
        """Until when all of these may be told, UTC; None where one of them may not be now.

        Args:
            secrets: Ids of sensitive facts, or `OWN_CODE_SECRET`.
        """
        windows = dict(self.facts)
        if self.verified and self.release is not None:
            windows[OWN_CODE_SECRET] = self.release
        ends = [windows[secret].end if secret in windows else None for secret in secrets]
        return None if None in ends else min(filter(None, ends), default=None)


@dataclass(frozen=True, slots=True)
class _Match:
    """A stay that the number belongs to, as it stands now."""

    stay: Stay
    standing: Standing
    release: Window
    facts: Mapping[str, Window]
    staying: bool


def who_is(
    session: Session,
    line: Line,
    sender: str,
    houses: Mapping[str, House],
    now: dt.datetime,
    rules: Mapping[str, StayRules],
    settled: str | None = None,
) -> Who:
    """Who is writing on that line at that time.

    Args:
        sender: E.164, "withheld", or what the gateway said.
        houses: The houses that can be answered for; others of the line are left out.
        rules: By slug; a house without has the defaults.
        settled: The house whose area the guest has named before.
    """
    served = {slug: houses[slug] for slug in line.houses if slug in houses}
    settled = settled if settled in served else None
    looks = look(sender, line.number, {house.country for house in served.values()})
    if looks not in (Look.TELEPHONE, Look.IMPOSSIBLE):
        # Nobody can be asked back: all who withhold their number would share one thread.
        return Who(house=_only(served), standing=Standing.WITHHELD)
    if looks is Look.IMPOSSIBLE:
        return _nobody(served, settled, None)
    person = _staff(session, sender, served)
    matches = [
        match
        for stay in stays_of_number(session, sender, served)
        if (match := _match(stay, served[stay.house], rules_of(stay.house, rules), now))
    ]
    for standing in (Standing.GUEST, Standing.EARLY, Standing.PAST):
        fitting = [match for match in matches if match.standing is standing]
        if fitting:
            opened = [match for match in fitting if match.release.holds(now)]
            return _of_stays(opened or fitting, settled, person, now)
    return _nobody(served, settled, person)


def _match(stay: Stay, house: House, rules: StayRules, now: dt.datetime) -> _Match | None:
    """The stay as it stands now; None where it is too far off to know its guests by."""
    release, times = window(stay, house, rules), staying(stay, house)
    facts = open_windows(stay, house, rules, now)
    if now < release.start:
        known = bool(facts) or now >= times.start - dt.timedelta(days=rules.early_days)
        standing = Standing.EARLY
    elif facts or now < max(release.end, times.end):
        known, standing = True, Standing.GUEST
    else:
        known = now < times.end + dt.timedelta(days=rules.after_days)
        standing = Standing.PAST
    if not known:
        return None
    return _Match(stay, standing, release, facts, times.holds(now))


def _of_stays(
    matches: Sequence[_Match], settled: str | None, person: Person | None, now: dt.datetime
) -> Who:
    """The answer for stays of one standing."""
    standing = matches[0].standing
    slugs = {match.stay.house for match in matches}
    if standing is Standing.PAST and len(slugs) > 1 and settled not in slugs:
        slugs = {max(matches, key=lambda match: match.stay.departure).stay.house}
    if len(slugs) > 1 and settled in slugs:
        slugs = {settled}
    if len(slugs) > 1:
        return Who(house=None, standing=Standing.UNCLEAR, person=person, ask_area=True)
    match = _one_of([match for match in matches if match.stay.house in slugs])
    if standing is Standing.PAST:
        return Who(house=match.stay.house, stay=match.stay, standing=standing, person=person)
    return Who(
        house=match.stay.house,
        stay=match.stay,
        verified=match.release.holds(now),
        standing=standing,
        release=match.release,
        facts=match.facts,
        person=person,
    )


def _one_of(matches: Iterable[_Match]) -> _Match:
    """Of several stays of one house and standing, the one meant: see the table."""
    stays = sorted(matches, key=lambda match: (match.stay.arrival, match.stay.id))
    if stays[0].standing is Standing.EARLY:
        return stays[0]
    in_progress = [match for match in stays if match.staying]
    if in_progress:
        return max(in_progress, key=lambda match: match.stay.departure)
    return stays[-1]


def _nobody(served: Mapping[str, House], settled: str | None, person: Person | None) -> Who:
    """The answer for a number without a stay."""
    if person is not None:
        theirs = [s for s in served if person.role == Role.OWNER or s in person.houses]
        house = settled if settled in theirs else _only(theirs)
        standing = Standing.STAFF
    else:
        house, standing = settled or _only(served), Standing.STRANGER
    return Who(house=house, standing=standing, person=person, ask_area=house is None)


def _only(slugs: Iterable[str]) -> str | None:
    every = list(slugs)
    return every[0] if len(every) == 1 else None


def _staff(session: Session, number: str, served: Iterable[str]) -> Person | None:
    """The person of that number who serves a house of the line and has not left."""
    person = session.scalar(select(Person).where(Person.number == number, Person.left_at.is_(None)))
    if person is None or person.role == Role.OWNER:
        return person
    return person if set(person.houses) & set(served) else None
