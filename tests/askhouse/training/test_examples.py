"""What training reads: messages put together, and houses held out with all they were asked."""

from __future__ import annotations

import random

from hypothesis import given
from hypothesis import strategies as st

from askhouse.training.examples import Asked, Several, TrainingSet, in_one_breath


@given(
    st.lists(st.text("abc ?!.", min_size=3).filter(str.strip), min_size=2, max_size=3), st.randoms()
)
def test_each_part_begins_where_it_is_said_to(texts: list[str], rng: random.Random) -> None:
    """
    Behind each start stands the part's own text, perhaps after a joiner; the first is in front.
    """
    whole, starts = in_one_breath(texts, "en", rng)
    assert len(starts) == len(texts) - 1
    for start, text in zip(starts, texts[1:], strict=True):
        assert text.rstrip(" ?.!,;") in whole[start:]
        assert whole[start - 1].isspace()
    assert whole.startswith(texts[0].rstrip(" ?.!,;"))


def test_a_held_out_house_takes_its_words_along() -> None:
    """
    A message borrowed from a house that is held out is not learned from at another house either.
    """

    def asked(house: str, text: str, *, measured: bool = True) -> Asked:
        return Asked(house, text, "en", (0,), (), "question", measured)

    data = TrainingSet(
        {"mill": [["a"]], "loft": [["b"]]},
        (asked("mill", "wifi?"), asked("loft", "wifi?", measured=False), asked("loft", "bins?")),
        (Several("mill", "wifi? bins?", 2, (6,)),),
        (),
    )
    kept = data.without({"mill"}, set())
    assert [one.text for one in kept.asked] == ["bins?"]
    assert kept.several == ()
