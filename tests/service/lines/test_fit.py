"""Replies fitted into segments: where they are cut, what is offered, and that nothing is lost."""

from __future__ import annotations

import re
import time
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.lines.cuts import sentence_ends, word_ends
from service.lines.segments import count, fit, plain
from service.lines.words import Keyword, keyword, offer

OFFER = "\n" + offer("en")


def test_what_fits_is_sent_whole() -> None:
    """
    A text of exactly so many segments goes out without an offer.
    """
    assert fit("a" * 160, 1) == ("a" * 160, "")


def test_cut_is_at_a_sentence_end() -> None:
    """
    As many whole sentences go out as fit with the offer, worked out by hand: 74 + 1 + 74 septets
    and an offer of 25 are more than 160, 74 and 25 are not.
    """
    first, second = "b" * 73 + ".", "C" * 73 + "."

    assert fit(f"{first} {second}", 1) == (f"{first} {second}", "")
    third = "D" * 30 + "."
    assert fit(f"{first} {second} {third}", 1) == (first + OFFER, f"{second} {third}")


def test_rest_goes_on_where_it_stopped() -> None:
    """
    Asking for the rest again and again gives every sentence once, in order.
    """
    sentences = [f"Sentence {word} says what there is to say." for word in "abcdefghij"]
    heard = []
    rest = " ".join(sentences)
    while rest:
        sent, rest = fit(rest, 1)
        heard.append(sent.removesuffix(OFFER))

    assert " ".join(heard) == " ".join(sentences)


@pytest.mark.parametrize(
    "kept",
    [
        "https://example.com/a-long/way?to=the.map&of=the+house",
        "www.example.com/a/long/way/to/the/map",
        "someone.with.a.long.name@example.com",
        "+44 7700 900 333",
        "44 71 92 80",
        "4471#",
        "1.250,00",
    ],
)
@pytest.mark.parametrize("before", range(60, 136, 5))
def test_no_cut_inside_an_address_a_number_or_a_code(kept: str, before: int) -> None:
    """
    Wherever the limit falls, an address, a number or a code is whole on one side of the cut.
    """
    text = ("word " * 40)[:before].strip() + f" {kept} " + "word " * 40
    sent, rest = fit(text, 1)

    assert kept in sent or kept in rest


def test_address_longer_than_the_room_is_sent_whole() -> None:
    """
    Half an address is of no use, so that one costs more than was set.
    """
    address = "https://example.com/" + "a" * 200
    sent, rest = fit(f"{address} is the map.", 1)

    assert sent == address + OFFER
    assert rest == "is the map."
    assert count(sent).segments == 2


def test_word_without_end_is_cut_anywhere() -> None:
    """
    Letters without a space are cut at the limit: 160 less the offer and three dots.
    """
    sent, rest = fit("x" * 400, 1)

    assert count(sent).units == 160
    assert len(rest) == 400 - (160 - len("..." + OFFER))


def test_emoji_and_accents_stay_whole() -> None:
    """
    What is shown as one character is never cut in two.
    """
    family = "👩\u200d👩\u200d👧"
    sent, rest = fit(family * 40, 1)

    assert sent.removesuffix("..." + OFFER).replace(family, "") == ""
    assert rest.replace(family, "") == ""


@pytest.mark.parametrize(
    ("text", "ends"),
    [
        ("One. Two! Three? Four", ["One.", "Two!", "Three?"]),
        # Shortened words, initials, steps and days end no sentence.
        ("Ask Mr. Oak at No. 5, e.g. today. Then", ["Ask Mr. Oak at No. 5, e.g. today."]),
        ("Ab dem 3. Mai, z. B. abends. Dann", ["Ab dem 3. Mai, z. B. abends."]),
        ("1. Open the lid\n2. Push", ["1. Open the lid"]),
        # Times end one.
        ("Leave by 10:00. Thank you", ["Leave by 10:00."]),
        ("It is $4.50 at example.com. Or not", ["It is $4.50 at example.com."]),
        ("“Is it?” she said. ¿Cómo? Así", ["“Is it?” she said.", "¿Cómo?"]),
        ("入住时间是下午。请带护照。谢谢", ["入住时间是下午。", "请带护照。"]),
    ],
)
def test_sentence_ends(text: str, ends: list[str]) -> None:
    """
    A sentence ends where a reader would say so, in several languages.
    """
    places = [0, *sentence_ends(text)]

    assert [text[a:b].strip() for a, b in pairwise(places)] == ends


def test_a_number_stays_with_what_it_counts() -> None:
    """
    No word ends between "15" and "minutes".
    """
    text = "wait 15 minutes"

    assert [text[:place] for place in word_ends(text)] == ["wait"]


@pytest.mark.parametrize("language", ["en", "es", "fr", "de", "it", "nl", "pt", "xx"])
def test_offer_is_plain_and_its_word_is_understood(language: str) -> None:
    """
    In each language the offer costs no UCS-2, and the word in capitals that it names is MORE.
    """
    sentence = offer(language)
    (word,) = re.findall(r"\b[A-Z]{3,}\b", sentence)

    assert plain(sentence) == sentence
    assert count("a" * 100 + sentence).segments == 1
    assert keyword(word) is Keyword.MORE


words = st.text(st.sampled_from("abcdeé😀字,"), min_size=1, max_size=12)
tokens = st.one_of(
    words,
    st.sampled_from(["https://example.com/x/y", "4471", "10:00", "a@example.com"]),
    words.map(lambda word: word + "."),
    words.map(lambda word: word + "!\n"),
)
texts = st.lists(tokens, min_size=1, max_size=120).map(" ".join)


@settings(max_examples=150, deadline=None)
@given(texts, st.integers(1, 4), st.sampled_from(["en", "fr", "de"]))
def test_fit_keeps_to_its_segments_and_loses_nothing(text: str, most: int, language: str) -> None:
    """
    What is sent keeps to its segments, ends with the offer where there is a rest, and with the
    rest it is the whole text; a rest that is fitted again comes to an end.
    """
    heard = ""
    rest = text
    rounds = 0
    while rest:
        before = rest
        sent, rest = fit(rest, most, language)
        assert count(sent).segments <= most
        if rest:
            closing = "\n" + offer(language)
            assert sent.endswith(closing)
            sent = sent.removesuffix(closing)
            assert len(rest) < len(before)
            if not before.startswith(sent):
                assert sent.endswith("...")
                sent = sent.removesuffix("...")
        heard += sent
        rounds += 1
        assert rounds < 500

    assert "".join(heard.split()) == "".join(plain(text).split())


@pytest.mark.parametrize("text", ["." * 10_000, "?!" * 5_000, "。" * 10_000, "1 " * 5_000])
def test_odd_texts_cost_no_time(text: str) -> None:
    """
    The longest message of nothing but marks is fitted in well under a second.
    """
    started = time.perf_counter()
    fit(text, 3)

    assert time.perf_counter() - started < 2  # seconds; without care it was over a minute
