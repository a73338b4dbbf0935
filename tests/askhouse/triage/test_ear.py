"""What is heard in a message, by the shipped models in the demo houses."""

from __future__ import annotations

from pathlib import Path

import pytest

from askhouse.assistant import Assistant
from askhouse.kinds import Once
from askhouse.triage.ear import Ear
from askhouse.triage.guidance import guidance
from askhouse.triage.triage import trouble
from askhouse.values import Alarm, Hazard, Kind, Level, Outcome, Reply
from tests.askhouse.triage.test_sentences import listed, of_kind
from tests.factories import make_message
from tests.standins import WordEncoder, make_kinds

TALK = (
    "We had such a lovely day, we walked up to the lake and had lunch by the water, then the kids "
    "swam until they were tired and we came home and made pancakes, and my mother told stories "
    "from when she was a girl on the farm, which made everyone laugh, and we played cards until "
    "the light went, and the owls started, and my husband set up the telescope on the deck and we "
    "all looked at the moon for an hour, which none of us had ever done before. "
)


def test_a_doubtful_word_gives_way_below_the_limit_in_all_that_is_read(tmp_path: Path) -> None:
    """
    Not at the limit, and not where the text sounds like harm once it is mended.
    """
    encoder = WordEncoder()
    encoded = Once(encoder, make_kinds(tmp_path, encoder))
    fire = "the gas stove is on fire out there"
    slip = "teh gsa stove is on fier out there"
    share, of_slip = (trouble(encoded.kinds(text)[0]) for text in (fire, slip))
    assert of_slip < share

    def raised(limit: float, *texts: str) -> bool:
        ear = Ear(guidance(), safety=2.0, lockout=2.0, harmless=limit)
        return ear.alarm(encoded, *texts) is not None

    assert raised(share, fire)
    assert not raised(share + 1e-6, fire)
    assert raised(share, slip, fire)
    assert not raised(share + 1e-6, slip, fire)


def test_no_doubt_takes_a_cry_away(tmp_path: Path) -> None:
    """
    A doubtful word counts in a text of a few words, however sure the heads are.
    """
    encoder = WordEncoder()
    encoded = Once(encoder, make_kinds(tmp_path, encoder))
    ear = Ear(guidance(), safety=2.0, lockout=2.0, harmless=2.0)

    assert ear.alarm(encoded, "the gas stove is on fire") is not None
    assert ear.alarm(encoded, "the gas stove is on fire there") is None


def alarms(reply: Reply) -> list[Alarm]:
    return [part.decision.alarm for part in reply.parts if part.decision.alarm]


def heard(assistant: Assistant, text: str, *before: str) -> list[Alarm]:
    return alarms(assistant.reply(make_message(text, *before), "forest-cabin"))


@pytest.mark.parametrize("house", ["orchard-barn", "harbour-flat", "forest-cabin"])
def test_what_the_rules_are_sure_of_is_heard_in_every_house(
    demo_assistant: Assistant, house: str
) -> None:
    """
    No word of a house takes the place of one of danger, in any language.
    """
    missed = [
        sentence
        for sentence in of_kind("safety", "lockout")
        if sentence.rule
        and not any(
            str(alarm.kind) == sentence.kind or alarm.kind is Kind.SAFETY
            for alarm in alarms(demo_assistant.reply(make_message(sentence.text), house))
        )
    ]
    assert not missed, listed("not heard", missed)


@pytest.mark.parametrize(
    ("danger", "hazard"),
    [
        ("The little one is floating face down in the tub", Hazard.DROWNING),
        ("the ladder came down with my sister on it, she is not making sense", Hazard.MEDICAL),
    ],
)
def test_danger_at_the_end_of_a_long_message_is_heard(
    demo_assistant: Assistant, danger: str, hazard: Hazard
) -> None:
    """
    Also where the encoder does not read as far.
    """

    def dangers(text: str) -> list[Hazard | None]:
        found = heard(demo_assistant, text)
        return [alarm.hazard for alarm in found if alarm.kind is Kind.SAFETY]

    assert not dangers(TALK)
    assert dangers(TALK + danger) == [hazard]


@pytest.mark.parametrize(
    ("before", "text"),
    [
        ("I can smell gas by the stove", "still there"),
        ("I can smell gas by the stove", "it still smells"),
        ("I can smell gas by the stove", "and now it is much stronger"),
        ("I can smell gas by the stove", "how do I turn it off?"),
        ("the carbon monoxide alarm is going off", "should we go outside?"),
        ("the kitchen is on fire", "nobody picks up, what now"),
        ("My son is not breathing", "which number?"),
    ],
)
def test_a_follow_up_to_a_danger_gets_its_words_again(
    demo_assistant: Assistant, before: str, text: str
) -> None:
    """
    Nobody in danger is thanked for the message, asked back, or told that it is not written down.
    """
    (first,) = heard(demo_assistant, before)
    (again,) = heard(demo_assistant, text, before)

    assert (again.hazard, again.level) == (first.hazard, first.level)
    assert not heard(demo_assistant, text, "where are the bins?")


@pytest.mark.parametrize(
    "text", ["What time is checkout?", "thanks, we are outside now", "Do you have an iron?"]
)
def test_other_matters_after_a_danger_are_their_own(demo_assistant: Assistant, text: str) -> None:
    assert not heard(demo_assistant, text, "I can smell gas by the stove")


@pytest.mark.parametrize(
    ("before", "text"),
    [
        ("is the wood stove meant to smoke into the room", "it is filling up with it"),
        ("can we use the gas heater indoors", "it has been on all night and we cannot stay awake"),
    ],
)
def test_two_messages_make_a_danger_together(
    demo_assistant: Assistant, before: str, text: str
) -> None:
    assert heard(demo_assistant, text, before)
    assert not heard(demo_assistant, text)


@pytest.mark.parametrize(
    ("before", "text"),
    [
        ("where are the bins, number 5", "where are the bins, number 6"),
        ("Where do we leave the key tomorrow?", "the wash says 0:00, where is the manual"),
        ("burnt the toast, how do I stop the alarm, nothing is on fire", "and the bins?"),
        ("How do I light the stove?", "are there grab rails in the bathroom"),
        ("is there a lamp outside, we arrive in the dark", "do you have an iron"),
    ],
)
def test_ordinary_messages_are_no_danger_together(
    demo_assistant: Assistant, before: str, text: str
) -> None:
    """
    Only what points at the message before is heard with it.
    """
    assert not heard(demo_assistant, text, before)


def test_who_cannot_reach_help_is_told_of_the_same_danger_again(demo_assistant: Assistant) -> None:
    """
    The heads hear harm in it by itself, and would name another.
    """
    (fire,) = heard(demo_assistant, "the kitchen is on fire")
    (again,) = heard(demo_assistant, "no answer from 911, what now", "the kitchen is on fire")
    assert again.hazard is fire.hazard is Hazard.FIRE


def test_no_how_to_stands_beside_a_danger(demo_assistant: Assistant) -> None:
    """
    The question beside it goes to the host, whatever fact answers it.
    """
    asked = "how do I light the propane grill?"
    alone = demo_assistant.reply(make_message(asked), "forest-cabin")
    reply = demo_assistant.reply(
        make_message(f"We smell gas by the big tank. Also, {asked}"), "forest-cabin"
    )

    assert alone.parts[0].citations
    assert not any(part.citations for part in reply.parts)
    assert [part.decision.outcome for part in reply.parts] == [Outcome.ESCALATE] * 2
    assert alone.parts[0].decision.facts[0].text not in reply.full


def test_no_code_stands_beside_a_lockout(demo_assistant: Assistant) -> None:
    """
    Not even for a verified guest, who is told it when that is all that is asked.
    """
    code = demo_assistant.reply(
        make_message("what's the door code?", verified=True), "forest-cabin"
    )
    reply = demo_assistant.reply(
        make_message("We are locked out, whats the door code", verified=True), "forest-cabin"
    )

    (fact,) = [f for part in code.parts for f in part.decision.facts if f.sensitive][:1]
    assert fact.text in code.full
    assert fact.text not in reply.full
    assert [alarm.kind for alarm in alarms(reply)] == [Kind.LOCKOUT]


def test_two_dangers_in_one_message_are_as_pressing_as_the_worse(
    demo_assistant: Assistant,
) -> None:
    (alarm,) = heard(
        demo_assistant,
        "The hose between the regulator and the grill has perished. "
        "Also it smells strongly of gas in the kitchen.",
    )
    assert alarm.level is Level.EMERGENCY


@pytest.mark.parametrize("text", ["Gori kuća, pomozite", "У нас в доме пахнет газом", "???"])
def test_what_cannot_be_read_is_the_host_s(demo_assistant: Assistant, text: str) -> None:
    """
    It is neither small talk nor somebody at the door, and it says whom to call in danger.
    """
    reply = demo_assistant.reply(make_message(text), "harbour-flat")

    assert not any(alarm.kind is Kind.LOCKOUT for alarm in alarms(reply))
    assert all(part.decision.outcome is not Outcome.CHAT for part in reply.parts)
    assert "112" in reply.full or text == "???"
