"""The set that measures the seven languages: the same messages in each, and never learned from."""

from __future__ import annotations

from collections import Counter, defaultdict
from pathlib import Path

import pytest
from lingua import IsoCode639_1, LanguageDetectorBuilder

from askhouse.knowledge.load import load_houses
from askhouse.measure.labelled import LabelledMessage, read_messages
from askhouse.training.corpus import read_corpus
from askhouse.values import House, Kind, Outcome
from tests.nearness import nearly_the_same

ROOT = Path(__file__).parents[3]
SET = ROOT / "knowledge" / "languages"
LANGUAGES = {"en", "es", "fr", "de", "it", "nl", "pt"}
SAME = 85  # per cent of equal letters from which two texts are one, as for the other set


@pytest.fixture(scope="module")
def messages() -> tuple[LabelledMessage, ...]:
    return read_messages(SET)


@pytest.fixture(scope="module")
def houses() -> dict[str, House]:
    library = load_houses(SET / "properties")
    assert not library.problems
    return dict(library.houses)


def test_every_message_is_there_in_seven_languages(
    messages: tuple[LabelledMessage, ...],
) -> None:
    """
    The versions of a base message differ in id, text and language, and in nothing else.
    """
    versions: dict[str, dict[str, LabelledMessage]] = defaultdict(dict)
    for message in messages:
        base, language = message.id.rsplit("-", 1)
        assert f"lang-{language}" in message.tags, message.id
        assert language not in versions[base], message.id
        versions[base][language] = message

    assert len(versions) == 120
    for base, by_language in versions.items():
        assert by_language.keys() == LANGUAGES, base
        labels = {
            (m.house, m.verified, m.parts, frozenset(m.tags) - {f"lang-{language}"})
            for language, m in by_language.items()
        }
        assert len(labels) == 1, base
        assert len({m.message.lower() for m in by_language.values()}) == len(LANGUAGES), base


def test_the_counts_are_those_of_its_readme(
    messages: tuple[LabelledMessage, ...], houses: dict[str, House]
) -> None:
    """
    Three houses of 60 facts; for each and in each language the same mix of outcomes and kinds.
    """
    assert [len(house.facts) for house in houses.values()] == [60, 60, 60]
    for slug in houses:
        of_house = [m for m in messages if m.house == slug]
        for language in LANGUAGES:
            those = [m for m in of_house if f"lang-{language}" in m.tags]
            single = Counter(
                m.parts[0].kind or m.parts[0].outcome for m in those if len(m.parts) == 1
            )
            assert single == {
                Outcome.ANSWER: 22,
                Outcome.GAP: 7,
                Kind.SAFETY: 4,
                Kind.LOCKOUT: 2,
                Kind.DAMAGE: 1,
                Kind.REQUEST: 1,
                Kind.COMPLAINT: 1,
                Outcome.CHAT: 1,
            }
            assert sum(len(m.parts) == 2 for m in those) == 1
            assert sum("no-hazard-word" in m.tags for m in those) == 2
    assert sum(not m.verified for m in messages) == 105


def test_every_label_names_what_is_there(
    messages: tuple[LabelledMessage, ...], houses: dict[str, House]
) -> None:
    """
    An answer names facts of its house, and a stranger's never a sensitive one; no other part does.
    """
    for message in messages:
        facts = {fact.id: fact for fact in houses[message.house].facts}
        assert message.allowed <= facts.keys(), message.id
        for part in message.parts:
            assert bool(part.facts) == (part.outcome is Outcome.ANSWER), message.id
            assert (part.kind is not None) == (part.outcome is Outcome.ESCALATE), message.id
            assert not part.also_ok or part.facts, message.id
        if not message.verified:
            assert not any(facts[fact].sensitive for fact in message.allowed), message.id


def test_a_message_is_in_the_language_it_is_said_to_be(
    messages: tuple[LabelledMessage, ...],
) -> None:
    """
    Lingua, among the seven, agrees on 97 of 100 and more; slips and short texts mislead it.
    """
    detector = LanguageDetectorBuilder.from_iso_codes_639_1(
        *(IsoCode639_1.from_str(code) for code in sorted(LANGUAGES))
    ).build()
    found = detector.detect_languages_in_parallel_of([m.message for m in messages])
    agreed = [
        language is not None and f"lang-{language.iso_code_639_1.name.lower()}" in m.tags
        for m, language in zip(messages, found, strict=True)
    ]
    assert sum(agreed) >= 0.97 * len(messages)


def test_nothing_of_it_is_in_the_corpus(
    messages: tuple[LabelledMessage, ...], houses: dict[str, House]
) -> None:
    """
    No message or fact of the set is a near-duplicate of a text that the models learn from.
    """
    corpus = read_corpus(ROOT / "knowledge" / "corpus")
    learned = [line.text.lower() for line in corpus.lines]
    learned += [entry.text.lower() for entry in corpus.triage]
    learned += [fact.text.lower() for house in corpus.houses.values() for fact in house.facts]
    measured = [m.message.lower() for m in messages]
    measured += [fact.text.lower() for house in houses.values() for fact in house.facts]
    assert corpus.houses.keys().isdisjoint(houses)

    assert not nearly_the_same(learned, measured, SAME)
