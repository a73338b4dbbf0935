"""Folders of houses: what is loaded, what is left out, and that nothing stops the others."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from askhouse.errors import UnknownHouseError
from askhouse.knowledge import Severity, load_house, load_houses
from askhouse.values import Media, Season, Section, Source, Units
from tests.askhouse.knowledge.files import FACTS, HEADER, HOUSE, SECRET, heads, load, write


def test_the_smallest_house_is_one_file(tmp_path: Path) -> None:
    """
    A file of header and facts is a house, with every value of the header.
    """
    library = load(tmp_path, {"mill-loft.yaml": HOUSE})
    house = library.house("mill-loft")

    assert library.problems == ()
    assert (house.name, house.kind, house.country) == ("Mill Loft", "loft over a water mill", "GB")
    assert (house.timezone, house.units) == ("Europe/London", Units.METRIC)
    assert (house.check_in, house.check_out) == (dt.time(16), dt.time(10))
    assert (house.emergency_number, house.call_back) == ("999", None)
    assert [fact.id for fact in house.facts] == ["stopcock", "wifi-password"]


def test_a_fact_knows_where_it_is_written(tmp_path: Path) -> None:
    """
    The source is the file relative to the folder loaded, with `/`, and the line of the fact.
    """
    library = load(tmp_path, {"small.yaml": HOUSE})

    assert library.house("mill-loft").fact("wifi-password").source == Source("small.yaml", 14)


def test_a_fact_has_all_that_the_host_wrote(tmp_path: Path) -> None:
    """
    Every field of a fact arrives as the value that flows through Askhouse.
    """
    facts = """\
- id: front-door-lock
  title: The front door
  text: "Lift the handle, then turn the key."
  asks: [how do I lock up]
  cautions: ["It locks itself."]
  caution: "Take the key."
  sensitive: true
  emergency_help: true
  place: hall
  verified_on: 2026-03-14
  season: {from: "11-01", to: "03-31"}
  related: [bolt]
  media: {url: "https://media.example/door.mp4", start: "1:30"}
- id: bolt
  topic: locks
  text: "The bolt is at the top."
"""
    library = load(tmp_path, {"m/house.yaml": HEADER, "m/facts/doors.yaml": facts})
    fact = library.house("mill-loft").fact("front-door-lock")

    assert library.problems == ()
    assert (fact.topic, fact.title, fact.place) == ("doors", "The front door", "hall")
    assert fact.text == "Lift the handle, then turn the key."
    assert fact.asks == ("how do I lock up",)
    assert fact.cautions == ("It locks itself.", "Take the key.")
    assert fact.sensitive
    assert fact.emergency_help
    assert fact.verified_on == dt.date(2026, 3, 14)
    assert fact.season == Season(dt.date(2000, 11, 1), dt.date(2000, 3, 31), yearly=True)
    assert fact.related == ("bolt",)
    assert fact.media == Media("https://media.example/door.mp4", 90.0)
    assert fact.source == Source("m/facts/doors.yaml", 1)
    assert library.house("mill-loft").fact("bolt").topic == "locks"


def test_a_title_is_made_from_the_id(tmp_path: Path) -> None:
    """
    A fact without a title is called by its id, as words.
    """
    library = load(tmp_path, {"m.yaml": HOUSE.replace("id: stopcock", "id: main-stopcock")})

    assert library.house("mill-loft").fact("main-stopcock").title == "Main stopcock"


def test_a_note_is_a_fact_with_sections(tmp_path: Path) -> None:
    """
    A Markdown note becomes a fact: its id is the file's name, its text the whole note in order.
    """
    note = (
        "---\ntitle: Light the stove\ntopic: heating\ncautions:\n  - The glass gets hot.\n---\n"
        "First open the flue.\n\n## Lighting\n\n1. Lay paper.\n2. Light it.\n"
    )
    library = load(tmp_path, {"m/house.yaml": HOUSE, "m/notes/light-the-stove.md": note})
    fact = library.house("mill-loft").fact("light-the-stove")

    assert library.problems == ()
    assert (fact.title, fact.topic) == ("Light the stove", "heating")
    assert fact.text == "First open the flue.\n\nLighting\n1. Lay paper.\n2. Light it."
    assert fact.sections == (
        Section("", "First open the flue."),
        Section("Lighting", "", ("Lay paper.", "Light it.")),
    )
    assert fact.cautions == ("The glass gets hot.",)
    assert fact.source == Source("m/notes/light-the-stove.md", 1)


def test_values_are_filled_into_every_text(tmp_path: Path) -> None:
    """
    Names in braces are filled in in texts, cautions, asks, titles, notes, greeting and sign-off.
    """
    values = (
        'greeting: "Hello from {name},"\nsign_off: "Quiet from {quiet_hours}!"\n'
        'call_back: "020 7946 0123"\n'
        'values:\n  quiet_hours: {from: "22:00", to: "07:30"}\n'
    )
    facts = (
        '- id: a\n  title: "Quiet {quiet_hours}"\n'
        '  text: "Come at {check_in}, leave at {check_out}."\n'
        '  asks: ["is {quiet_hours} quiet"]\n  cautions: ["Dial {emergency_number}."]\n'
        '  caution: "Or ring {call_back}; {{so}}."\n'
    )
    note = "---\ntitle: T\ntopic: t\n---\n## At {check_in}\n\n1. Go to {name}.\n"
    library = load(
        tmp_path, {"m/house.yaml": HEADER + values, "m/facts/x.yaml": facts, "m/notes/b.md": note}
    )
    house = library.house("mill-loft")

    assert library.problems == ()
    assert house.greeting == "Hello from Mill Loft,"
    assert house.sign_off == "Quiet from 22:00 to 07:30!"
    assert house.call_back == "+442079460123"
    fact = house.fact("a")
    assert fact.text == "Come at 16:00, leave at 10:00."
    assert fact.title == "Quiet 22:00 to 07:30"
    assert fact.asks == ("is 22:00 to 07:30 quiet",)
    assert fact.cautions == ("Dial 999.", "Or ring +44 20 7946 0123; {so}.")
    assert house.fact("b").sections == (Section("At 16:00", "", ("Go to Mill Loft.",)),)


def test_facts_come_in_the_order_of_the_files(tmp_path: Path) -> None:
    """
    First the facts of the main file, then those of `facts/` by name, then the notes.
    """
    library = load(
        tmp_path,
        {
            "m/house.yaml": HOUSE,
            "m/notes/a.md": "---\ntitle: A\ntopic: a\n---\nGo.\n",
            "m/facts/z.yaml": "- {id: z, text: Z.}\n",
            "m/facts/b.yml": "- {id: b, text: B.}\n",
        },
    )

    ids = [fact.id for fact in library.house("mill-loft").facts]
    assert ids == ["stopcock", "wifi-password", "b", "z", "a"]


def test_a_house_with_an_error_is_left_out_and_the_others_load(tmp_path: Path) -> None:
    """
    One house's error is that house's alone.
    """
    library = load(
        tmp_path,
        {
            "bad.yaml": HOUSE.replace("mill-loft", "bad").replace("GB", "UK"),
            "broken.yaml": "slug: [\n",
            "bytes.yaml": b"\xff\xfe\x00",
            "good.yaml": HOUSE,
        },
    )

    assert list(library.houses) == ["mill-loft"]
    assert {problem.file for problem in library.errors} == {"bad.yaml", "broken.yaml", "bytes.yaml"}


def test_a_warning_keeps_the_house(tmp_path: Path) -> None:
    """
    A code that is not marked sensitive is told, and the house loads all the same.
    """
    library = load(tmp_path, {"m.yaml": HOUSE.replace("    sensitive: true\n", "")})

    assert heads(library) == [
        "m.yaml:16: warning: facts[1].text seems to say a code or password to every guest."
    ]
    assert library.errors == ()
    assert not library.house("mill-loft").fact("wifi-password").sensitive


def test_sensitive_false_answers_the_warning(tmp_path: Path) -> None:
    """
    A host who says that everyone may know a code is not asked again.
    """
    library = load(tmp_path, {"m.yaml": HOUSE.replace("sensitive: true", "sensitive: false")})

    assert library.problems == ()


def test_two_houses_of_one_slug_are_both_left_out(tmp_path: Path) -> None:
    """
    Neither of two houses of one name is guessed to be the right one; each names the other.
    """
    library = load(tmp_path, {"a.yaml": HOUSE, "b/house.yaml": "# ours\n" + HOUSE})

    assert library.houses == {}
    assert heads(library) == [
        'a.yaml:1: slug "mill-loft" is also the slug of b/house.yaml:2.',
        'b/house.yaml:2: slug "mill-loft" is also the slug of a.yaml:1.',
    ]


def test_an_id_used_twice_names_both_places(tmp_path: Path) -> None:
    """
    Ids are unique over all files and notes of a house; the later place names the first.
    """
    library = load(
        tmp_path,
        {
            "m/house.yaml": HOUSE,
            "m/facts/a.yaml": "- id: boiler\n  text: A.\n- id: stopcock\n  text: B.\n",
            "m/notes/boiler.md": "---\ntitle: B\ntopic: b\n---\nGo.\n",
        },
    )

    assert heads(library) == [
        'm/facts/a.yaml:3: facts[1].id "stopcock" stands twice; the first is at m/house.yaml:11.',
        'm/notes/boiler.md:1: The id "boiler" stands twice; the first is at m/facts/a.yaml:1.',
    ]


def test_the_folder_may_be_one_house(tmp_path: Path) -> None:
    """
    A house's folder, its main file, or a small house's file can be given itself.
    """
    write(tmp_path, {"m/house.yaml": HOUSE, "m/facts/a.yaml": "- {id: a, text: A.}\n"})
    write(tmp_path, {"small.yaml": HOUSE})

    for path, source, count in (
        (tmp_path / "m", "m/house.yaml", 3),
        (tmp_path / "m" / "house.yaml", "m/house.yaml", 3),
        (tmp_path / "small.yaml", "small.yaml", 2),
    ):
        loaded = load_house(path)
        assert loaded.problems == ()
        assert loaded.house is not None
        assert loaded.house.fact("stopcock").source.file == source
        assert len(loaded.house.facts) == count


def test_one_house_is_asked_for_and_several_are_there(tmp_path: Path) -> None:
    """
    A folder of two houses is not one house, and says so.
    """
    write(tmp_path, {"a.yaml": HOUSE, "b.yaml": HOUSE.replace("mill-loft", "b")})

    loaded = load_house(tmp_path)

    assert loaded.house is None
    assert [p.what for p in loaded.problems] == ["The folder holds 2 houses, and one is wanted."]


def test_a_folder_without_houses_is_a_problem(tmp_path: Path) -> None:
    """
    An empty folder, a missing one and one of something else are told, not raised.
    """
    write(tmp_path, {"empty/.hidden": "", "other/m/readme.md": "text"})

    for name, what in (
        ("empty", "No house is in this folder."),
        ("missing", "There is no such file or folder."),
        ("other", "The folder has no house.yaml."),
    ):
        library = load_houses(tmp_path / name)
        assert library.houses == {}
        assert [p.what for p in library.problems] == [what]


def test_what_lies_in_a_house_and_is_not_read_is_told(tmp_path: Path) -> None:
    """
    A file in the wrong place or with the wrong ending would be a fact that no guest gets.
    """
    library = load(
        tmp_path,
        {
            "m/house.yaml": HOUSE,
            "m/water.yaml": "- {id: a, text: A.}\n",
            "m/facts/doors.txt": "- {id: b, text: B.}\n",
            "m/note/c.md": "text",
            "m/README.md": "for us",
        },
    )

    assert list(library.houses) == ["mill-loft"]
    assert [(p.file, p.severity) for p in library.problems] == [
        ("m/facts/doors.txt", Severity.WARNING),
        ("m/note", Severity.WARNING),
        ("m/water.yaml", Severity.WARNING),
    ]
    assert 'Did you mean "notes"?' in library.problems[1].mend


def test_a_house_without_facts_is_a_warning(tmp_path: Path) -> None:
    """
    A house of which nothing is known loads, and its host is told what that means.
    """
    library = load(tmp_path, {"m.yaml": HEADER})

    assert heads(library) == [
        "m.yaml:1: warning: The house has no facts, so that every question is a gap."
    ]
    assert library.house("mill-loft").facts == ()


def test_an_unknown_house_names_the_nearest(tmp_path: Path) -> None:
    """
    Asking for a house that is not there says which one was probably meant.
    """
    library = load(tmp_path, {"m.yaml": HOUSE})

    with pytest.raises(UnknownHouseError, match=r'"mil-loft"\. Did you mean "mill-loft"\?'):
        library.house("mil-loft")


def test_a_code_in_the_greeting_is_a_warning(tmp_path: Path) -> None:
    """
    Greeting and sign-off go to everyone who writes, verified or not.
    """
    header = HEADER + 'sign_off: "The code is {gate_code}"\nvalues: {gate_code: "4471"}\n'

    library = load(tmp_path, {"m.yaml": header + FACTS})

    assert heads(library) == [
        "m.yaml:10: warning: sign_off seems to say a code or password, "
        "and goes to everyone who writes."
    ]


def test_numbers_to_doubt_are_warnings(tmp_path: Path) -> None:
    """
    An emergency number for mobiles only and a phone number not in use are told, not refused.
    """
    header = HEADER.replace("GB", "MA").replace('"999"', '"112"') + 'call_back: "0522 000"\n'

    library = load(tmp_path, {"m.yaml": header.replace("0522 000", "+212 100000000") + FACTS})

    assert [p.field for p in library.problems] == ["emergency_number", "call_back"]
    assert library.errors == ()


def test_secrets_are_in_no_problem(tmp_path: Path) -> None:
    """
    Whatever is wrong with a sensitive fact, no problem repeats a word of its text.
    """
    marked = "sensitive: true"
    text = f'"The password is {SECRET}."'
    name = SECRET.replace("-", "_")
    slips = [
        (marked, "sensitve: true"),
        (marked, "sensitive: yes"),
        (marked, f"{marked}\n    related: [{SECRET}]"),
        (marked, f"{marked}\n    verified_on: {SECRET}"),
        (marked, f"{marked}\n    {SECRET}: x"),
        (marked, f"{marked}\n    media: {{url: {SECRET}, start: {SECRET}}}"),
        (marked, f"{marked}\n    season: {{from: {SECRET}, to: {SECRET}}}"),
        ("id: wifi-password", f"id: {SECRET}!"),
        (text, f'"The password is {{{name}}}."'),
        (text, f'"The password is {{{SECRET}."'),
        (text, f"The: {SECRET}: x"),
        (text, f'"{SECRET}'),
        (text, f"[{SECRET}]"),
        (text, f"&{SECRET} a"),
        (text, f"!{SECRET} a"),
        (text, f"*{SECRET}"),
    ]
    for number, (old, new) in enumerate(slips):
        changed = HOUSE.replace(old, new)
        assert changed != HOUSE
        library = load(tmp_path / str(number), {"m.yaml": changed})
        assert library.problems, new
        told = "\n".join(map(str, library.problems))
        assert SECRET not in told
        assert name not in told
