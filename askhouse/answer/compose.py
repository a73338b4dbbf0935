"""Decisions -> the reply: the cited facts' own words, the fixed words, and a few joints.

Nothing here makes a sentence about the house. What a fact says is copied as it
stands; so are numbers, times, names and codes.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence

from babel.dates import format_date

from askhouse.answer.guard import tellable
from askhouse.answer.length import SHORT_CHARACTERS, fitted, sentences
from askhouse.answer.phrases import phrase
from askhouse.search.store import text_hash
from askhouse.triage.guidance import Guidance
from askhouse.values import (
    Alarm,
    Citation,
    Decision,
    Fact,
    Hazard,
    House,
    Kind,
    Length,
    Level,
    Outcome,
    Part,
    ReplyPart,
)

__all__ = ["cite", "part_text", "whole_text"]

_ECHO = 60  # characters of the guest's words that a joint repeats


def cite(fact: Fact) -> Citation:
    """The citation of a fact; the hash lets one find later who was told an older text."""
    return Citation(
        fact_id=fact.id,
        title=fact.title,
        source=fact.source,
        verified_on=fact.verified_on,
        content_hash=text_hash(fact.text),
    )


def part_text(
    house: House,
    part: Part,
    decision: Decision,
    guidance: Guidance,
    *,
    verified: bool,
    alone: bool,
    length: Length,
    told: frozenset[str] | None = None,
    later: Mapping[str, dt.datetime] | None = None,
) -> str:
    """What is said about one part.

    Args:
        house: The house.
        part: The part.
        decision: What was decided about it.
        guidance: Fixed words for alarms.
        verified: Whether the sender may read sensitive facts.
        alone: Whether it is the only part; otherwise a gap names what it is about.
        length: Full or short.
        told: As in `Message`.
        later: As in `Message`.
    """
    language = part.language
    if decision.alarm is not None:
        words = alarm_words(house, decision.alarm, guidance, language)
        return f"{phrase('stranger', language)} {words}" if decision.stranger else words
    if decision.ask_back:
        first, second = decision.ask_back[:2]
        return phrase("ask_back", language, first=first.title, second=second.title)
    if decision.outcome is Outcome.ANSWER:
        facts = tellable(decision.facts, verified=verified, told=told)
        text = _answer(facts, length)
        opening = [later[fact.id] for fact in decision.facts if later and fact.id in later]
        if verified and opening:
            return "\n".join(filter(None, (text, _from(min(opening), language))))
        if language != "en" and length is Length.FULL:
            return f"{phrase('facts_language', language)} {text}"
        return text
    if decision.outcome is Outcome.CHAT:
        return phrase("chat", language)
    if decision.outcome is Outcome.GAP:
        if alone:
            return phrase("gap", language)
        return phrase("gap_about", language, part=_echo(part.text))
    if decision.stranger or decision.kind in (Kind.LOCKOUT, None):
        return phrase("stranger", language)
    return phrase(decision.kind.value, language)


def alarm_words(house: House, alarm: Alarm, guidance: Guidance, language: str) -> str:
    """The fixed words of an alarm: what keeps people safe, whom to call, that the host knows.

    Where nothing has happened yet, nobody is sent out of the house: `soon` has words of its own.
    """
    if alarm.kind is Kind.LOCKOUT:
        entry = guidance.lockout
        lines = [_in(entry.words, language)]
        if house.call_back:
            lines.append(_in(entry.call_back, language).format(number=house.call_back))
        return " ".join(lines)
    if alarm.level is Level.SOON:
        return _in(guidance.soon, language).format(number=house.emergency_number)
    hazard = (
        guidance.hazards.get(alarm.hazard or Hazard.UNCLEAR) or guidance.hazards[Hazard.UNCLEAR]
    )
    lines = [_in(hazard.words, language).format(number=house.emergency_number)]
    line = guidance.poison_lines.get(house.country)
    if hazard.poison_help and line:
        lines.append(_in(guidance.poison_words, language).format(number=line))
    lines.append(_in(guidance.host_alerted, language))
    return " ".join(lines)


def _in(forms: object, language: str) -> str:
    assert hasattr(forms, "get")
    return str(forms.get(language) or forms.get("en"))


def _answer(facts: Sequence[Fact], length: Length) -> str:
    if length is Length.SHORT:
        spaces = max(len(facts) - 1, 0)
        room = max((SHORT_CHARACTERS - spaces) // max(len(facts), 1), 100)
        return " ".join(_short(fact, room) for fact in facts)
    return "\n".join(_full(fact) for fact in facts)


def _from(start: dt.datetime, language: str) -> str:
    """From when a code can be told; the hours are numbers, as every language of ours reads them."""
    day = format_date(start.date(), "EEEE d MMMM", locale=language)
    return phrase("later", language, time=f"{start:%H:%M}", day=day)


def _full(fact: Fact) -> str:
    lines = [fact.text]
    lines += [
        phrase("caution", "en", text=caution)
        for caution in fact.cautions
        if caution not in fact.text
    ]
    if fact.media is not None:
        lines.append(phrase("see", "en", link=str(fact.media)))
    return "\n".join(lines)


def _short(fact: Fact, room: int) -> str:
    cautions = [caution for caution in fact.cautions if caution not in fact.text]
    # Cautions are never cut; the rest takes what room they leave.
    left = max(room - sum(len(caution) + 1 for caution in cautions), 80)
    return " ".join([fitted(sentences(fact.text), left), *cautions])


def _echo(text: str) -> str:
    text = " ".join(text.split()).rstrip("?!. ")
    if len(text) <= _ECHO:
        return text
    return text[:_ECHO].rsplit(" ", 1)[0] + " …"


def whole_text(
    house: House, parts: Sequence[ReplyPart], length: Length, texts: Sequence[str]
) -> str:
    """The reply: parts in the guest's order, nothing said twice, greeting and sign-off around.

    Words that keep people safe come first, whatever else the guest asked before.
    """
    alarmed = [part.decision.kind is Kind.SAFETY for part in parts]
    fresh = [
        (not alarm, text)
        for alarm, text, new in zip(alarmed, texts, _news(parts), strict=True)
        if new and text
    ]
    said = list(dict.fromkeys(text for _, text in sorted(fresh, key=lambda row: row[0])))
    if len(parts) > 1:
        # Thanks for thanks would only stand between two answers.
        chat = {
            text
            for part, text in zip(parts, texts, strict=True)
            if part.decision.outcome is Outcome.CHAT
        }
        said = [text for text in said if text not in chat] or said
    if length is Length.SHORT:
        return " ".join(said)
    around = [None, None] if any(alarmed) else [house.greeting, house.sign_off]
    return "\n\n".join(line for line in [around[0], *said, around[1]] if line)


def _news(parts: Sequence[ReplyPart]) -> list[bool]:
    """For each part, whether it says anything that no earlier part has said."""
    told: set[str] = set()
    news = []
    for part in parts:
        facts = {citation.fact_id for citation in part.citations}
        news.append(not facts or not facts <= told)
        told |= facts
    return news
