"""One slip a file: where it is told, and in which words.

Each row puts one thing into a house that is otherwise right and says the
first line of the problem. A row a rule; nothing else may be told.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.askhouse.knowledge.files import FACTS, HEADER, HOUSE, heads, load


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        # names
        ("slug: mill-loft", "slug: Mill Loft", "1: slug is not a name of lower-case letters"),
        ("slug: mill-loft\n", "", "1: slug is missing."),
        ("name: Mill Loft", "name:", "2: name is empty."),
        ("name: Mill Loft", "name: ' '", "2: name is empty."),
        ("name: Mill Loft", "nam: Mill Loft", "1: name is missing."),
        ("kind: loft", "kind: [loft]\n#", "3: kind must be a text."),
        # the country and what hangs on it
        ("country: GB", "country: UK", "4: country is not the code of a country."),
        ("timezone: Europe/London", "timezone: GMT+1", "5: timezone is not a time zone."),
        ('"999"', '"911"', "9: emergency_number (911) is no emergency number in United Kingdom."),
        ('"999"', '"call us"', "9: emergency_number is not one number."),
        ('"999"\n', '"999"\ncall_back: "12"\n', "10: call_back is too long or too short"),
        ('"999"\n', '"999"\ncall_back: me\n', "10: call_back is not a phone number."),
        # measures and times
        ("units: metric", "units: feet", "6: units is none of the words it may be."),
        ('check_in: "16:00"', "check_in: late", "7: check_in is not a time."),
        ('check_in: "16:00"', "check_in: [16]", "7: check_in must be a time."),
        ('check_out: "10:00"', 'check_out: "25:00"', "8: check_out is not a time."),
        # values
        ('"999"\n', '"999"\nvalues: [a]\n', "10: values must be a group of named values."),
        ('"999"\n', '"999"\ngreeting: "{nme}"\n', "10: greeting has {nme}, and no value is called"),
        # what is no field of a house
        ('"999"\n', '"999"\ngreetng: Hi\n', "10: greetng is not a field of a house."),
        ('"999"\n', '"999"\nname: Again\n', "10: name stands twice; the first is on line 2."),
    ],
)
def test_a_slip_in_the_header(tmp_path: Path, old: str, new: str, told: str) -> None:
    """
    A wrong field of the house is told on its line, once, and leaves the house out.
    """
    assert old in HOUSE
    library = load(tmp_path, {"m.yaml": HOUSE.replace(old, new)})

    first, *rest = heads(library)
    assert first.startswith(f"m.yaml:{told}")
    # a misspelt field is missing and unknown
    assert rest == (["m.yaml:2: nam is not a field of a house."] if new.startswith("nam:") else [])
    assert library.houses == {}


@pytest.mark.parametrize(
    ("facts", "told"),
    [
        # what a fact must have
        ("- text: A.\n", "1: facts[0].id is missing."),
        ("- id: a\n", "1: facts[0].text is missing."),
        ("- id: a\n  text:\n", "2: facts[0].text is empty."),
        ("- id: a\n  text: ''\n", "2: facts[0].text is empty."),
        ("- id: a\n  topic: ''\n  text: A.\n", "2: facts[0].topic is empty."),
        ("- id: A b\n  text: A.\n", "1: facts[0].id is not a name of lower-case letters"),
        # forms of fields
        ("- id: a\n  text: [A]\n", "2: facts[0].text must be a text."),
        ("- id: a\n  text: true\n", "2: facts[0].text must be a text."),
        ("- id: a\n  text: A.\n  asks: where\n", "3: facts[0].asks must be a list."),
        ("- id: a\n  text: A.\n  asks:\n", "3: facts[0].asks is empty."),
        ("- id: a\n  text: A.\n  asks:\n  - b\n  -\n", "5: facts[0].asks[1] is empty."),
        ("- id: a\n  text: A.\n  sensitive: yes\n", "3: facts[0].sensitive must be true or false."),
        ("- id: a\n  text: A.\n  verified_on: May\n", "3: facts[0].verified_on is not a date."),
        ("- id: a\n  text: A.\n  verified_on: [a]\n", "3: facts[0].verified_on must be a date."),
        ("- id: a\n  text: A.\n  media: b\n", "3: facts[0].media must be a group of named values."),
        (
            "- id: a\n  text: A.\n  media: {url: 'ftp://a.b'}\n",
            "3: facts[0].media.url is not a link.",
        ),
        (
            "- id: a\n  text: A.\n  media:\n    url: 'https://a.example'\n    start: '1:99'\n",
            "5: facts[0].media.start is not a time in a film.",
        ),
        # seasons
        ("- id: a\n  text: A.\n  season: {from: 11-01}\n", "3: facts[0].season.to is missing."),
        (
            "- id: a\n  text: A.\n  season: {from: 11-01, to: 2026-01-01}\n",
            "3: facts[0].season mixes a day of every year with a full date.",
        ),
        (
            "- id: a\n  text: A.\n  season: {from: 2026-02-01, to: 2026-01-01}\n",
            "3: facts[0].season ends before it begins.",
        ),
        (
            "- id: a\n  text: A.\n  season: {from: 02-30, to: 03-01}\n",
            "3: facts[0].season.from is not a day of a season.",
        ),
        # names that lead nowhere
        ("- id: a\n  text: A.\n  related: [b]\n", "3: facts[0].related[0] is the id of no fact"),
        ("- id: a\n  text: 'A {b}.'\n", "2: facts[0].text has {b}, and no value is called that."),
        ("- id: a\n  text: >\n    A\n    {b}.\n", "4: facts[0].text has {b}, and no value is"),
        ("- id: a\n  text: 'A {.'\n", "2: facts[0].text has a brace that stands alone."),
        (
            "- id: a\n  text: A.\n  cautions: ['{b}']\n",
            "3: facts[0].cautions[0] has {b}, and no value is called that.",
        ),
        # a name that only a sensitive text has is not repeated
        (
            "- id: a\n  sensitive: true\n  text: 'A {b}.'\n",
            "3: facts[0].text has a name in braces, and no value is called that.",
        ),
        # fields that are none
        ("- id: a\n  txt: A.\n  text: A.\n", "2: facts[0].txt is not a field of a fact."),
        (
            "- id: a\n  text: A.\n  media: {url: 'https://a.example', startt: '5'}\n",
            "3: facts[0].media.startt is not a field of `media`.",
        ),
        # files that are no list of facts
        ("", "1: The file is empty."),
        ("# nothing yet\n", "1: The file is empty."),
        ("id: a\ntext: A.\n", "1: The file must be a list of facts."),
        ("- a\n", "1: facts[0] must be a group of named values."),
        ("-\n", "1: facts[0] is empty."),
        ("- id: a\n\ttext: A.\n", "2: The line is indented with a tab."),
        ("- id: a\n  text: A: b.\n", "2: A colon stands where none can be read."),
        (
            "- id: a\n  text: A.\n  text: B.\n",
            "3: facts[0].text stands twice; the first is on line 2.",
        ),
    ],
)
def test_a_slip_in_a_file_of_facts(tmp_path: Path, facts: str, told: str) -> None:
    """
    A wrong fact is told on its line, once, and leaves the house out.
    """
    library = load(tmp_path, {"m/house.yaml": HEADER, "m/facts/x.yaml": facts})

    assert [head[: len(told) + 15] for head in heads(library)] == [f"m/facts/x.yaml:{told}"]
    assert library.houses == {}


@pytest.mark.parametrize(
    ("note", "told"),
    [
        ("", "1: The note has no front matter."),
        ("---\ntitle: A\ntopic: a\n", "1: The front matter is opened here and never closed."),
        ("---\ntitle: A\n---\nGo.\n", "1: topic is missing."),
        ("---\n---\nGo.\n", "1: topic is missing."),
        ("---\ntitle: A\ntopic: a\ntopc: b\n---\nGo.\n", "4: topc is not a field of a note."),
        ("---\ntitle: A\ntopic: a\nid: b\n---\nGo.\n", "4: id is not a field of a note."),
        ("---\ntitle: A\ntopic: a: b\n---\nGo.\n", "3: A colon stands where none can be read."),
        ("---\ntitle: A\ntopic: a\n---\n", "4: The note has no text."),
        ("---\ntitle: A\ntopic: a\n---\n<!-- later -->\n", "4: The note has no text."),
        ("---\ntitle: A\ntopic: a\n---\nGo.\n\n1. To\n   {b}.\n", "8: The note has {b}, and no"),
        ("---\ntitle: A\ntopic: a\nrelated: [b]\n---\nGo.\n", "4: related[0] is the id of no fact"),
        ("---\n- a\n---\nGo.\n", "1: A note must be a group of named values."),
    ],
)
def test_a_slip_in_a_note(tmp_path: Path, note: str, told: str) -> None:
    """
    A wrong note is told on its line of the whole file, and leaves the house out.
    """
    library = load(tmp_path, {"m/house.yaml": HOUSE, "m/notes/a.md": note})

    told_here = [head[: len(told) + 13] for head in heads(library)]
    # a front matter without fields lacks both
    assert told_here[-1] == f"m/notes/a.md:{told}"
    assert len(told_here) == 1 or note.startswith("---\n---")
    assert library.houses == {}


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "m.yaml:1: The file is empty."),
        ("- a\n- b\n", "m.yaml:1: The file is not a house."),
        ("just words\n", "m.yaml:1: The file is not a house."),
        (HEADER + "facts: none\n", "m.yaml:10: facts must be a list of facts."),
        (HEADER + FACTS.replace("id: stopcock", "id: '!'"), "m.yaml:11: facts[0].id is not a name"),
    ],
)
def test_a_file_that_is_no_house(tmp_path: Path, text: str, told: str) -> None:
    """
    A file in the folder of houses that is none is told, since it was meant as one.
    """
    library = load(tmp_path, {"m.yaml": text})

    assert [head[: len(told)] for head in heads(library)] == [told]


def test_every_problem_of_every_file_comes_at_once(tmp_path: Path) -> None:
    """
    Header, values, two files of facts and a note are told in one go, whatever else is wrong.
    """
    library = load(
        tmp_path,
        {
            "m/house.yaml": HEADER.replace("GB", "UK") + "values: {a: {from: x, to: y}}\n",
            "m/facts/a.yaml": "- id: a\n  text: '{a} {b}'\n  asks: c\n- id: b\n",
            "m/facts/b.yaml": "- id: c\n\ttext: C\n",
            "m/notes/d e.md": "---\ntitle: D\n---\nGo to {f}.\n",
        },
    )

    assert [head.split(" ")[0] for head in heads(library)] == [
        "m/facts/a.yaml:2:",
        "m/facts/a.yaml:3:",
        "m/facts/a.yaml:4:",
        "m/facts/b.yaml:2:",
        "m/house.yaml:4:",
        "m/house.yaml:10:",
        "m/house.yaml:10:",
        "m/notes/d",
        "m/notes/d",
        "m/notes/d",
    ]
