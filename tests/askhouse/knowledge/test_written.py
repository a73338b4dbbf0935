"""YAML as it is written: lines, plain texts, and every way a file can be unreadable."""

from __future__ import annotations

import pytest

from askhouse.knowledge.problems import Problem, Severity
from askhouse.knowledge.written import MAX_FILE_BYTES, decode, field_name, read_yaml


def test_texts_keep_their_characters() -> None:
    """
    What YAML would make a number, a date or Norway's "no" stays the text in the file.
    """
    written, problems = read_yaml(
        "a.yaml", "a: 000\nb: 0123\nc: NO\nd: 2026-03-14\ne: 16:00\nf: 1e3\ng: true\nh:\n"
    )

    assert problems == []
    assert written.values == {
        "a": "000",
        "b": "0123",
        "c": "NO",
        "d": "2026-03-14",
        "e": "16:00",
        "f": "1e3",
        "g": True,
        "h": None,
    }


def test_every_key_and_item_has_its_line() -> None:
    """
    A place has the line of its key; a place that is not in the file has that of the thing around.
    """
    written, _ = read_yaml(
        "a.yaml", "a: 1\n\nfacts:\n  - id: x\n    text: >\n      long\n  - id: y\n"
    )

    assert written.line(("facts", 0, "text")) == 5
    assert written.line(("facts", 1)) == 7
    assert written.line(("facts", 1, "topic")) == 7
    assert written.line(("nothing",)) == 1


def test_front_matter_counts_lines_of_the_whole_file() -> None:
    """
    A text that begins on the second line of its file has its lines counted from there.
    """
    written, _ = read_yaml("a.md", "title: a\ntopic: b\n", first_line=2)

    assert written.line(("topic",)) == 3


@pytest.mark.parametrize(
    ("place", "name"),
    [
        (("facts", 3, "text"), "facts[3].text"),
        # a file of facts is itself the list
        ((3, "text"), "facts[3].text"),
        (("values", "hot_tub", "set_point"), "values.hot_tub.set_point"),
        # a misspelt field is shown, a word that might be a secret is not
        ((0, "sensitve"), "facts[0].sensitve"),
        ((0, "porchswing"), "facts[0].(a name)"),
        (("values", "door 4471"), "values.(a name)"),
        ((), ""),
    ],
)
def test_a_place_is_named_as_a_host_reads_it(place: tuple[str | int, ...], name: str) -> None:
    """
    A place reads like a path, and shows no name that no field has.
    """
    assert field_name(place) == name


@pytest.mark.parametrize(
    ("text", "line", "what"),
    [
        # what an editor puts in unseen
        ("a: b\nc:\n\td: e\n", 3, "The line is indented with a tab."),
        ("a: b\nc: \x07\n", 2, "An invisible control character stands here."),
        # punctuation of English that is punctuation of YAML
        ("a: b\ntext: Note: shut it\n", 2, "A colon stands where none can be read."),
        ("a: @home\n", 1, "A text begins with a character that has another meaning"),
        ("a: %5\n", 1, "A text begins with a character that has another meaning"),
        ("a: * ring twice\n", 1, "A text begins with a character that has another meaning"),
        ("a: & so on\n", 1, "A text begins with a character that has another meaning"),
        ("a: >5 people\n", 1, "A text begins with a character that has another meaning"),
        ("a: , then\n", 1, "A text begins with a character that has another meaning"),
        ('a: b\nc: "C:\\door"\n', 2, "A backslash stands in double quotes."),
        # what is opened and never closed is told where it is opened
        ("a: b\nc: 'it\nd: e\n", 2, "A quotation mark is opened here and never closed."),
        ("a: b\nc: [1, 2\n", 2, "A bracket is opened here and never closed"),
        # lines that do not fit together
        ("a: b\n- c\n", 2, "This line does not fit the lines above it."),
        ("a: 'it's shut'\n", 1, "This line does not fit the lines above it."),
        ('a: "shut" always\n', 1, "This line does not fit the lines above it."),
        ("just words\na: b\n", 2, "A colon stands where none can be read."),
        ("a: - b\n   - c\n", 1, "A list begins behind a name."),
        ("a: b\nword\nc: d\n", 2, "A line has no colon after its name."),
        ("a: b\n---\nc: d\n", 2, "A line of three dashes (---) starts a second document."),
        ("[" * 5000, 1, "The file is nested too deeply to be read."),
    ],
)
def test_what_is_not_yaml_is_one_problem_with_its_line(text: str, line: int, what: str) -> None:
    """
    A file that YAML cannot read says so in a host's words, on the line to look at.
    """
    written, problems = read_yaml("a.yaml", text)

    assert written.values is None
    assert [(p.line, p.what[: len(what)]) for p in problems] == [(line, what)]


@pytest.mark.parametrize(
    ("text", "line", "told"),
    [
        ("text: b\nname: c\ntext: d\n", 3, "text stands twice; the first is on line 1."),
        ("text: b\nname: &x c\n", 2, "name uses an anchor or alias (& or *)."),
        ("text: &x b\nname: *x\n", 2, "name uses an anchor or alias (& or *)."),
        ("text: !secret b\n", 1, "text uses a tag (!)."),
        ("text: b\n? [c]\n: d\n", 2, "The file has a line without a name."),
    ],
)
def test_what_yaml_allows_and_a_house_file_does_not(text: str, line: int, told: str) -> None:
    """
    Doubled keys, anchors, aliases and tags are told, and the rest of the file is still read.
    """
    written, problems = read_yaml("a.yaml", text)

    assert isinstance(written.values, dict)
    assert (line, told) in [(p.line, f"{p.field} {p.what}") for p in problems]


def test_aliases_that_unfold_without_end_are_not_unfolded() -> None:
    """
    A file of nine lines that stands for a billion texts is read at once, as problems.
    """
    rows = ["a0: &a0 [x, x]"]
    rows += [f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 9)}]" for n in range(1, 9)]

    _, problems = read_yaml("a.yaml", "\n".join(rows))

    assert len(problems) >= 9


@pytest.mark.parametrize(
    ("text", "cut"),
    [
        ("text: Ring bell #12 now\n", True),
        ("- a\n- Ring #12\n", True),
        # a remark has a space behind its mark, a quoted text is whole
        ("text: Ring bell  # ours\n", False),
        ('text: "Ring bell #12"\n', False),
        ("text: |\n  Ring bell #12\n", False),
    ],
)
def test_a_text_that_yaml_cuts_off_at_a_hash_is_a_warning(text: str, cut: bool) -> None:
    """
    A text without quotes ends at " #" for YAML; where that is no remark, the host is told.
    """
    _, problems = read_yaml("a.yaml", text)

    assert [p.severity for p in problems] == ([Severity.WARNING] if cut else [])


def test_a_file_that_is_not_utf_8_names_the_line() -> None:
    """
    The first character that is not UTF-8 is told with its line, without the character.
    """
    problem = decode("a.yaml", b"a: b\nc: caf\xe9\n")

    assert isinstance(problem, Problem)
    assert (problem.line, problem.what) == (2, "The file is not UTF-8 text.")


def test_marks_and_line_ends_of_other_systems_are_read() -> None:
    """
    A byte order mark is left out, and each kind of line end counts as one line.
    """
    assert decode("a.yaml", b"\xef\xbb\xbfa\r\nb\rc\n") == "a\nb\nc\n"


def test_a_character_that_no_one_can_see_names_its_line() -> None:
    """
    A control character is told in a note as well, whose Markdown would let it through.
    """
    problem = decode("a.md", b"a\nb\tc\nd\x00\n")

    assert isinstance(problem, Problem)
    assert (problem.line, problem.what) == (3, "An invisible control character stands here.")


def test_a_file_far_larger_than_a_house_is_not_read() -> None:
    """
    One byte above the limit is a problem; at the limit the file is read.
    """
    assert isinstance(decode("a.yaml", b"a" * (MAX_FILE_BYTES + 1)), Problem)
    assert decode("a.yaml", b"a" * MAX_FILE_BYTES) == "a" * MAX_FILE_BYTES
