"""What someone of the host's side texts: TAKE takes an alert, any other message steers nothing.

Who writes is told by a number, and that can be forged. All that is won by it is to take an alert,
which silences it; `alerts.take_code` asks for what only the alert's own text says.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping

from sqlalchemy import select
from sqlalchemy.orm import Session

from askhouse.values import House
from service.access.roles import caller_of, may_see
from service.alerts.guests import Lines
from service.alerts.ladder import about
from service.alerts.links import code_of
from service.alerts.people import name_of, who
from service.alerts.take import take
from service.alerts.words import headline
from service.tables import Delivery, Escalation, EscalationState, Person

__all__ = ["read_staff"]

_TAKE = re.compile(r"\W*take\W*(\d{1,9})?\W*", re.IGNORECASE)
_MOST_NAMED = 5


def read_staff(
    session: Session,
    person: Person,
    text: str,
    now: dt.datetime,
    *,
    houses: Mapping[str, House],
    lines: Lines,
    take_code: bool = False,
) -> str | None:
    """Does what the message says, and gives the reply; None where it steers nothing.

    TAKE alone takes the alert that was texted to the person, where that is one: to take another
    one by mistake would silence it. Of several, it names them.

    Args:
        take_code: Whether TAKE needs the code of the alert, and neither its number nor nothing do.
    """
    found = _TAKE.fullmatch(text)
    if found is None:
        return None
    waiting = _texted(session, person)
    if take_code:
        named = [alert for alert in waiting if code_of(session, alert) == found[1]]
        if len(named) != 1:
            return "Reply TAKE and the six digits that the alert's text names."
        return _take(session, person, named[0], now, houses, lines)
    if found[1] is not None:
        alert = session.get(Escalation, int(found[1]))
        seen = alert in waiting or (alert and may_see(caller_of(person), alert.house))
        if alert is None or not seen:
            return f"There is no alert {int(found[1])} for you."
        return _take(session, person, alert, now, houses, lines)
    if len(waiting) == 1:
        return _take(session, person, waiting[0], now, houses, lines)
    if not waiting:
        return "No alert that was texted to you is open."
    ways = [f"TAKE {alert.id}: {headline(about(session, alert, houses))}" for alert in waiting]
    return "\n".join(["Several are open. Reply with one of:", *ways[:_MOST_NAMED]])


def _take(
    session: Session,
    person: Person,
    alert: Escalation,
    now: dt.datetime,
    houses: Mapping[str, House],
    lines: Lines,
) -> str:
    taken = take(session, alert.id, who(person), now, houses=houses, lines=lines)
    said = headline(about(session, taken.alert, houses))
    if taken.done:
        return f"You have alert {alert.id} now. {said}."
    if taken.yours:
        return f"You have alert {alert.id} already. {said}."
    if taken.by is None:
        return f"Alert {alert.id} is closed."
    return f"{name_of(session, taken.by)} has alert {alert.id} already. {said}."


def _texted(session: Session, person: Person) -> list[Escalation]:
    """Open alerts that a text message told the person of, the newest first."""
    told = select(Delivery.escalation_id).where(
        Delivery.channel == "line", Delivery.to == person.number
    )
    return list(
        session.scalars(
            select(Escalation)
            .where(Escalation.state == EscalationState.OPEN, Escalation.id.in_(told))
            .order_by(Escalation.id.desc())
        )
    )
