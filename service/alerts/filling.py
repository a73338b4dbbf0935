"""A planned message's template filled for one stay: with facts, under the guards of a reply.

A template may use

- `fact("ID")`: the text of a fact of the house with its cautions; a sensitive one only while its
  release window is open;
- `stay.guest`, `stay.guests`, `stay.arrival`, `stay.departure`, `stay.nights`, and
  `stay.door_code` while the stay's window is open;
- `house.name`, `house.emergency_number`, `house.call_back`; `check_in` and `check_out`.

Times and dates are written as the house's country writes them, in English.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from jinja2 import TemplateError

from askhouse.knowledge.country_words import CountryWords
from askhouse.values import House
from service.drafting import OWN_CODE
from service.lines.templates import fill
from service.stays.release import OWN_CODE_SECRET, Window, fact_window, window
from service.stays.settings import StayRules
from service.tables import Stay

__all__ = ["CannotFillError", "Filled", "NotYetError", "filled", "says_nothing_yet"]


class NotYetError(Exception):
    """A sensitive fact may not be told now."""


class CannotFillError(Exception):
    """The template asks for what is not there; says what, and how to mend it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Filled:
    """A text for the stay's guests.

    Attributes:
        secrets: Ids of the sensitive facts it was filled from; `OWN_CODE_SECRET` for the stay's
            own code where no such fact says it.
        code: The stay's own door code, where the text holds it.
        until: It may not be sent after this, UTC; None for a text without secrets.
    """

    text: str
    secrets: tuple[str, ...] = ()
    code: str | None = None
    until: dt.datetime | None = None

    @property
    def sensitive(self) -> bool:
        """Whether it holds a secret."""
        return self.until is not None


def filled(template: str, stay: Stay, house: House, rules: StayRules, now: dt.datetime) -> Filled:
    """The template filled for the stay.

    Raises:
        NotYetError: It needs a sensitive fact outside of its window.
        CannotFillError: It needs what the house or the stay does not have.
    """
    guarded = _Guarded(stay, house, rules, now)
    words = CountryWords(house.country)
    values: dict[str, object] = {
        "fact": guarded.fact,
        "stay": _Stay(stay, words, guarded),
        "house": _House(house.name, house.emergency_number, house.call_back or ""),
        "check_in": words.time(house.check_in),
        "check_out": words.time(house.check_out),
    }
    try:
        text = fill(template, values).strip()
    except TemplateError as error:
        raise CannotFillError(f"its template fails: {error.message}; mend it") from None
    except (TypeError, ValueError, ArithmeticError) as error:
        raise CannotFillError(f"its template fails ({type(error).__name__}); mend it") from None
    return Filled(
        text=text,
        secrets=tuple(dict.fromkeys(guarded.secrets)),
        code=guarded.code,
        until=min((window.end for window in guarded.windows), default=None),
    )


def says_nothing_yet(
    templates: Iterable[str], stay: Stay, house: House, rules: StayRules, now: dt.datetime
) -> bool:
    """Whether none of these could be sent now: each is empty, or waits for a window."""
    for template in templates:
        try:
            if filled(template, stay, house, rules, now).text:
                return False
        except NotYetError:
            continue
        except CannotFillError:
            return False  # which the host is to hear of
    return True


class _Guarded:
    """Gives out what is sensitive only inside its window, and remembers what it gave."""

    def __init__(self, stay: Stay, house: House, rules: StayRules, now: dt.datetime) -> None:
        self._stay, self._house, self._rules, self._now = stay, house, rules, now
        self.secrets: list[str] = []
        self.windows: list[Window] = []
        self.code: str | None = None

    def fact(self, fact_id: str) -> str:
        try:
            fact = self._house.fact(fact_id)
        except KeyError:
            raise CannotFillError(
                "it names a fact that the house does not have (any more): write the fact, or "
                "name another"
            ) from None
        if fact.sensitive:
            self._open(fact_window(self._stay, self._house, self._rules, fact.id))
            self.secrets.append(fact.id)
        text = fact.text
        if OWN_CODE in text:
            # In a sensitive fact it waits for the fact's window, as in a reply.
            code = self._code() if fact.sensitive else self.own_code()
            text = text.replace(OWN_CODE, code)
        return " ".join([text, *(c for c in fact.cautions if c not in text)])

    def own_code(self) -> str:
        self._open(window(self._stay, self._house, self._rules))
        self.secrets.append(OWN_CODE_SECRET)
        return self._code()

    def _code(self) -> str:
        if not self._stay.door_code:
            raise CannotFillError("the stay has no door code of its own: enter it")
        self.code = self._stay.door_code
        return self.code

    def _open(self, release: Window) -> None:
        if not release.holds(self._now):
            raise NotYetError
        self.windows.append(release)


@dataclass(frozen=True)
class _House:
    """What a template may say of the house: not its facts, which have guards of their own."""

    name: str
    emergency_number: str
    call_back: str


class _Stay:
    """What a template may say of the stay."""

    def __init__(self, stay: Stay, words: CountryWords, guarded: _Guarded) -> None:
        self._guarded = guarded
        self.guests = ", ".join(stay.guests)
        self.guest = stay.guests[0] if stay.guests else ""
        self.arrival = words.date(stay.arrival)
        self.departure = words.date(stay.departure)
        self.nights = (stay.departure - stay.arrival).days

    @property
    def door_code(self) -> str:
        return self._guarded.own_code()
