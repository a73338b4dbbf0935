"""One fact changed, and every other byte of its file as it was."""

from __future__ import annotations

import datetime as dt
import re
import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from askhouse.errors import KnowledgeError, UnknownHouseError
from askhouse.knowledge import load_house, load_houses
from askhouse.knowledge.edit_check import stripped
from askhouse.knowledge.problems import has_error
from askhouse.knowledge.replacing import FileChangedError, replace_file
from askhouse.knowledge.scalars import Value
from askhouse.knowledge.standing import Draft, files_of, find_fact
from askhouse.knowledge.write import (
    EditConflictError,
    EditRefusedError,
    FactChange,
    FactWritten,
    draft_fact,
    put_back,
    read_fact,
    remove_fact,
    takes_notes,
    write_fact,
)
from askhouse.search.store import text_hash
from tests.askhouse.knowledge.styles import TEXTS, Drawn, fact_files
from tests.conftest import DEMO_HOUSES

HEAD = """\
slug: m  # the mill
name: Mill
kind: mill
country: GB
timezone: Europe/London
units: metric
check_in: "16:00"
check_out: "10:00"
emergency_number: "999"
facts:
"""

CHANGES: st.SearchStrategy[Any] = st.fixed_dictionaries(
    {},
    optional={
        "text": TEXTS | st.just("One.\n\n1. Two\n2. Three"),
        "title": TEXTS,
        "asks": st.none() | st.lists(TEXTS, min_size=1, max_size=5, unique=True),
        "cautions": st.lists(TEXTS, min_size=1, max_size=2),
        "sensitive": st.booleans(),
        "verified_on": st.none() | st.dates(dt.date(2020, 1, 1), dt.date(2030, 1, 1)),
        "season": st.none() | st.just({"from": "2026-11-01", "to": "2026-12-01"}),
        "place": TEXTS,
    },
).filter(bool)


def house_of(folder: Path, drawn: Drawn, *, grown: bool) -> Path:
    """Writes a drawn list of facts as a house; the file that holds the facts."""
    if not grown:
        path = folder / "m.yaml"
        path.write_bytes(drawn.text.encode())
        return path
    (folder / "m" / "facts").mkdir(parents=True)
    (folder / "m" / "house.yaml").write_text(HEAD.removesuffix("facts:\n"), encoding="utf-8")
    path = folder / "m" / "facts" / "t.yaml"
    path.write_bytes(drawn.text.encode())
    return path


def raw(folder: Path, fact_id: str) -> Mapping[str, object]:
    """A fact's fields as the file has them, texts without blank ends."""

    stands = find_fact(files_of(folder, "m"), fact_id)
    assert stands is not None
    return {name: stripped(value) for name, value in stands.fields.items()}


def undo(folder: Path, fact_id: str, written: FactWritten, house: str = "m") -> None:
    put_back(folder, house, fact_id, file=written.file, before=written.before, after=written.after)


def expected(value: Any) -> object:
    return value.isoformat() if isinstance(value, dt.date) else value


BOTH = st.booleans().flatmap(
    lambda grown: st.tuples(
        st.just(grown), fact_files() if grown else fact_files(head=HEAD, column=2)
    )
)
THOROUGH = settings(max_examples=15)


@settings(max_examples=25)
@given(BOTH, CHANGES, st.integers(0, 3))
def test_a_change_touches_nothing_else(
    drawn: tuple[bool, Drawn], fields: dict[str, Value | None], which: int
) -> None:
    """
    Whatever the file's style, a change says what was meant, leaves every byte outside of the
    fact's own lines, and is undone to the byte; what cannot be done safely is refused, and then
    the file is as it was.
    """
    grown, file = drawn
    fact_id = file.ids[which % len(file.ids)]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = house_of(folder, file, grown=grown)
        before, old = path.read_bytes(), raw(folder, fact_id)
        others = {other: raw(folder, other) for other in file.ids if other != fact_id}
        try:
            written = write_fact(folder, "m", fact_id, FactChange(fields), None)
        except EditRefusedError:
            assert path.read_bytes() == before
            # In this style and no other: a remark would be lost.
            assert file.remarks
            return

        wanted = {**old, **{name: expected(value) for name, value in fields.items()}}
        now = raw(folder, fact_id)
        assert dict(now) == {name: value for name, value in wanted.items() if value is not None}
        assert {other: raw(folder, other) for other in others} == others
        assert written.before is not None
        assert written.after is not None
        assert before.replace(written.before.encode(), written.after.encode()) == path.read_bytes()
        assert load_houses(folder).house("m").facts

        undo(folder, fact_id, written)
        assert path.read_bytes() == before


@THOROUGH
@given(BOTH, st.sampled_from(("title", "place", "sensitive")), st.integers(0, 3))
def test_remarks_and_other_fields_stay(drawn: tuple[bool, Drawn], field: str, which: int) -> None:
    """
    A field that is new to a fact only adds characters, so that every remark stays.
    """
    grown, file = drawn
    fact_id = file.ids[which % len(file.ids)]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = house_of(folder, file, grown=grown)
        before = path.read_bytes().decode()

        value = field == "sensitive" or "new words"
        write_fact(folder, "m", fact_id, FactChange({field: value}), None)

        after = path.read_bytes().decode()
        added = f"{field}: {'true' if value is True else value}"
        assert re.sub(rf"(\r?\n {{2,4}}|, ){added}", "", after) == before
        assert all(remark in after for remark in file.remarks)


@THOROUGH
@given(BOTH)
def test_a_new_fact_only_adds(drawn: tuple[bool, Drawn]) -> None:
    """
    A new fact is the last of its list, its lines apart the file is as it was, and undoing it
    brings the file back to the byte.
    """
    grown, file = drawn
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = house_of(folder, file, grown=grown)
        before = path.read_bytes()
        fields: dict[str, Value | None] = {"topic": "t", "text": "It is: here.", "asks": ["where?"]}

        written = write_fact(folder, "m", "new-one", FactChange(fields, new=True), None)

        assert [fact.id for fact in load_houses(folder).house("m").facts] == [*file.ids, "new-one"]
        assert written.before is None
        assert written.after is not None
        after = path.read_bytes().decode()
        left = after.replace(written.after, "")
        assert before.decode().split() == left.split()

        undo(folder, "new-one", written)
        assert path.read_bytes().decode().split() == before.decode().split()
        assert all(remark in path.read_text(encoding="utf-8") for remark in file.remarks)


@THOROUGH
@given(BOTH, st.integers(0, 3))
def test_a_removed_fact_comes_back(drawn: tuple[bool, Drawn], which: int) -> None:
    """
    A removed fact leaves all others and every remark outside of its lines; undone, it says
    again what it said.
    """
    grown, file = drawn
    fact_id = file.ids[which % len(file.ids)]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = house_of(folder, file, grown=grown)
        old = raw(folder, fact_id)

        removed = remove_fact(folder, "m", fact_id, None)

        rest = [other for other in file.ids if other != fact_id]
        assert removed.before is not None
        own = {remark for remark in file.remarks if remark in removed.before}
        left = path.read_text(encoding="utf-8") if path.exists() else ""
        assert {remark for remark in file.remarks if remark in left} == set(file.remarks) - own
        assert [fact.id for fact in load_houses(folder).house("m").facts] == rest

        undo(folder, fact_id, removed)
        assert raw(folder, fact_id) == old
        assert load_houses(folder).house("m").facts[-1].id == fact_id


@pytest.fixture
def demo(tmp_path: Path) -> Path:
    """The demo houses, to be written to."""
    for house in ("orchard-barn", "harbour-flat", "forest-cabin"):
        shutil.copytree(DEMO_HOUSES / house, tmp_path / house)
    return tmp_path


def contents(folder: Path) -> dict[str, bytes]:
    """Every file a host has written."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and ".askhouse" not in path.parts
    }


@pytest.mark.parametrize("house", ["orchard-barn", "harbour-flat", "forest-cabin"])
def test_demo_facts_are_changed_and_brought_back(house: str, demo: Path) -> None:
    """
    A fact or note of each demo file takes a new text, way of asking and day, in which only its
    own file changes, and comes back to the byte.
    """
    before = contents(demo)
    facts = {fact.source.file: fact.id for fact in load_houses(demo).house(house).facts}
    assert len(facts) > 10
    for file, fact_id in list(facts.items())[::4]:
        seen = read_fact(demo, house, fact_id)
        fields: dict[str, Value | None] = {
            "text": "A new text, {{with braces}}.",
            "asks": ["a new way of asking", "und auf Deutsch?"],
            "verified_on": dt.date(2026, 11, 30),
        }
        written = write_fact(demo, house, fact_id, FactChange(fields), seen.lines_hash)

        assert {name for name, text in contents(demo).items() if text != before[name]} == {file}
        undo(demo, fact_id, written, house)
        assert contents(demo) == before


FACTS = """\
# Water
- id: stopcock   # the red wheel
  text: >-
    Under the kitchen sink,
    at the back.
  asks:
    - where is the stopcock  # most ask so
    # in winter
    - how do I turn the water off
  verified_on: 2026-09-30

- id: kettle
  text: "It stands by the sink."
"""


@pytest.fixture
def mill(tmp_path: Path) -> Path:
    """A small grown house with one file of facts and a note."""
    (tmp_path / "m" / "facts").mkdir(parents=True)
    (tmp_path / "m" / "notes").mkdir()
    head = HEAD.removesuffix("facts:\n")
    (tmp_path / "m" / "house.yaml").write_text(head, encoding="utf-8")
    (tmp_path / "m" / "facts" / "water.yaml").write_text(FACTS, encoding="utf-8")
    note = "---\ntitle: Tea\ntopic: kitchen  # ours\n---\n\n<!-- twice -->\n1. Boil.\n2. Pour.\n\n"
    (tmp_path / "m" / "notes" / "make-tea.md").write_text(note, encoding="utf-8")
    return tmp_path


def facts_file(mill: Path) -> Path:
    return mill / "m" / "facts" / "water.yaml"


def test_a_way_of_asking_is_added_among_remarks(mill: Path) -> None:
    """
    One more way of asking is one more line; the remarks between the others stay.
    """
    asks = ["where is the stopcock", "how do I turn the water off", "Wasser abstellen: wie?"]
    write_fact(mill, "m", "stopcock", FactChange({"asks": asks}), None)

    assert facts_file(mill).read_text(encoding="utf-8") == FACTS.replace(
        "turn the water off\n", 'turn the water off\n    - "Wasser abstellen: wie?"\n'
    )


def test_a_text_keeps_its_style(mill: Path) -> None:
    """
    A folded text stays folded and a quoted one quoted.
    """
    write_fact(mill, "m", "stopcock", FactChange({"text": "Behind the bath."}), None)
    write_fact(mill, "m", "kettle", FactChange({"text": 'On the "stove".'}), None)

    assert facts_file(mill).read_text(encoding="utf-8") == FACTS.replace(
        "    Under the kitchen sink,\n    at the back.\n", "    Behind the bath.\n"
    ).replace("It stands by the sink.", 'On the \\"stove\\".')


def test_a_note_keeps_its_front_matter_and_its_remarks(mill: Path) -> None:
    """
    A note's text is what stands below its front matter; its fields are changed above.
    """
    path = mill / "m" / "notes" / "make-tea.md"
    seen = read_fact(mill, "m", "make-tea")
    assert seen.fields["text"] == "<!-- twice -->\n1. Boil.\n2. Pour."

    change = FactChange({"text": "1. Warm the pot.\r\n2. Pour.", "place": "kitchen"})
    written = write_fact(mill, "m", "make-tea", change, seen.content_hash)

    head = "---\ntitle: Tea\ntopic: kitchen  # ours\nplace: kitchen\n---\n\n"
    assert path.read_text(encoding="utf-8") == head + "1. Warm the pot.\n2. Pour.\n\n"
    undo(mill, "make-tea", written)
    assert path.read_text(encoding="utf-8") == seen.lines


@THOROUGH
@given(
    st.fixed_dictionaries(
        {"title": TEXTS, "topic": TEXTS, "text": TEXTS | st.just("One.\r\n\r\n1. Two\r\n2. Three")},
        optional={
            "asks": st.lists(TEXTS, min_size=1, max_size=5, unique=True),
            "cautions": st.lists(TEXTS, min_size=1, max_size=2),
            "sensitive": st.just(True),
            "verified_on": st.dates(dt.date(2020, 1, 1), dt.date(2030, 1, 1)),
        },
    )
)
def test_a_new_note_is_one_more_file(fields: dict[str, Value | None]) -> None:
    """
    Whatever it says, a new note is a file of its own that says just that; no other file is
    touched, it is edited like any other note, and undoing both takes the file away.
    """
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "m").mkdir()
        (folder / "m" / "house.yaml").write_text(HEAD + "  - {id: a, topic: t, text: x}\n", "utf-8")
        before = contents(folder)

        made = write_fact(folder, "m", "new-one", FactChange(fields, new=True, note=True), None)

        assert made.file == "m/notes/new-one.md"
        assert {name: text for name, text in contents(folder).items() if name in before} == before
        wanted = {name: stripped(expected(value)) for name, value in fields.items()}
        wanted["text"] = str(fields["text"]).replace("\r\n", "\n").strip()
        assert raw(folder, "new-one") == wanted
        fact = load_houses(folder).house("m").fact("new-one")
        assert fact.sections
        assert fact.sensitive == ("sensitive" in fields)

        change = FactChange({"text": "1. Sit down.", "cautions": ["Hot."]})
        written = write_fact(folder, "m", "new-one", change, None)
        assert load_houses(folder).house("m").fact("new-one").text == "1. Sit down."
        undo(folder, "new-one", written)
        undo(folder, "new-one", made)
        assert contents(folder) == before


def test_a_new_note_as_it_stands_in_its_file(mill: Path) -> None:
    """
    Front matter in the usual order, then the note.
    """
    fields: dict[str, Value | None] = {
        "text": "1. Open the damper.\n2. Light it.",
        "asks": ["how do we light the stove"],
        "title": "Stove: light it",
        "topic": "heating",
    }
    write_fact(mill, "m", "stove", FactChange(fields, new=True, note=True), None)

    assert (mill / "m" / "notes" / "stove.md").read_text(encoding="utf-8") == (
        '---\ntitle: "Stove: light it"\ntopic: heating\nasks: [how do we light the stove]\n---\n'
        "1. Open the damper.\n2. Light it.\n"
    )


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"topic": "t", "text": "1. Go."}, "title is missing"),
        ({"topic": "t", "title": "T", "text": None}, "has no text"),
        ({"topic": "t", "title": "T", "text": "1. Go to {nowhere}."}, r"has \{nowhere\}"),
    ],
)
def test_a_note_that_the_loader_refuses_is_not_written(
    fields: dict[str, Value | None], said: str, mill: Path
) -> None:
    """
    Like a fact's, a new note's errors are the loader's, and nothing is written.
    """
    before = contents(mill)
    with pytest.raises(EditRefusedError, match=said):
        write_fact(mill, "m", "stove", FactChange(fields, new=True, note=True), None)
    assert contents(mill) == before


def test_a_note_needs_a_folder_and_an_id_of_its_own(mill: Path, tmp_path: Path) -> None:
    """
    A house of one file has no place for notes, and says how it gets one; an id that is taken is
    refused.
    """
    change = FactChange({"topic": "t", "title": "T", "text": "1. Go."}, new=True, note=True)
    with pytest.raises(EditConflictError, match="already"):
        write_fact(mill, "m", "make-tea", change, None)
    with pytest.raises(EditConflictError, match="already"):
        write_fact(mill, "m", "kettle", change, None)
    alone = tmp_path / "alone"
    alone.mkdir()
    (alone / "m.yaml").write_text(HEAD + "  - {id: a, topic: t, text: x}\n", encoding="utf-8")

    assert takes_notes(mill, "m")
    assert not takes_notes(alone, "m")
    with pytest.raises(EditRefusedError, match=r"move the file into it as house\.yaml"):
        write_fact(alone, "m", "stove", change, None)
    assert list(contents(alone)) == ["m.yaml"]


def test_a_new_topic_is_a_new_file(mill: Path) -> None:
    """
    A fact of a topic that has no file begins one; undone, the file is gone again.
    """
    change = FactChange({"topic": "Bicycles & more", "text": "In the shed."}, new=True)
    written = write_fact(mill, "m", "bicycles", change, None)

    path = mill / "m" / "facts" / "bicycles-more.yaml"
    assert written.file == "m/facts/bicycles-more.yaml"
    assert path.read_text(encoding="utf-8") == (
        '- id: bicycles\n  topic: "Bicycles & more"\n  text: "In the shed."\n'
    )
    undo(mill, "bicycles", written)
    assert not path.exists()


def test_a_single_caution_is_one_of_the_cautions(tmp_path: Path) -> None:
    """
    Cautions are given as one list, also where the file has a `caution` of its own.
    """
    fact = '  - {id: a, topic: t, text: x, caution: "Hot."}\n'
    path = tmp_path / "m.yaml"

    def cautions_after(*given: str) -> tuple[tuple[str, ...], str]:
        path.write_text(HEAD + fact, encoding="utf-8")
        write_fact(tmp_path, "m", "a", FactChange({"cautions": list(given)}), None)
        house = load_house(path).house
        assert house is not None
        return house.facts[0].cautions, path.read_text(encoding="utf-8").removeprefix(HEAD)

    assert cautions_after("Hot!") == (("Hot!",), fact.replace("Hot.", "Hot!"))
    assert cautions_after("Wet.", "Hot.")[0] == ("Wet.", "Hot.")
    assert cautions_after("Wet.", "Cold.")[0] == ("Wet.", "Cold.")
    assert cautions_after() == ((), "  - {id: a, topic: t, text: x}\n")


def test_two_people_are_noticed(mill: Path) -> None:
    """
    Who saw an older text is refused by the content hash, and who saw older lines by theirs;
    the file stays as the other one left it.
    """
    seen = read_fact(mill, "m", "kettle")
    assert seen.content_hash == text_hash("It stands by the sink.")
    write_fact(mill, "m", "kettle", FactChange({"asks": ["tea"]}), seen.content_hash)
    now = facts_file(mill).read_bytes()

    with pytest.raises(EditConflictError, match=r"water\.yaml:12: the fact .* changed meanwhile"):
        write_fact(mill, "m", "kettle", FactChange({"text": "Mine."}), seen.lines_hash)
    assert facts_file(mill).read_bytes() == now
    # The text is still the one that was seen, and the way of asking is kept.
    write_fact(mill, "m", "kettle", FactChange({"text": "Mine."}), seen.content_hash)
    with pytest.raises(EditConflictError):
        write_fact(mill, "m", "kettle", FactChange({"text": "Hers."}), seen.content_hash)
    with pytest.raises(EditConflictError, match="already"):
        write_fact(mill, "m", "kettle", FactChange({"topic": "t", "text": "x"}, new=True), None)


def test_a_change_is_undone_only_while_it_stands(mill: Path) -> None:
    """
    Undoing a change that another one followed is refused; in the right order both are undone.
    """
    first = write_fact(mill, "m", "stopcock", FactChange({"asks": None}), None)
    second = write_fact(mill, "m", "stopcock", FactChange({"place": "kitchen"}), None)

    with pytest.raises(EditConflictError, match="undo that first"):
        undo(mill, "stopcock", first)
    undo(mill, "stopcock", second)
    undo(mill, "stopcock", first)
    assert facts_file(mill).read_text(encoding="utf-8") == FACTS


def test_a_file_changed_by_hand_meanwhile_is_not_overwritten(mill: Path) -> None:
    """
    A draft made of a file that has changed since is not written.
    """
    path = facts_file(mill)
    with pytest.raises(FileChangedError):
        replace_file(Draft(path=path, before=FACTS + "# since\n", after=""))
    with pytest.raises(FileChangedError):
        replace_file(Draft(path=path, before=None, after=""))
    assert path.read_text(encoding="utf-8") == FACTS


# What the loader refuses, with what it says.
REFUSED = [
    ({"verified_on": "soon"}, r"verified_on is not a date"),
    ({"text": None}, r"text is missing"),
    ({"colour": "red"}, r"is not a field of a fact"),
    ({"related": ["no-such"]}, r"is the id of no fact"),
    ({"text": "The code is {unwritten}."}, r"has \{unwritten\}, and no value"),
]


@pytest.mark.parametrize(("fields", "said"), REFUSED)
def test_what_the_loader_refuses_is_not_written(
    fields: dict[str, Value | None], said: str, mill: Path
) -> None:
    """
    A house that would have an error is not written; the error is the loader's, with its line.
    """
    with pytest.raises(EditRefusedError, match=said) as caught:
        write_fact(mill, "m", "kettle", FactChange(fields), None)

    assert has_error(caught.value.problems)
    assert contents(mill)["m/facts/water.yaml"] == FACTS.encode()
    assert draft_fact(mill, "m", "kettle", FactChange(fields)).house is None


def test_a_draft_is_only_read(mill: Path) -> None:
    """
    A draft shows the house as it would be, warnings included, and writes nothing.
    """
    before = contents(mill)
    change = FactChange({"topic": "water", "text": "The door code is 4711."}, new=True)

    loaded = draft_fact(mill, "m", "door", change)

    assert loaded.house is not None
    assert loaded.house.facts[2].text == "The door code is 4711."
    assert [str(problem.severity) for problem in loaded.problems] == ["warning"]
    assert contents(mill) == before


def test_what_is_not_there_is_named(mill: Path) -> None:
    """
    An unknown house or fact is an error that names the nearest.
    """
    with pytest.raises(KnowledgeError, match=r'no fact or note is called "kettel".*"kettle"'):
        write_fact(mill, "m", "kettel", FactChange({"text": "x"}), None)
    with pytest.raises(UnknownHouseError, match='No house is called "n"'):
        read_fact(mill, "n", "kettle")


def test_lines_are_put_back_only_into_the_houses_own_files(mill: Path) -> None:
    """
    A file outside of the house is not written, whatever name is given.
    """
    for file in ("other.yaml", "m/facts/../../other.yaml", "../x.yaml", "m/facts/.x.yaml"):
        with pytest.raises(EditRefusedError, match="none of the house's"):
            put_back(mill, "m", "cup", file=file, before="- id: cup\n  text: x", after=None)


def test_an_anchor_elsewhere_is_refused_as_the_loader_refuses_it(mill: Path) -> None:
    """
    A file with an anchor is no house file for the loader; it is refused and stays as it is.
    """
    path = facts_file(mill)
    path.write_text(FACTS.replace('"It stands', '&a "It stands'), encoding="utf-8")
    before = path.read_bytes()

    with pytest.raises(EditRefusedError, match="anchor"):
        write_fact(mill, "m", "stopcock", FactChange({"text": "There."}), None)
    assert path.read_bytes() == before
