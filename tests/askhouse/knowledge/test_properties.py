"""Promises for every file one could write, tried on generated ones."""

from __future__ import annotations

import json
import tempfile
from pathlib import Path
from typing import Any

from hypothesis import example, given, settings
from hypothesis import strategies as st

from askhouse.knowledge import Library, load_houses
from askhouse.knowledge.explain import field_names
from askhouse.knowledge.problems import has_error, listing
from askhouse.knowledge.schema import FactFile
from tests.askhouse.knowledge.files import HOUSE, SECRET, write

LIGHT = settings(max_examples=60, deadline=None, database=None, derandomize=True)

ids = st.from_regex(r"[a-z0-9]{1,6}(-[a-z0-9]{1,6}){0,2}", fullmatch=True)
# Texts a person could type; braces have a meaning of their own and are tried elsewhere.
texts = st.text(
    st.characters(exclude_categories=("Cs", "Cc", "Cn", "Co"), exclude_characters="{}\ufeff"),
    min_size=1,
    max_size=60,
).filter(lambda text: text.strip() != "")
facts = st.fixed_dictionaries(
    {"topic": texts, "text": texts},
    optional={
        "title": texts,
        "asks": st.lists(texts, max_size=3),
        "cautions": st.lists(texts, max_size=2),
        "sensitive": st.booleans(),
        "emergency_help": st.booleans(),
        "place": texts,
        "verified_on": st.dates().map(str),
    },
)
houses = st.fixed_dictionaries(
    {
        "slug": ids,
        "name": texts,
        "kind": texts,
        "country": st.sampled_from(["GB", "DE", "IE"]),
        "timezone": st.sampled_from(["Europe/London", "Asia/Tokyo", "America/New_York"]),
        "units": st.sampled_from(["metric", "imperial"]),
        "check_in": st.times().map(lambda time: f"{time:%H:%M}"),
        "check_out": st.times().map(lambda time: f"{time:%H:%M}"),
        "emergency_number": st.just("112"),
        "facts": st.dictionaries(ids, facts, min_size=1, max_size=4).map(
            lambda byid: [{"id": fact_id, **fact} for fact_id, fact in byid.items()]
        ),
    },
    optional={"greeting": texts, "sign_off": texts},
)


def load_files(files: dict[str, str | bytes]) -> Library:
    with tempfile.TemporaryDirectory() as folder:
        return load_houses(write(Path(folder), files))


@LIGHT
@given(houses)
def test_a_right_house_comes_back_as_it_was_written(written: dict[str, Any]) -> None:
    """
    Whatever a host writes into a house of the right shape is in the house, to the character.
    """
    # JSON is YAML; its escapes carry any character.
    library = load_files({"m.yaml": json.dumps(written)})
    house = library.house(written["slug"])

    assert not has_error(library.problems)
    for field in ("name", "kind", "country", "timezone", "emergency_number"):
        assert getattr(house, field) == written[field].strip()
    assert f"{house.check_in:%H:%M}" == written["check_in"]
    assert house.greeting == (written["greeting"].strip() if "greeting" in written else None)
    assert [fact.id for fact in house.facts] == [fact["id"] for fact in written["facts"]]
    for fact, given_fact in zip(house.facts, written["facts"], strict=True):
        assert fact.text == given_fact["text"].strip()
        assert fact.asks == tuple(ask.strip() for ask in given_fact.get("asks", []))
        assert fact.sensitive == given_fact.get("sensitive", False)
        assert str(fact.verified_on) == given_fact.get("verified_on", "None")


@LIGHT
@given(
    st.binary(max_size=200)
    | st.text(max_size=200).map(lambda text: text.encode("utf-8", "replace"))
)
@example(b"%YAML 1.1\n---\na: yes\n")
@example(b"%TAG ! x\n--- !a\n")
@example(b"? \n? \n")
@example(b"- - - - ?\n")
@example(b"<<: {a: b}\n")
@example(b"\xef\xbb\xbf\xef\xbb\xbf")
def test_any_bytes_as_a_file_are_problems_and_never_an_exception(content: bytes) -> None:
    """
    A house file, a file of facts and a note of arbitrary bytes are told, and nothing is raised.
    """
    library = load_files(
        {
            "a.yaml": content,
            "m/house.yaml": HOUSE,
            "m/facts/a.yaml": content,
            "m/notes/a.md": content,
            "n/house.yaml": HOUSE.replace("mill-loft", "next"),
            "n/notes/b.md": b"---\ntitle: a\ntopic: b\n---\n" + content,
        }
    )

    assert {"a.yaml", "m/facts/a.yaml", "m/notes/a.md"} <= {p.file for p in library.errors}
    assert listing(library.problems)
    assert "mill-loft" not in library.houses


# Letters, digits, and the punctuation that has a meaning in YAML or in texts.
pieces = st.text(st.sampled_from("ab1 \n\t:-#'\"[]{}&*!|>%@`,?\\~"), min_size=1, max_size=6)


@settings(LIGHT, max_examples=200)
@given(st.integers(0, len(HOUSE)), st.integers(0, 12), pieces)
def test_a_house_with_a_slip_loads_or_is_told_without_its_secret(
    at: int, cut: int, piece: str
) -> None:
    """
    A slip of the keyboard anywhere never raises, and no problem repeats the secret.
    """
    slipped = HOUSE[:at] + piece + HOUSE[at + cut :]

    library = load_files({"m.yaml": slipped, "good.yaml": HOUSE.replace("mill-loft", "good")})

    assert "good" in library.houses or "good" in slipped
    assert len(library.houses) == 2 or has_error(library.problems)
    assert SECRET not in listing(library.problems)
    assert all(1 <= p.line <= slipped.count("\n") + 1 for p in library.problems)


structures = st.recursive(
    st.none() | st.booleans() | st.text(max_size=8) | st.integers() | st.floats(allow_nan=False),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3)
    ),
    max_leaves=6,
)
FIELDS = [line.partition(":")[0] for line in HOUSE.splitlines()[:9]] + [
    "facts",
    "values",
    "greeting",
    "call_back",
]


@LIGHT
@given(st.sampled_from(FIELDS), structures)
def test_any_structure_in_any_field_is_loaded_or_told_in_a_host_s_words(
    field: str, structure: object
) -> None:
    """
    A field may hold anything YAML can: the problem is never the schema's own sentence.
    """
    header = dict(line.split(": ", 1) for line in HOUSE.splitlines()[:9])
    values: dict[str, object] = {key: value.strip('"') for key, value in header.items()}
    values["facts"] = [{"id": "a", "topic": "b", "text": "c"}]
    values[field] = structure

    library = load_files({"m.yaml": json.dumps(values)})

    assert len(library.houses) == 1 or has_error(library.problems)
    assert all(p.what != "cannot be read." and "Input" not in p.what for p in library.problems)


fact_fields = st.sampled_from(field_names(FactFile))


@LIGHT
@given(fact_fields, structures)
def test_any_structure_in_any_field_of_a_fact_too(field: str, structure: object) -> None:
    """
    The same holds for each field of a fact.
    """
    fact: dict[str, object] = {"id": "a", "topic": "b", "text": "c", field: structure}
    facts_file = json.dumps([fact])

    library = load_files({"m/house.yaml": HOUSE, "m/facts/a.yaml": facts_file})

    assert len(library.houses) == 1 or has_error(library.problems)
    assert all(p.what != "cannot be read." and "Input" not in p.what for p in library.problems)
