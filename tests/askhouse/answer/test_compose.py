"""Decisions -> the reply: the facts' own words, and nothing else."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from askhouse.answer.compose import cite, part_text, whole_text
from askhouse.answer.length import SHORT_CHARACTERS, fitted, sentences
from askhouse.answer.phrases import phrase, phrases
from askhouse.knowledge.load import load_houses
from askhouse.parts.language import READ
from askhouse.search.store import text_hash
from askhouse.triage.guidance import guidance
from askhouse.values import (
    Alarm,
    Decision,
    Fact,
    Hazard,
    House,
    Kind,
    Length,
    Level,
    Media,
    Outcome,
    ReplyPart,
)
from tests.conftest import DEMO_HOUSES
from tests.factories import make_answer, make_fact, make_house, make_part

HOUSE = make_house(call_back="020 7946 0123", greeting="Hello,", sign_off="Wilma")


def said(
    decision: Decision,
    length: Length = Length.FULL,
    *,
    house: House = HOUSE,
    verified: bool = True,
    alone: bool = True,
    text: str = "where are the bins",
    language: str = "en",
) -> str:
    """What is said about one part."""
    part = make_part(text, language)
    return part_text(
        house, part, decision, guidance(), verified=verified, alone=alone, length=length
    )


def alarm(hazard: Hazard | None, kind: Kind = Kind.SAFETY) -> Decision:
    raised = Alarm(kind=kind, hazard=hazard, level=Level.EMERGENCY, signal="by hand", probability=1)
    return Decision(
        outcome=Outcome.ESCALATE, kind=kind, confidence=1, reason="by hand", alarm=raised
    )


def to_host(kind: Kind | None) -> Decision:
    return Decision(outcome=Outcome.ESCALATE, kind=kind, confidence=1, reason="by hand")


GAP = Decision(outcome=Outcome.GAP, confidence=0.9, reason="by hand")
CHAT = Decision(outcome=Outcome.CHAT, confidence=0.9, reason="by hand")


# Verbatim: every fact of the demo houses, in both lengths, alone and together.

DEMO = load_houses(DEMO_HOUSES).houses
DEMO_FACTS = [(house, fact) for house in DEMO.values() for fact in house.facts]
FACTS = {f"{house.slug}/{fact.id}": fact for house, fact in DEMO_FACTS}
JOINTS = tuple(
    phrases()[name]["en"].partition("{")[0] for name in ("caution", "see")
)  # "Please note: ", "Shown here: "
_NUMBER = re.compile(r"\w*\d[\w:.,/-]*\w|\d")


def pieces_of(text: str) -> list[str]:
    """The sentences of a reply without its joints and the mark of a cut."""
    lines = (re.sub("|".join(map(re.escape, JOINTS)), "", line) for line in text.splitlines())
    runs = (run for line in lines for run in re.split(r" …(?: |$)", line))
    return [piece for run in runs for piece in sentences(run)]


def holds(facts: Iterable[Fact], piece: str) -> bool:
    """Whether a piece of the reply stands in one of the facts, letter by letter, in whole words."""
    whole = re.compile(rf"(?<![\w:.]){re.escape(piece)}(?!\w)")
    return any(whole.search(" ".join(text.split())) for text in written(facts))


def numbers(*texts: str) -> Counter[str]:
    return Counter(number for text in texts for number in _NUMBER.findall(text))


def written(facts: Iterable[Fact]) -> list[str]:
    return [t for fact in facts for t in (fact.text, *fact.cautions, str(fact.media or ""))]


@pytest.mark.parametrize("length", Length)
def test_every_answer_stands_in_its_fact(length: Length) -> None:
    """
    Each sentence of the answer from each demo fact stands in that fact, letter by letter.
    """
    assert len(DEMO_FACTS) > 300
    for house, fact in DEMO_FACTS:
        text = said(make_answer([fact]), length, house=house)

        assert text, fact.id
        assert [p for p in pieces_of(text) if not holds([fact], p)] == [], fact.id


@settings(max_examples=300)
@given(
    st.lists(st.sampled_from(sorted(FACTS)), min_size=1, max_size=3, unique=True),
    st.sampled_from(Length),
    st.booleans(),
)
def test_several_facts_are_copied_too(names: Sequence[str], length: Length, verified: bool) -> None:
    """
    Of up to three facts, every sentence stands in one of them, and no number is new or said twice.
    """
    facts = [FACTS[name] for name in names]
    tellable = [fact for fact in facts if verified or not fact.sensitive]

    text = said(make_answer(facts), length, verified=verified)

    assert [piece for piece in pieces_of(text) if not holds(tellable, piece)] == []
    assert not numbers(text) - numbers(*written(tellable))


def test_full_says_all_of_the_fact() -> None:
    """
    In full, the fact's text is there from its first letter to its last, with all its numbers.
    """
    for house, fact in DEMO_FACTS:
        text = said(make_answer([fact]), house=house)

        assert text.startswith(fact.text)
        assert numbers(text) == numbers(
            fact.text, *(c for c in fact.cautions if c not in fact.text), str(fact.media or "")
        ), fact.id


def test_a_change_to_the_copy_would_be_seen() -> None:
    """
    The check above is no empty one: a digit, a word or a unit that differs is found.
    """
    fact = make_fact(text="Turn it to 20 °C by 07:30. The code is C903.")

    for changed in ("21 °C", "20 °F", "7:30", "C 903", "c903", "turn it"):
        assert not holds([fact], changed)
    assert holds([fact], "The code is C903.")
    assert numbers("by 07:30, C903, 1.5 m, 20-6-31") == Counter(["07:30", "C903", "1.5", "20-6-31"])


@pytest.mark.parametrize("length", Length)
def test_the_steps_of_a_note_keep_their_order(length: Length) -> None:
    """
    Steps are said in the order of the file, each with its number; in short the first ones.
    """
    notes = [(house, fact) for house, fact in DEMO_FACTS if fact.sections]
    assert len(notes) > 20

    for house, note in notes:
        text = said(make_answer([note]), length, house=house)
        steps = [step for section in note.sections for step in section.steps]
        places = [text.find(step) for step in steps]
        told = [place for place in places if place >= 0]

        assert told == sorted(told), note.id
        assert told == places[: len(told)], f"{note.id}: a step in the middle is missing"
        assert length is Length.SHORT or len(told) == len(steps)
        assert not re.search(r"\b\d+\. …", text), f"{note.id}: a number without its step"


@pytest.mark.parametrize("length", Length)
def test_cautions_are_always_said(length: Length) -> None:
    """
    Every caution of a fact is in its answer, whole, once, and in both lengths.
    """
    cautious = [(house, fact) for house, fact in DEMO_FACTS if fact.cautions]
    assert len(cautious) > 20

    for house, fact in cautious:
        text = said(make_answer([fact]), length, house=house)

        assert [caution for caution in fact.cautions if text.count(caution) != 1] == [], fact.id


def test_short_fits_two_text_messages() -> None:
    """
    But for cautions and a long first sentence, a short answer fits; at most it is as long as full.
    """
    for house, fact in DEMO_FACTS:
        text = said(make_answer([fact]), Length.SHORT, house=house)
        cautions = " ".join(c for c in fact.cautions if c not in fact.text)
        first = sentences(fact.text)[0] + " …"
        room = max(SHORT_CHARACTERS - len(cautions) - bool(cautions), 80, len(first))

        assert len(text) - len(cautions) - bool(cautions) <= room, fact.id
        assert len(text) <= SHORT_CHARACTERS or cautions or len(first) > SHORT_CHARACTERS


@given(st.lists(st.integers(1, 60), min_size=1, max_size=3))
def test_several_short_facts_share_the_room(counts: list[int]) -> None:
    """
    Up to three facts without cautions fit together into two text messages.
    """
    facts = [make_fact(f"f{n}", "So it is. " * count) for n, count in enumerate(counts)]

    assert len(said(make_answer(facts), Length.SHORT)) <= SHORT_CHARACTERS


def test_a_picture_is_named_in_full_only() -> None:
    """
    A link costs half a text message, so it is in the full answer alone, with its start.
    """
    fact = make_fact(media=Media("https://example.org/stove", 90.0))

    assert said(make_answer([fact])).endswith("https://example.org/stove#t=90")
    assert "example.org" not in said(make_answer([fact]), Length.SHORT)


# The guard.


def test_a_stranger_gets_nothing_of_a_sensitive_fact() -> None:
    """
    Should a sensitive fact ever be decided for a stranger, its words still stay out.
    """
    secret = make_fact("code", "The code is 4826.", sensitive=True, cautions=("Mind 4826.",))
    open_fact = make_fact("bins", "The bins are behind the shed.")

    for length in Length:
        text = said(make_answer([secret, open_fact]), length, verified=False)
        assert text == "The bins are behind the shed."
        assert said(make_answer([secret]), length, verified=False) == ""


# What is said where no fact answers.


def test_a_gap_names_its_part_where_there_are_several() -> None:
    """
    Alone, a gap is a plain sentence; beside others, it says which question it means.
    """
    assert said(GAP) == phrase("gap", "en")
    assert "“do you have a sauna”" in said(GAP, alone=False, text="do you have a sauna??")


def test_a_long_part_is_named_by_its_beginning() -> None:
    """
    Of a long part, at most some sixty characters are repeated, cut between two words.
    """
    text = said(GAP, alone=False, text="is there a " + "very " * 40 + "big sauna?")

    (named,) = re.findall("“(.*)”", text)
    assert named.endswith("very …")
    assert len(named) <= 62


@pytest.mark.parametrize("language", READ)
@pytest.mark.parametrize("decision", [GAP, CHAT, *map(to_host, [*list(Kind)[2:], None])])
def test_each_outcome_has_words_in_each_language(decision: Decision, language: str) -> None:
    """
    A guest who writes in a language that is read gets Askhouse's own words in it.
    """
    text = said(decision, language=language)

    assert text
    assert "{" not in text
    assert (text == said(decision)) is (language == "en")


@pytest.mark.parametrize("language", [code for code in READ if code != "en"])
def test_facts_stay_as_they_were_written(language: str) -> None:
    """
    A guest of another language gets the host's English words, and is told that they are.
    """
    text = said(make_answer([make_fact()]), language=language)

    assert text.endswith(make_fact().text)
    assert len(text) > len(make_fact().text)
    assert said(make_answer([make_fact()]), Length.SHORT, language=language) == make_fact().text


# Emergencies.


@pytest.mark.parametrize("hazard", Hazard)
@pytest.mark.parametrize("length", Length)
def test_every_hazard_has_words(hazard: Hazard, length: Length) -> None:
    """
    Whatever the hazard, the reply has fixed words with the numbers filled in, the same in short.
    """
    text = said(alarm(hazard), length)

    assert text == said(alarm(hazard), Length.FULL)
    assert len(text) > 20
    assert "{" not in text


def test_the_houses_emergency_number_is_said() -> None:
    """
    The number is the house's own, not that of another country.
    """
    text = said(alarm(Hazard.FIRE), house=make_house(emergency_number="112", country="DE"))

    assert "112" in text
    assert "999" not in text


def test_a_lockout_says_where_to_call() -> None:
    """
    Who stands outside gets the host's number, where there is one.
    """
    text = said(alarm(None, Kind.LOCKOUT))

    assert "020 7946 0123" in text
    assert "020 7946 0123" not in said(alarm(None, Kind.LOCKOUT), house=make_house())


@pytest.mark.parametrize("language", READ)
def test_a_stranger_at_the_door_is_told_to_wait_safely(language: str) -> None:
    """
    That codes are for guests, then the lockout's words with the number, in the guest's language.
    """
    lockout = alarm(None, Kind.LOCKOUT)

    text = said(replace(lockout, stranger=True), language=language)

    assert text == f"{phrase('stranger', language)} {said(lockout, language=language)}"
    assert "020 7946 0123" in text


# The whole reply.


def part(decision: Decision, *facts: Fact) -> ReplyPart:
    return ReplyPart(
        part=make_part(), decision=decision, text="", citations=tuple(cite(fact) for fact in facts)
    )


BINS, BOAT = make_fact("bins", "Bins there."), make_fact("boat", "Boat here.")


def whole(*parts: tuple[Decision, str], length: Length = Length.FULL, house: House = HOUSE) -> str:
    made = [part(decision, *decision.facts) for decision, _ in parts]
    return whole_text(house, made, length, [text for _, text in parts])


def test_parts_stand_in_order_between_greeting_and_sign_off() -> None:
    """
    In full: greeting, each part as a paragraph, sign-off. In short: the parts in one line.
    """
    parts = (make_answer([BINS]), "Bins there."), (GAP, "No idea.")

    assert whole(*parts) == "Hello,\n\nBins there.\n\nNo idea.\n\nWilma"
    assert whole(*parts, length=Length.SHORT) == "Bins there. No idea."
    assert whole(*parts, house=make_house()) == "Bins there.\n\nNo idea."


def test_an_emergency_has_no_greeting() -> None:
    """
    Where someone may be hurt, the reply begins with what to do, and ends with it.
    """
    text = whole((alarm(Hazard.GAS), "Go out."), (GAP, "No idea."))

    assert text == "Go out.\n\nNo idea."


def test_nothing_is_said_twice() -> None:
    """
    The same words, and the same fact in other company, are said once.
    """
    both, one = make_answer([BINS, BOAT]), make_answer([BOAT])

    text = whole((both, "Bins there.\nBoat here."), (GAP, "No."), (one, "Boat here."), (GAP, "No."))

    assert text == "Hello,\n\nBins there.\nBoat here.\n\nNo.\n\nWilma"


def test_thanks_are_not_answered_beside_answers() -> None:
    """
    Thanks for thanks would stand between two answers; alone they are said.
    """
    assert whole((CHAT, "You are welcome."), (GAP, "No.")) == "Hello,\n\nNo.\n\nWilma"
    assert whole((CHAT, "You are welcome.")) == "Hello,\n\nYou are welcome.\n\nWilma"
    assert "You are welcome." in whole((CHAT, "You are welcome."), (CHAT, "You are welcome."))


def test_a_citation_says_where_it_is_written() -> None:
    """
    A citation has the fact's id, place, last check, and the hash of the text that was told.
    """
    citation = cite(BINS)

    assert (citation.fact_id, str(citation.source)) == ("bins", "ferry-lodge.yaml:1")
    assert citation.content_hash == text_hash("Bins there.")


def test_fitted_is_what_compose_cuts_with(small_house: House) -> None:
    """
    A short answer is the fact's first sentences as `fitted` keeps them, then its cautions.
    """
    stove = small_house.fact("stove")
    left = SHORT_CHARACTERS - sum(len(caution) + 1 for caution in stove.cautions)

    assert said(make_answer([stove]), Length.SHORT) == " ".join(
        [fitted(sentences(stove.text), max(left, 80)), *stove.cautions]
    )


def test_demo_houses_are_loaded(demo_houses: Mapping[str, House]) -> None:
    """
    The houses of this file are those of the fixture: three, without a problem.
    """
    assert set(DEMO) == set(demo_houses)
    assert len(DEMO) == 3
