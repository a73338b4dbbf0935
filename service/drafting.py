"""What is said to a message, and what the host must hear of it; decided without a database.

The assistant says what is known. Here stands what a text message needs beside that: the words that
steer a line, senders who asked for silence, floods, a house that is not settled yet.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace

from askhouse.answer.compose import alarm_words, whole_text
from askhouse.answer.phrases import phrase as engine_phrase
from askhouse.errors import MessageError
from askhouse.triage.guidance import guidance
from askhouse.triage.wordlist import match
from askhouse.values import (
    Alarm,
    Fact,
    House,
    Kind,
    Length,
    Level,
    Message,
    Outcome,
    Reply,
    ReplyPart,
)
from service.blots import guest_words
from service.lines.words import Keyword, keyword
from service.phrases import phrase
from service.situation import Answers, Seen
from service.tables import Stay

__all__ = ["OWN_CODE", "Draft", "Raised", "draft", "held", "own_code"]

OWN_CODE = "{stay_door_code}"
"""What a fact says in place of each stay's own door code; in its file the braces are doubled."""
_FASTEST = (Level.EMERGENCY, Level.URGENT, Level.SOON)
_SUMMARY = 160  # characters of the guest's words in an alert


@dataclass(frozen=True, slots=True, kw_only=True)
class Raised:
    """Something that the host must hear of, one a kind."""

    kind: str
    level: Level
    summary: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """What becomes of a message.

    Attributes:
        text: What is sent, whole; None where nothing is.
        reply: The assistant's reply, if it was asked.
        house: The house that it is about, if one is settled.
        sensitive: The sensitive facts that `text` is said from.
        code: The stay's own door code, where `text` holds it.
        word: A word that steers the line; MORE sends what is left of the reply before.
        emergency: It is sent even to someone who opted out.
        urgent: It is sent before others.
        farewell: It says that the sender is opted out now.
        raised: For the host, one a kind.
    """

    text: str | None
    language: str
    reply: Reply | None = None
    house: House | None = None
    sensitive: tuple[Fact, ...] = ()
    code: str | None = None
    word: Keyword | None = None
    emergency: bool = False
    urgent: bool = False
    farewell: bool = False
    raised: tuple[Raised, ...] = ()


def draft(seen: Seen, assistant: Answers) -> Draft:
    """The draft for a message."""
    try:
        return _draft(seen, assistant)
    except MessageError:  # nothing to read in it, such as a picture alone, or far too much
        if seen.flood:
            return Draft(text=None, language=seen.language, house=seen.house, raised=_flood(seen))
        return held(seen.text, seen.house, seen.served, seen.language)


def _draft(seen: Seen, assistant: Answers) -> Draft:
    word = keyword(seen.text, opted_out=seen.opted_out)
    if word is not None and word is not Keyword.HELP:
        return _steering(seen, word)
    if seen.unread and not seen.urgent:
        return Draft(text=None, language=seen.language, house=seen.house, raised=_flood(seen))
    if seen.house is None:
        return _homeless(seen, word, assistant)
    known = seen.who.verified or bool(seen.who.facts) or bool(seen.later)
    reply = assistant.reply(
        Message(
            text=seen.question,
            verified=known,
            told=frozenset(seen.who.facts),
            later=seen.later,
            thread=seen.turns,
            day=seen.day,
        ),
        seen.house.slug,
    )
    return _of_reply(seen, reply, seen.house, word)


def _steering(seen: Seen, word: Keyword) -> Draft:
    """The draft for STOP, START and MORE; what MORE sends stands in the thread.

    STOP and START are always obeyed, and confirmed only so often.
    """
    tongue = seen.language
    name, silent = {
        Keyword.STOP: ("stopped", seen.opted_out or seen.confirmed),
        Keyword.START: ("started", seen.flood or seen.confirmed),
        Keyword.MORE: ("no_more", seen.flood or seen.opted_out),
    }[word]
    return Draft(
        text=None if silent else phrase(name, tongue),
        language=tongue,
        house=seen.house,
        word=word,
        farewell=word is Keyword.STOP,
    )


def _of_reply(seen: Seen, reply: Reply, house: House, word: Keyword | None) -> Draft:
    alarmed = [part for part in reply.parts if part.decision.alarm]
    safety = [part for part in alarmed if part.decision.kind is Kind.SAFETY]
    language = reply.parts[0].part.language
    quiet = seen.opted_out or seen.flood
    parts: Sequence[ReplyPart] = reply.parts
    if quiet:
        # Someone who asked for silence hears of danger alone; in a flood, of a lockout too.
        parts = safety if seen.opted_out else alarmed
    if word is Keyword.HELP and not safety:
        text = None if seen.opted_out else _about_line(house, language)
        return Draft(text=text, language=language, house=house)
    # The host hears of a flood once, and then of danger alone.
    raised = [*_raised(alarmed if seen.flood else reply.parts, house, seen)]
    cited = {citation.fact_id for part in parts for citation in part.citations}
    text = whole_text(house, parts, Length.SHORT, [_for_text_message(p, house) for p in parts])
    code = None
    if OWN_CODE in text:
        code = own_code(house, cited, seen.who.stay)
        text = text.replace(OWN_CODE, code or phrase("own_code", language))
        if code is None:
            raised.append(Raised(kind="code", level=Level.URGENT, summary=_words(seen, house)))
    if word is Keyword.HELP and text:
        text = f"{text} {_about_line(house, language)}"
    if seen.flood and not alarmed:
        raised += _flood(seen)
    return Draft(
        text=text or None,
        language=language,
        reply=reply,
        house=house,
        sensitive=tuple(f for f in house.facts if f.sensitive and f.id in cited),
        code=code,
        word=word,
        emergency=bool(safety),
        urgent=bool(alarmed),
        raised=tuple(raised),
    )


def own_code(house: House, cited: Collection[str], stay: Stay | None) -> str | None:
    """A stay's own door code, where what is said from these facts may hold it; else None.

    Only a sensitive fact waits for its window: in any other the code would go out too early.
    """
    told = [fact for fact in house.facts if fact.id in cited and not fact.sensitive]
    if stay is None or any(OWN_CODE in said for fact in told for said in _said(fact)):
        return None
    return stay.door_code


def _said(fact: Fact) -> tuple[str, ...]:
    steps = (words for section in fact.sections for words in (section.text, *section.steps))
    return (fact.text, *fact.cautions, *steps)


def _homeless(seen: Seen, word: Keyword | None, assistant: Answers) -> Draft:
    """The draft where no house is settled: danger is answered all the same, the rest asked about.

    Any house of the line reads the message, but only alarms are taken from what it says.
    """
    language = seen.language
    where = phrase("ask_area", language) if seen.who.ask_area else phrase("unread", language)
    if not seen.served:
        # No house of the line can be read at the moment: the word list still knows danger.
        made = held(seen.text, None, (), language)
        return made if made.urgent else replace(made, text=None)
    reply = assistant.reply(Message(text=seen.question), seen.served[0].slug)
    language = reply.parts[0].part.language
    alarms = [part.decision.alarm for part in reply.parts if part.decision.alarm]
    if not alarms:
        if seen.opted_out or seen.flood:
            return Draft(text=None, language=language, raised=_flood(seen) if seen.flood else ())
        where = phrase("ask_area" if seen.who.ask_area else "unread", language)
        if word is Keyword.HELP:
            return Draft(text=f"{phrase('help', language)} {where}", language=language)
        raised = () if seen.who.ask_area else (_unread(seen, None),)
        return Draft(text=where, language=language, raised=raised)
    house = _any_of(seen.served)
    said = dict.fromkeys(alarm_words(house, alarm, guidance(), language) for alarm in alarms)
    safety = any(alarm.kind is Kind.SAFETY for alarm in alarms)
    text = " ".join([*said, *([] if seen.opted_out else [where])])
    return Draft(
        text=text if safety or not seen.opted_out else None,
        language=language,
        emergency=safety,
        urgent=True,
        raised=tuple(_raised(reply.parts, house, seen)),
    )


def held(text: str, house: House | None, served: Sequence[House], language: str) -> Draft:
    """The draft for a message that cannot be worked on: the word list reads it, and the host does.

    Its words do not depend on what failed: neither assistant nor stays are asked.
    """
    home = house or (_any_of(served) if served else None)
    found = match(text, guidance())
    level = found.signal.level if found else Level.SOON
    summary = _one_line(_without_secrets(text, [house] if house else served))
    raised = (Raised(kind="unread", level=level, summary=summary),)
    said = phrase("unread", language)
    if found is not None and home is not None:
        alarm = Alarm(
            kind=found.kind,
            hazard=found.hazard,
            level=level,
            signal=found.signal.name,
            probability=1.0,
        )
        said = f"{alarm_words(home, alarm, guidance(), language)} {said}"
    return Draft(
        text=said,
        language=language,
        house=house,
        emergency=found is not None and found.kind is Kind.SAFETY,
        urgent=found is not None,
        raised=raised,
    )


def _any_of(served: Sequence[House]) -> House:
    """A house that stands for all of a line: what they do not share is left out or told for all."""
    numbers = dict.fromkeys(house.emergency_number for house in served)
    countries = {house.country for house in served}
    return replace(
        served[0],
        emergency_number=" / ".join(numbers),
        country=served[0].country if len(countries) == 1 else "",
        call_back=served[0].call_back if len(served) == 1 else None,
    )


def _for_text_message(part: ReplyPart, house: House) -> str:
    """A part's full text with its cautions first, since the end may be cut off."""
    if part.decision.outcome is not Outcome.ANSWER:
        return part.text
    cited = {citation.fact_id for citation in part.citations}
    told = [fact for fact in part.decision.facts if fact.id in cited]
    notes = [
        engine_phrase("caution", "en", text=caution)
        for fact in told
        for caution in fact.cautions
        if caution not in fact.text
    ]
    lines = [line for line in part.text.split("\n") if line not in notes]
    return "\n".join([*dict.fromkeys(notes), *lines])


def _about_line(house: House, language: str) -> str:
    said = phrase("help", language)
    if house.call_back is None:
        return said
    return f"{said} {phrase('call_host', language, number=house.call_back)}"


def _raised(parts: Iterable[ReplyPart], house: House, seen: Seen) -> Iterable[Raised]:
    """What the parts raise, one a kind, each as fast as the fastest of its parts."""
    by_kind: dict[str, list[tuple[Level, str]]] = {}
    for part in parts:
        kind, level = _kind_and_level(part)
        if kind is not None:
            # Where the house is not settled, it may be a code of any of the line's.
            told = [house, *seen.served]
            words = _without_secrets(part.part.text, told, _door_code(seen))
            by_kind.setdefault(kind, []).append((level, words))
    for kind, found in by_kind.items():
        level = min((level for level, _ in found), key=_FASTEST.index)
        yield Raised(
            kind=kind, level=level, summary=_one_line(" / ".join(words for _, words in found))
        )


def _kind_and_level(part: ReplyPart) -> tuple[str | None, Level]:
    decision = part.decision
    if decision.alarm is not None:
        return decision.alarm.kind, decision.alarm.level
    if decision.outcome is Outcome.GAP and not decision.ask_back:
        return "gap", Level.SOON  # the guest is told that it was passed on
    if decision.outcome is Outcome.ESCALATE and decision.kind is not None:
        return decision.kind, Level.URGENT if decision.kind is Kind.LOCKOUT else Level.SOON
    return None, Level.SOON


def _flood(seen: Seen) -> tuple[Raised, ...]:
    if seen.unread:
        level = Level.URGENT  # danger may be among them
        summary = "So many messages came that not all were read: see whether someone is in danger."
    else:
        level = Level.SOON
        summary = "More messages came than are answered; they are kept in the thread."
    if level in seen.flood_told:
        return ()
    return (Raised(kind="flood", level=level, summary=summary),)


def _unread(seen: Seen, house: House | None) -> Raised:
    return Raised(kind="unread", level=Level.SOON, summary=_words(seen, house))


def _words(seen: Seen, house: House | None) -> str:
    houses = [house] if house else seen.served
    return _one_line(_without_secrets(seen.text, houses, _door_code(seen)))


def _without_secrets(text: str, houses: Iterable[House], *also: str | None) -> str:
    for house in houses:
        text = guest_words(text, house, *also)
    return text


def _door_code(seen: Seen) -> str | None:
    return seen.who.stay.door_code if seen.who.stay else None


def _one_line(text: str) -> str:
    line = " ".join(text.split())
    return line if len(line) <= _SUMMARY else line[: _SUMMARY - 2].rstrip() + " …"
