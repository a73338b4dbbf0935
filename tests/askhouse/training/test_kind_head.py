"""The kind head that is learned anew on an encoder that stays."""

from __future__ import annotations

import numpy as np

from askhouse.encoder import Encoded
from askhouse.kinds import KINDS, KindHead
from askhouse.training.export import head_arrays
from askhouse.training.kind_head import fit_kind_head
from askhouse.training.modules import WIDTH

TOLD = ("question", "safety", "chat")


def some_texts(count: int, seed: int) -> tuple[list[Encoded], list[str]]:
    """Texts whose vectors say nothing; one word among several tells the kind."""
    rng = np.random.default_rng(seed)
    kinds = [TOLD[place % len(TOLD)] for place in range(count)]
    encoded = []
    for kind in kinds:
        words = rng.normal(0, 0.1, (int(rng.integers(3, 9)), WIDTH)).astype(np.float16)
        words[int(rng.integers(len(words))), TOLD.index(kind)] = 4.0
        encoded.append(Encoded(np.full(8, 8**-0.5, dtype=np.float32), words))
    return encoded, kinds


def test_one_word_among_others_tells_the_kind() -> None:
    """
    What is learned from some texts is heard in others, as the engine reads the head.
    """
    encoded, kinds = some_texts(600, seed=1)
    head = fit_kind_head(encoded, kinds, np.ones(600, dtype=np.float32), epochs=60)
    arrays = head_arrays("kind", KINDS, head)
    names = ("weights", "bias", "looks", "says")
    reads = KindHead(KINDS, *(arrays[f"kind_{name}"] for name in names))

    others, told = some_texts(90, seed=2)

    heard = [reads.probabilities(one) for one in others]
    assert [max(one, key=lambda kind: one[kind]) for one in heard] == told


def test_a_line_of_no_weight_teaches_nothing() -> None:
    """
    With all weight on right labels, wrong ones beside them do no harm.
    """
    encoded, kinds = some_texts(600, seed=3)
    weights = np.tile(np.array([1.0, 0.0], dtype=np.float32), 300)
    spoilt = [kind if weights[place] else "damage" for place, kind in enumerate(kinds)]
    head = fit_kind_head(encoded, spoilt, weights, epochs=60)

    bias = head.whole.bias.detach().numpy()

    assert bias[KINDS.index("damage")] < min(bias[KINDS.index(kind)] for kind in TOLD)
