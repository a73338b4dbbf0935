"""The alerts' settings held against lines and houses: what can only fail later is told at once."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping

from askhouse.errors import SettingsError
from askhouse.values import House
from service.alerts.contact_settings import LineContact
from service.alerts.filling import CannotFillError, NotYetError, filled
from service.alerts.guests import Lines
from service.alerts.planned import Plan, useful
from service.alerts.settings import AlertSettings
from service.stays.settings import StayRules, rules_of
from service.tables import Stay

__all__ = ["check_alerts"]


def check_alerts(
    settings: AlertSettings,
    houses: Mapping[str, House],
    lines: Lines,
    rules: Mapping[str, StayRules],
) -> None:
    """Returns where contacts reach their lines, houses have a ladder, and templates can be filled.

    Raises:
        SettingsError: They cannot; names every field and how to mend it.
    """
    plan = Plan(settings=settings, houses=houses, lines=lines, rules=rules)
    problems = [*_contacts(settings, lines), *_ladders(settings, houses), *_planned(plan)]
    if problems:
        raise SettingsError("; ".join(problems))


def _contacts(settings: AlertSettings, lines: Lines) -> Iterator[str]:
    for name, contact in settings.contacts.items():
        if not isinstance(contact, LineContact):
            continue
        line = lines.get(contact.line)
        if line is None:
            yield f"contacts.{name}.line: there is no line {contact.line}; name one of lines"
        elif line.send is None:
            yield f"contacts.{name}.line: {contact.line} cannot send; add send to it"


def _ladders(settings: AlertSettings, houses: Mapping[str, House]) -> Iterator[str]:
    for slug in houses:
        if not settings.rules_of(slug).ladder:
            yield (
                f"houses.{slug}.ladder: nobody is alerted; name contacts there, or in alerts.ladder"
            )


def _planned(plan: Plan) -> Iterator[str]:
    for slug in plan.settings.houses:
        messages = plan.of(slug)
        if messages and not plan.sending(slug):
            yield f"houses.{slug}.planned: no line of the house can send; add send to one"
        for message in messages:
            for language, template in {"": message.text, **message.texts}.items():
                field = f"texts.{language}" if language else "text"
                problem = _filling(template, plan, slug)
                if problem is not None:
                    yield f"houses.{slug}.planned.{message.name}.{field}: {problem}"
            if _never(message.name, plan, slug):
                yield (
                    f"houses.{slug}.planned.{message.name}: it needs a sensitive fact whose "
                    "release window opens only when the message is of no use any more; plan it "
                    "later, or open the window earlier"
                )


def _sample(slug: str) -> Stay:
    day = dt.date(2026, 6, 12)
    return Stay(
        house=slug,
        guests=["Guest"],
        arrival=day,
        departure=day + dt.timedelta(days=7),
        door_code="0000",
        phones=[],
    )


def _filling(template: str, plan: Plan, slug: str) -> str | None:
    stay, house = _sample(slug), plan.houses[slug]
    midway = dt.datetime(2026, 6, 15, 12, tzinfo=dt.UTC)
    try:
        filled(template, stay, house, rules_of(slug, plan.rules), midway)
    except CannotFillError as error:
        return str(error)
    except NotYetError:
        return None
    return None


def _never(name: str, plan: Plan, slug: str) -> bool:
    """Whether a message of a common stay would wait for a window until it is of no use."""
    stay, house = _sample(slug), plan.houses[slug]
    message = next(each for each in plan.of(slug) if each.name == name)
    last_moment = useful(message, stay, house).end - dt.timedelta(seconds=1)
    for template in (message.text, *message.texts.values()):
        try:
            filled(template, stay, house, rules_of(slug, plan.rules), last_moment)
        except NotYetError:
            return True
        except CannotFillError:
            return False
    return False
