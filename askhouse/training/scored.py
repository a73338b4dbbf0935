"""Messages of the corpus with their hits, as the decision will see them.

For the trained models the numbers come from the folds: each message is scored by
models that have not seen its house, though as it was written, where the engine mends
misspelled words first. The plain model has seen none of them, and no model those of a
labelled set.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from sklearn.model_selection import GroupKFold

from askhouse.build import known_words, searches_of
from askhouse.decision.signals import hit_signals
from askhouse.encoder import MODELS, Encoded, Encoder, Vectors, open_encoder
from askhouse.kinds import KINDS, KindHead, Kinds, Once, Scores
from askhouse.measure.labelled import LabelledMessage, LabelledPart
from askhouse.parts.clean import clean
from askhouse.parts.language import tongue
from askhouse.search.reader import Reader
from askhouse.search.search import fuse
from askhouse.search.store import VectorStore
from askhouse.search.views import views_of
from askhouse.search.wording import Wording
from askhouse.topics import topics
from askhouse.training.corpus import Corpus, Label, Line
from askhouse.training.heads import fit_heads
from askhouse.values import Hit, House, Outcome

__all__ = [
    "FOLDS",
    "MOST_HITS",
    "Example",
    "from_folds",
    "from_labelled",
    "from_plain",
    "house_folds",
    "signals_of",
]

FOLDS = 6
MOST_HITS = 5


@dataclass(frozen=True, slots=True)
class Example:
    """One message with one label, searched.

    Attributes:
        text: With misspellings mended by the house's words.
        kinds: The kind head's probabilities, from a head that has not seen the house.
        heard: The same of the text as it was written, by which alarms are raised.
    """

    house: str
    text: str
    language: str
    label: Label
    hits: tuple[Hit, ...]
    kinds: Scores
    heard: Scores

    @property
    def right(self) -> NDArray[np.bool_]:
        """For each hit, whether it may be given as the answer."""
        may = {*self.label.needed, *self.label.also}
        return np.array([hit.fact.id in may for hit in self.hits])


def signals_of(examples: Sequence[Example]) -> list[NDArray[np.float64]]:
    """The signals of every example's hits, as the decision sees them."""
    return [hit_signals(e.text, e.hits, e.kinds, topics()) for e in examples]


def house_folds(houses: list[str]) -> list[tuple[NDArray[np.int64], NDArray[np.int64]]]:
    """Train and test places, whole houses on one side."""
    return list(GroupKFold(min(FOLDS, len(set(houses)))).split(houses, groups=houses))


def from_folds(corpus: Corpus, folder: Path) -> list[Example]:
    """Examples from the scores that `askhouse.training.folds` wrote."""
    lines = {(line.house, line.text): line for line in corpus.lines if len(line.labels) == 1}
    wordings: dict[str, Wording] = {}
    examples = []
    for path in sorted(folder.glob("fold*.npz")):
        content = np.load(path)
        ends = np.cumsum(content["lengths"])[:-1]
        rows = [
            np.split(content[name].astype(np.float32), ends)
            for name in ("whole", "nearest", "answers")
        ]
        for house, text, kinds, whole, nearest, answers in zip(
            content["houses"], content["texts"], content["kinds"].astype(float), *rows, strict=True
        ):
            line = lines.get((str(house), str(text)))
            if line is None:  # removed since the folds were trained
                continue
            if house not in wordings:
                facts = corpus.houses[str(house)].facts
                wordings[str(house)] = Wording(
                    [" ".join(views_of(fact)) for fact in facts], known_words()
                )
            scores = dict(zip(KINDS, kinds.tolist(), strict=True))
            examples.append(
                _example(corpus, line, wordings[str(house)], scores, whole, nearest, answers)
            )
    return examples


def _example(
    corpus: Corpus,
    line: Line,
    wording: Wording,
    kinds: Scores,
    whole: NDArray[np.float32],
    nearest: NDArray[np.float32],
    answers: NDArray[np.float32],
) -> Example:
    text = wording.mend(line.text)
    words, covered = wording.scores(text), wording.covered(text)
    fused = fuse(whole, nearest, words)
    facts = corpus.houses[line.house].facts
    hits = tuple(
        Hit(
            fact=facts[place],
            similarity=float(nearest[place]),
            whole=float(whole[place]),
            wording=float(words[place]),
            covered=float(covered[place]),
            fused=float(fused[place]),
            rank=rank,
            answers=float(1 / (1 + np.exp(-answers[place]))),
        )
        for rank, place in enumerate(np.argsort(-fused, kind="stable")[:MOST_HITS], start=1)
    )
    return Example(line.house, text, line.language, line.labels[0], hits, kinds, kinds)


def from_plain(corpus: Corpus, encoder: Encoder) -> list[Example]:
    """Examples from a model that was not trained on the corpus; only its heads are held out."""
    store = VectorStore(None, encoder)
    found: list[tuple[Line, str, Vectors, tuple[Hit, ...]]] = []
    for slug, search in searches_of(corpus.houses, store).items():
        lines = [line for line in corpus.lines if line.house == slug and len(line.labels) == 1]
        texts = [search.mend(line.text) for line in lines]
        for line, text, encoded in zip(lines, texts, encoder.encode_words(texts), strict=True):
            hits = search.hits(text, encoded, most=MOST_HITS)
            found.append((line, text, encoded.vector, hits))
    kinds = _held_out_kinds(found, corpus, encoder)
    return [
        Example(line.house, text, line.language, line.labels[0], hits, scores, scores)
        for (line, text, _, hits), scores in zip(found, kinds, strict=True)
    ]


def from_labelled(
    houses: Mapping[str, House], messages: Iterable[LabelledMessage], model: str
) -> list[Example]:
    """Examples from the messages of one part in a labelled set, by the shipped models.

    Args:
        houses: None that the models have learned from.
        messages: Labelled.
        model: "trained" or "plain".
    """
    encoder = open_encoder(model)
    heads = Kinds(MODELS / f"heads-{model}.npz", encoder)
    reader = Reader() if model == "trained" else None
    store = VectorStore(None, encoder)
    searches = searches_of(houses, store, reader)
    examples = []
    for message in messages:
        if len(message.parts) > 1:
            continue
        search = searches[message.house]
        written = clean(message.message)
        whole = tongue(written)
        text = search.mend(written) if whole.code == "en" else written
        encoded = Once(encoder, heads)
        hits = search.hits(text, encoded(text), most=MOST_HITS)
        kinds, heard = (encoded.kinds(one)[0] for one in (text, written))
        label = _label_of(message.parts[0])
        examples.append(Example(message.house, text, whole.code, label, hits, kinds, heard))
    return examples


def _label_of(part: LabelledPart) -> Label:
    if part.outcome is Outcome.CHAT:
        return Label("chat")
    if part.kind is not None:
        return Label(part.kind.value)
    return Label("question", needed=part.facts, also=part.also_ok)


def _held_out_kinds(
    found: list[tuple[Line, str, Vectors, tuple[Hit, ...]]], corpus: Corpus, encoder: Encoder
) -> list[Scores]:
    told = encoder.encode([entry.text for entry in corpus.triage])
    told_kinds = [entry.kind for entry in corpus.triage]
    told_hazards = [entry.hazard for entry in corpus.triage]
    vectors = np.stack([vector for _, _, vector, _ in found])
    kinds = [line.labels[0].kind for line, *_ in found]
    scores: list[Scores] = [{} for _ in found]
    for train, test in house_folds([line.house for line, *_ in found]):
        none: Iterable[str | None] = [None] * len(train)
        arrays: Mapping[str, NDArray[np.generic]] = fit_heads(
            np.concatenate([vectors[train], told]),
            [*(kinds[i] for i in train), *told_kinds],
            [*none, *told_hazards],
        )
        head = KindHead(
            tuple(str(c) for c in arrays["kind_classes"]),
            arrays["kind_weights"].astype(np.float32),
            arrays["kind_bias"].astype(np.float32),
        )
        for place in test:
            scores[place] = head.probabilities(Encoded(vectors[place]))
    return scores
