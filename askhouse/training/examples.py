"""What training reads: the prepared corpus, and the small harm that typing does to text."""

from __future__ import annotations

import json
import random
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

__all__ = [
    "HAZARDS",
    "KINDS",
    "Asked",
    "Several",
    "Told",
    "TrainingSet",
    "in_one_breath",
    "mistyped",
    "read_training_set",
]

# The same names as askhouse.kinds and askhouse.values, which are not imported here.
KINDS = ("question", "safety", "lockout", "damage", "request", "complaint", "chat")
HAZARDS = (
    "gas", "carbon-monoxide", "fire", "electricity", "water-on-electrics", "medical", "drowning",
    "poisoning", "child-or-animal", "falling", "intruder", "missing-person", "scald", "wildlife",
    "weather", "cut-off",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Asked:
    """One message with one label, to one house.

    Attributes:
        needed: Places of the facts that answer, among the house's facts.
        also: Places of facts that may be given too.
        kind: A name of `KINDS`.
        measured: Whether held-out scores count it: not where it was borrowed from another
            house's guest, nor where it is a part of a message.
    """

    house: str
    text: str
    language: str
    needed: tuple[int, ...]
    also: tuple[int, ...]
    kind: str
    measured: bool = True


@dataclass(frozen=True, slots=True)
class Several:
    """One message of several parts.

    Attributes:
        parts: How many.
        starts: Characters at which the second and later parts begin; None where unknown.
    """

    house: str
    text: str
    parts: int
    starts: tuple[int, ...] | None


@dataclass(frozen=True, slots=True)
class Told:
    """One message read without a house."""

    text: str
    kind: str
    hazard: str | None


@dataclass(frozen=True, slots=True)
class TrainingSet:
    """All that is learned from; `views[house][fact]` are the texts of a fact, whole text first."""

    views: dict[str, list[list[str]]]
    asked: tuple[Asked, ...]
    several: tuple[Several, ...]
    told: tuple[Told, ...]

    def without(self, houses: set[str], told: set[Told]) -> TrainingSet:
        """The same without the messages to some houses, and without some read without one.

        What was asked of those houses goes wherever it stands: a borrowed message has
        the words of another house's.
        """
        gone = {a.text for a in self.asked if a.house in houses}
        return TrainingSet(
            self.views,
            tuple(a for a in self.asked if a.house not in houses and a.text not in gone),
            tuple(s for s in self.several if s.house not in houses),
            tuple(t for t in self.told if t not in told),
        )


def read_training_set(path: Path) -> TrainingSet:
    """Reads what `askhouse.training.prepare` wrote."""
    content = json.loads(path.read_text(encoding="utf-8"))
    views = {h: [fact["views"] for fact in facts] for h, facts in content["houses"].items()}
    places = {
        h: {fact["id"]: place for place, fact in enumerate(facts)}
        for h, facts in content["houses"].items()
    }
    asked, several = [], []
    for line in content["lines"]:
        if len(line["labels"]) != 1:
            starts = None if line["starts"] is None else tuple(line["starts"])
            several.append(Several(line["house"], line["text"], len(line["labels"]), starts))
            continue
        label, at = line["labels"][0], places[line["house"]]
        asked.append(
            Asked(
                line["house"],
                line["text"],
                line["language"],
                tuple(at[fact] for fact in label["needed"]),
                tuple(at[fact] for fact in label["also"]),
                label["kind"],
                line["measured"],
            )
        )
    told = tuple(Told(t["text"], t["kind"], t["hazard"]) for t in content["triage"])
    return TrainingSet(views, tuple(asked), tuple(several), told)


_JOINERS = {
    "en": ("and ", "and ", "also ", "and also ", "plus ", "& ", "oh and ", "then "),
    "de": ("und ", "und ", "und auch ", "ausserdem ", "& "),
    "fr": ("et ", "et ", "et aussi ", "aussi ", "puis "),
    "es": ("y ", "y ", "y también ", "además ", "y otra cosa "),
    "it": ("e ", "e ", "e poi ", "anche ", "e anche "),
    "nl": ("en ", "en ", "en ook ", "ook ", "verder "),
    "pt": ("e ", "e ", "e também ", "também ", "e já agora "),
}
_STOPS = (" ", " ", ", ", ", ", ". ", "? ", "? ", "! ", "\n", "... ", " - ", "; ")


def in_one_breath(
    texts: Sequence[str], language: str, rng: random.Random
) -> tuple[str, tuple[int, ...]]:
    """Several messages written as one, and where the second and later begin."""
    whole, starts = texts[0], []
    for text in texts[1:]:
        stop = rng.choice(_STOPS)
        whole = whole.rstrip(" ?.!,;") if rng.random() < 0.7 else whole
        joiner = rng.choice(_JOINERS[language]) if rng.random() < 0.5 else ""
        starts.append(len(whole + stop))
        whole += stop + joiner + text
    return whole, tuple(starts)


def mistyped(text: str, rng: random.Random, share: float = 0.04) -> str:
    """The text with letters dropped, doubled or swapped, as thumbs do."""
    letters = list(text)
    place = 0
    while place < len(letters) - 1:
        if letters[place].isalpha() and rng.random() < share:
            slip = rng.randrange(3)
            if slip == 0:
                del letters[place]
            elif slip == 1:
                letters.insert(place, letters[place])
                place += 1
            else:
                letters[place], letters[place + 1] = letters[place + 1], letters[place]
                place += 1
        place += 1
    return "".join(letters)
