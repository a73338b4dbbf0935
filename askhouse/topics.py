"""The trade catalogue: which topics a text is about, by its words.

A cot is not a crib mattress, and ski boots are not a tumble dryer, however near
their vectors are. A topic is named when one of its words stands in the text and
none of the words that show a neighbouring topic.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from functools import lru_cache

from pydantic import BaseModel, ConfigDict, Field

from askhouse.packaged import read_yaml
from askhouse.words import STOP_WORDS, stems_of, words

__all__ = ["Topic", "Topics", "catalogue", "topics"]


class Topic(BaseModel):
    """One topic of the catalogue; see the head of topics.yaml for the fields."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    id: str
    title: str
    asks: tuple[str, ...] = Field(min_length=6)
    words: tuple[str, ...] = Field(min_length=2)
    # "not" is a word of the language, so the field has another name here
    neighbours: tuple[str, ...] = Field(default=(), alias="not")


Phrase = tuple[str, ...]


class Topics:
    """All topics, ready to be found in a text."""

    def __init__(self, catalogue: Mapping[str, Topic]) -> None:
        self._catalogue = catalogue
        self._named: dict[Phrase, set[str]] = defaultdict(set)
        self._barred: dict[Phrase, set[str]] = defaultdict(set)
        for topic in catalogue.values():
            for phrase in topic.words:
                if phrase not in STOP_WORDS and len(phrase) > 1:
                    self._named[tuple(stems_of(words(phrase)))].add(topic.id)
            for phrase in topic.neighbours:
                self._barred[tuple(stems_of(words(phrase)))].add(topic.id)
        self._longest = max(map(len, [*self._named, *self._barred]), default=1)

    def title(self, topic_id: str) -> str:
        """How a gap report names the topic."""
        return self._catalogue[topic_id].title

    def of(self, text: str) -> frozenset[str]:
        """The topics that a text names."""
        stems = tuple(stems_of(words(text)))
        named: set[str] = set()
        barred: set[str] = set()
        for start in range(len(stems)):
            for end in range(start + 1, min(start + self._longest, len(stems)) + 1):
                phrase = stems[start:end]
                named |= self._named.get(phrase, set())
                barred |= self._barred.get(phrase, set())
        return frozenset(named - barred)


def catalogue() -> tuple[Topic, ...]:
    """The topics of the file that travels with the package, with their phrasings."""
    return tuple(Topic.model_validate(row) for row in read_yaml("askhouse", "topics.yaml"))


@lru_cache(maxsize=1)
def topics() -> Topics:
    """The catalogue, to be asked what a text names."""
    return Topics({topic.id: topic for topic in catalogue()})
