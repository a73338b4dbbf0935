"""Sentences that no model has learned from, through the whole triage.

`sentences.psv` holds them: label, language and text, and `rule` where the rules alone must do it.
The floors below are what can be asked of any build: rules know no exception, the rest is a share.
Every sentence that fails is named, so that a change can be judged by what it loses.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest

from askhouse.build import MODELS, shipped_calibration
from askhouse.encoder import open_encoder
from askhouse.kinds import Kinds, Once
from askhouse.parts.language import READ
from askhouse.triage.ear import Ear
from askhouse.triage.guidance import guidance
from askhouse.triage.wordlist import match, plain
from askhouse.values import Alarm, Hazard, Kind, Level

HERE = Path(__file__).parent
CORPUS = HERE.parents[2] / "knowledge" / "corpus"

# The floors. What the rules must do has none: not one sentence may be lost.
SAFETY_RECALL = 0.90  # of all safety sentences, the keywordless and the "soon" ones among them
EMERGENCY_RECALL = 0.95  # of those where someone may die within the hour
LOCKOUT_RECALL = 0.90
KEYWORDLESS_RECALL = 0.40  # of the safety sentences that no rule is asked for: the hard ones
FALSE_LOOK_ALIKES = 0.15  # past, hypothetical, negated, news: chosen to sound alarming
FALSE_ORDINARY = 0.02  # plain questions, damage, requests, complaints, chat
RIGHT_HAZARD = 0.95  # of what a rule raises; the words of another hazard help less

# A bare call for help names no hazard, and the general words answer it.
BARE = "a call for help"


@dataclass(frozen=True, slots=True)
class Sentence:
    """One line of the file; `rule` says that the rules alone must raise it."""

    label: str
    language: str
    text: str
    rule: bool

    @property
    def kind(self) -> str:
        return self.label.split("/")[0]

    def __str__(self) -> str:
        return f"{self.label} [{self.language}] {self.text}"


def sentences() -> list[Sentence]:
    with (HERE / "sentences.psv").open(encoding="utf-8", newline="") as file:
        rows = csv.reader(file, delimiter="|", quoting=csv.QUOTE_NONE)
        return [
            Sentence(row[0], row[1], row[2], row[3:] == ["rule"])
            for row in rows
            if row and not row[0].startswith("#")
        ]


def of_kind(*kinds: str) -> list[Sentence]:
    return [sentence for sentence in sentences() if sentence.kind in kinds]


def listed(title: str, failing: Iterable[object]) -> str:
    """The failing sentences, one a line; also printed, so that a passing run can show them."""
    lines = [f"  {sentence}" for sentence in failing]
    text = "\n".join([f"{title}: {len(lines)}", *lines])
    print(text)
    return text


@pytest.fixture(scope="module", params=["trained", "plain"])
def alarms(request: pytest.FixtureRequest) -> dict[str, Alarm | None]:
    """What the whole triage makes of each sentence, by its text, with the heads of either model."""
    encoder = open_encoder(request.param)
    heads = Kinds(MODELS / f"heads-{request.param}.npz", encoder)
    calibration = shipped_calibration(request.param)
    ear = Ear(guidance(), calibration.safety, calibration.lockout, calibration.harmless)
    return {one.text: ear.alarm(Once(encoder, heads), one.text) for one in sentences()}


def test_the_sentences_ask_for_everything() -> None:
    """
    Every hazard in every language by a rule, every level, every kind of look-alike; none twice.
    """
    every = sentences()
    by_rule = {
        (sentence.label.split("/")[1], sentence.language)
        for sentence in of_kind("safety")
        if sentence.rule
    }
    wanted = {
        (hazard.value, language)
        for hazard in Hazard
        if hazard is not Hazard.UNCLEAR
        for language in READ
    }

    assert len(every) >= 270
    assert wanted - by_rule == set()
    assert {s.label.split("/")[2] for s in of_kind("safety")} == {level.value for level in Level}
    assert {s.language for s in of_kind("lockout") if s.rule} == set(READ)
    assert {s.label for s in of_kind("none")} == {
        f"none/{why}" for why in ("past", "hypothetical", "negated", "question", "news")
    }
    assert len({plain(sentence.text) for sentence in every}) == len(every)


def test_no_model_has_learned_them() -> None:
    """
    No sentence stands in the corpus, however it is spelled there.
    """
    learned = {
        plain(line.split("|", 2)[2].replace("¦ ", ""))
        for path in CORPUS.glob("*/*.psv")
        for line in path.read_text(encoding="utf-8").splitlines()
        if line.count("|") >= 2 and not line.startswith("#")
    }

    seen = [sentence for sentence in sentences() if plain(sentence.text) in learned]

    assert learned
    assert not seen, listed("in the corpus", seen)


def test_rules_alone_raise_what_they_must() -> None:
    """
    Each sentence marked `rule` is raised as its kind without any model.
    """
    failing = []
    for sentence in sentences():
        if sentence.rule:
            found = match(sentence.text, guidance())
            if found is None or found.kind.value != sentence.kind:
                failing.append(sentence)

    assert not failing, listed("not raised by rules", failing)


def test_rules_name_the_right_hazard() -> None:
    """
    The words that follow are those of the hazard, but for a few that are two things at once.
    """
    raised = [(s, match(s.text, guidance())) for s in of_kind("safety") if s.rule]
    named = [(s, m) for s, m in raised if m is not None and m.signal.name != BARE]
    wrong = [
        f"{sentence} -> {found.hazard}"
        for sentence, found in named
        if found.hazard is None or found.hazard.value != sentence.label.split("/")[1]
    ]

    assert 1 - len(wrong) / len(named) >= RIGHT_HAZARD, listed("wrong hazard", wrong)


def test_rules_alone_raise_nothing_else() -> None:
    """
    What only sounds alarming, and what does not, is left alone by every rule.
    """
    failing = [
        f"{sentence} -> {found.signal.name}"
        for sentence in of_kind("none", "damage", "request", "complaint", "chat")
        if (found := match(sentence.text, guidance())) is not None
    ]

    assert not failing, listed("raised by a rule", failing)


@pytest.mark.parametrize(
    ("kind", "part", "floor"),
    [
        ("safety", "", SAFETY_RECALL),
        ("safety", "/emergency", EMERGENCY_RECALL),
        ("lockout", "", LOCKOUT_RECALL),
    ],
)
def test_triage_misses_few(
    alarms: dict[str, Alarm | None], kind: str, part: str, floor: float
) -> None:
    """
    Rules and head together raise the share that the floor states, as that kind.
    """
    asked = [sentence for sentence in of_kind(kind) if sentence.label.endswith(part)]
    missed = [s for s in asked if (alarm := alarms[s.text]) is None or alarm.kind != Kind(kind)]

    told = listed(f"missed of {len(asked)} {kind}{part}", missed)
    assert 1 - len(missed) / len(asked) >= floor, told


def test_triage_hears_some_without_a_keyword(alarms: dict[str, Alarm | None]) -> None:
    """
    Where no word of danger stands, the head alone hears at least the share of the floor.
    """
    asked = [sentence for sentence in of_kind("safety") if not sentence.rule]
    missed = [sentence for sentence in asked if alarms[sentence.text] is None]

    told = listed(f"missed of {len(asked)} without a keyword", missed)
    assert 1 - len(missed) / len(asked) >= KEYWORDLESS_RECALL, told


@pytest.mark.parametrize(
    ("labels", "floor"),
    [
        (("none/past", "none/hypothetical", "none/negated", "none/news"), FALSE_LOOK_ALIKES),
        (("none/question", "damage", "request", "complaint", "chat"), FALSE_ORDINARY),
    ],
)
def test_triage_cries_wolf_seldom(
    alarms: dict[str, Alarm | None], labels: Sequence[str], floor: float
) -> None:
    """
    Few messages that are no alarm become one, and hardly any that do not even sound like it.
    """
    asked = [sentence for sentence in sentences() if sentence.label in labels]
    false = [s for s in asked if alarms[s.text] is not None]

    told = listed(f"false alarms of {len(asked)} {'/'.join(labels)}", false)
    assert len(false) / len(asked) <= floor, told
