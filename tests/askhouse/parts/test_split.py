"""A message -> its questions and reports, in the guest's order."""

from __future__ import annotations

import time
from collections import Counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from askhouse.errors import MessageError
from askhouse.parts.clean import MAX_CHARACTERS, clean
from askhouse.parts.join import grouped, joined
from askhouse.parts.split import (
    MAX_PARTS,
    ClauseKind,
    clauses,
    joined_asks,
    only_opens,
    without_joiner,
)
from askhouse.values import House
from askhouse.words import words


def split(text: str) -> tuple[str, ...]:
    """The parts of a message none of whose statements reports something of its own."""
    groups = grouped(clauses(text))
    return joined(groups, [False] * len(groups)) or (text,)


@pytest.mark.parametrize(
    ("message", "parts"),
    [
        # One question is one part, with or without its mark.
        ("where are the bins?", ["where are the bins?"]),
        ("where are the bins", ["where are the bins"]),
        ("bins", ["bins"]),
        # A greeting and thanks are no part.
        ("Hi there! Where are the bins? Thanks so much!", ["Where are the bins?"]),
        ("Hello Thanks. what time is checkout, cheers", ["what time is checkout, cheers"]),
        # Questions in a row are parts, in order.
        (
            "Where are the bins? Can we use the boat? How does the stove work?",
            ["Where are the bins?", "Can we use the boat?", "How does the stove work?"],
        ),
        # Without punctuation, a joiner with a question's opening behind it cuts.
        (
            "where do the bins go and what time is checkout",
            ["where do the bins go", "what time is checkout"],
        ),
        (
            "can we park by the gate also is there a boat",
            ["can we park by the gate", "is there a boat"],
        ),
        ("where is the gate, how do we open it", ["where is the gate", "how do we open it"]),
        # A joiner between two things of one question does not cut.
        ("where are the plates and the glasses", ["where are the plates and the glasses"]),
        ("do the kids and the dog need a ticket", ["do the kids and the dog need a ticket"]),
        # A statement belongs to the question behind it, or else to the one before.
        (
            "We arrive late. Where is the key? It will be dark.",
            ["We arrive late. Where is the key? It will be dark."],
        ),
        (
            "The lamp is out. Where are bulbs? And it is cold. How do I turn up the heating?",
            ["The lamp is out. Where are bulbs?", "And it is cold. How do I turn up the heating?"],
        ),
        # Only statements are one part: a report is read as a whole.
        ("The tap drips. It has dripped all night.", ["The tap drips. It has dripped all night."]),
        # Lines part thoughts like full stops.
        ("bins where?\nboat allowed?", ["bins where?", "boat allowed?"]),
        # A mark without a space behind it still ends a question.
        ("where are the bins?can we park", ["where are the bins?", "can we park"]),
        # A number's point and an abbreviation's are no ends.
        ("Is the pool 1.5 m deep?", ["Is the pool 1.5 m deep?"]),
        ("May we check in at 3 p.m. on Friday?", ["May we check in at 3 p.m. on Friday?"]),
        # Marks that close stay where the guest put them.
        (
            "She said 'bring wood.' Where is it?",
            ["She said 'bring wood.' Where is it?"],
        ),
        ("(where is the key?) and is there a boat", ["(where is the key?)", "and is there a boat"]),
        # Dictated marks end a sentence; a mark that someone points at does not.
        (
            "where is the key question mark is there a boat question mark thanks",
            ["where is the key", "is there a boat"],
        ),
        (
            "what does the question mark on the boiler mean?",
            ["what does the question mark on the boiler mean?"],
        ),
        # The other languages that are answered.
        (
            "¿Dónde están las llaves? ¿Hay secador?",
            ["¿Dónde están las llaves?", "¿Hay secador?"],
        ),
        ("Bonjour, où est la clé ?", ["Bonjour, où est la clé ?"]),
        ("Hallo! Wo ist der Müll? Danke!", ["Wo ist der Müll?"]),
        # A message of talk alone is one part, as it stands.
        ("Hi!", ["Hi!"]),
        ("thank you so much xx", ["thank you so much xx"]),
        ("👍", ["👍"]),
    ],
)
def test_a_message_becomes_its_parts(message: str, parts: list[str]) -> None:
    """
    Each question or report is a part, in the guest's order and words.
    """
    assert list(split(message)) == parts


def test_many_questions_are_at_most_twelve_parts() -> None:
    """
    From the twelfth part on, the rest of a long list stays together, and nothing is dropped.
    """
    questions = [f"where is thing {number}?" for number in range(1, 31)]

    parts = split(" ".join(questions))

    assert len(parts) == MAX_PARTS == 12
    assert list(parts[:11]) == questions[:11]
    assert parts[11] == " ".join(questions[11:])


TYPED = st.lists(
    st.sampled_from(
        [
            *("hi", "hello", "thanks", "thank you", "xx", "lol", "there", "please"),
            *("where is", "what time", "can we", "is there", "how do i", "dónde está", "wo ist"),
            *(
                "the bins",
                "the wifi",
                "a boat",
                "checkout",
                "it's",
                "y'all",
                "1.5",
                "3 p.m.",
                "e.g.",
            ),
            *("and", "also", "and also", "plus", "&", "y", "und", "et", "ok", "so", "but"),
            *(".", ",", "?", "!", "…", ";", "-", "\n", "(", ")", '"', "'", "😀", "¿", "full stop"),
        ]
    ),
    max_size=50,
)
MESSAGES = st.one_of(
    st.text(max_size=300),
    TYPED.map(" ".join),
    TYPED.map("".join),
)


@settings(max_examples=300)
@given(MESSAGES)
def test_any_text_has_parts(text: str) -> None:
    """
    Any text is refused by `clean`, or has one to twelve parts with something in each.
    """
    try:
        cleaned = clean(text)
    except MessageError:
        return

    parts = split(cleaned)

    assert 1 <= len(parts) <= MAX_PARTS
    assert all(part.strip() for part in parts)


@settings(max_examples=300)
@given(MESSAGES)
def test_no_character_of_a_clause_is_lost(text: str) -> None:
    """
    The parts, read one after the other, are the clauses that are not talk, character by character.
    """
    try:
        cleaned = clean(text)
    except MessageError:
        return
    said = [clause.text for clause in clauses(cleaned) if clause.kind is not ClauseKind.TALK]

    assert " ".join(split(cleaned)) == (" ".join(said) if said else cleaned)


JOINERS = Counter(
    dict.fromkeys(
        [
            "and",
            "also",
            "plus",
            "then",
            "oh",
            "but",
            "as",
            "well",
            "y",
            "et",
            "und",
            "e",
            "en",
            "ook",
            "aussi",
            "también",
            "auch",
        ],
        99,
    )
)
DICTATED = Counter({"full": 99, "stop": 99, "question": 99, "mark": 99})


@settings(max_examples=300)
@given(MESSAGES)
def test_no_word_falls_between_two_clauses(text: str) -> None:
    """
    The clauses hold the message's words in order; only a joiner or a dictated mark may be missing.
    """
    try:
        cleaned = clean(text)
    except MessageError:
        return
    held = " ".join(clause.text for clause in clauses(cleaned))
    missing = Counter(words(cleaned)) - Counter(words(held))

    assert not missing - JOINERS - DICTATED
    left = iter(words(cleaned))
    assert all(word in left for word in words(held)), "order is not kept"


@given(TYPED.map(" ".join))
def test_no_mark_is_lost_but_what_joins(text: str) -> None:
    """
    Question marks, brackets, quotation marks and emoji of the message are all in its clauses.
    """
    try:
        cleaned = clean(text)
    except MessageError:
        return
    held = Counter("".join(clause.text for clause in clauses(cleaned)))
    sent = Counter(cleaned)

    assert all(held[mark] == sent[mark] for mark in "?!…()\"'😀¿.")


@given(st.lists(st.sampled_from(["where are the bins?", "can we use the boat?", "is it far?"])))
def test_as_many_parts_as_questions(questions: list[str]) -> None:
    """
    Well-punctuated questions are counted right, and a part taken by itself is one part.
    """
    if not questions:
        return
    parts = split(" ".join(questions))

    assert len(parts) == min(len(questions), MAX_PARTS)
    assert all(split(part) == (part,) for part in parts[: MAX_PARTS - 1])


def test_single_questions_stay_single(demo_houses: dict[str, House]) -> None:
    """
    What hosts give as one way of asking is one part, and that part split again is itself.
    """
    asks = [ask for house in demo_houses.values() for fact in house.facts for ask in fact.asks]

    assert len(asks) > 300
    assert [ask for ask in asks if len(split(ask)) != 1] == []
    assert [ask for ask in asks if split(split(ask)[0]) != split(ask)] == []


@pytest.mark.parametrize(
    "text",
    [
        "x" * 24 + "q",
        "x x " * 30 + "q",
        "ha" * 60 + "q",
        "thanks again " * 700 + "q",
        "hi, " * 2400 + "q",
        "ok, " * 2400,
        "and " * 2400,
        "where is it, " * 760,
        "?a" * 5000,
        ".\"'" * 3300,
        "-" * 10_000,
        "x" * 10_000,
        "🔑" * 10_000,
    ],
    ids=lambda text: text[:12],
)
def test_no_text_takes_long(text: str) -> None:
    """
    Ten thousand characters of any kind are split in under two seconds of a processor.

    Once, two dozen x's and a q took minutes: a pattern tried every way of cutting them.
    """
    cleaned = clean(text[:MAX_CHARACTERS])
    started = time.process_time()

    split(cleaned)

    assert time.process_time() - started < 2


@pytest.mark.parametrize(
    ("piece", "alone"),
    [
        ("and when do we leave?", "when do we leave?"),
        ("und WLAN bitte", "WLAN bitte"),
        ("& bins", "bins"),
        ("plus, can we park", "can we park"),
        ("and the password?", "and the password?"),  # points back
        ("android charger?", "android charger?"),
        ("and", "and"),
    ],
)
def test_what_joined_a_part_to_the_one_before_is_left_out(piece: str, alone: str) -> None:
    """
    A part that can stand alone stands alone; one that points back keeps its joiner.
    """
    assert without_joiner(piece) == alone


@pytest.mark.parametrize(
    ("message", "places"),
    [
        ("is there wifi, and where is the iron? also how hot", (15, 38)),
        ("¿hay wifi? y dónde está", (11,)),
        # Without a stop, without a joiner, or without a question behind it.
        ("salt and pepper, where", ()),
        ("no iron, where is it", ()),
        ("the salt, and the pepper", ()),
    ],
)
def test_a_question_behind_a_stop_and_a_joiner(message: str, places: tuple[int, ...]) -> None:
    assert joined_asks(message) == places


@pytest.mark.parametrize("text", ["and", "What", "and where", "et comment"])
def test_words_that_only_open_a_question(text: str) -> None:
    assert only_opens(text)
    assert not only_opens(f"{text} wifi")
