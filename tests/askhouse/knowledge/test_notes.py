"""How-to notes: Markdown taken apart in order."""

from __future__ import annotations

import pytest

from askhouse.knowledge.notes import BlockKind, blocks_of, note_text, sections_of, split_note
from askhouse.knowledge.problems import Problem
from askhouse.values import Section

NOTE = """\
Do this when a pipe leaks,
and then ring us.

## Under the sink

Bring a torch.

1. Take the **blue** bucket out.
2. Turn the tap to the right
   until it stops.

Leave it so.

## In the cellar

- the wheel is `red`
- it turns [hard](https://media.example/wheel)
"""


def test_a_note_keeps_its_order_as_plain_text() -> None:
    """
    Paragraphs, headings and numbered steps come out in the order of the file, without markup.
    """
    assert note_text(blocks_of(NOTE, 1)) == (
        "Do this when a pipe leaks, and then ring us.\n"
        "\n"
        "Under the sink\n"
        "Bring a torch.\n"
        "1. Take the blue bucket out.\n"
        "2. Turn the tap to the right until it stops.\n"
        "\n"
        "Leave it so.\n"
        "\n"
        "In the cellar\n"
        "- the wheel is red\n"
        "- it turns hard (https://media.example/wheel)"
    )


def test_a_note_has_sections_and_text_after_steps_begins_one() -> None:
    """
    A section holds a heading, its text, and then its steps; what follows steps is another.
    """
    assert sections_of(blocks_of(NOTE, 1)) == (
        Section("", "Do this when a pipe leaks, and then ring us."),
        Section(
            "Under the sink",
            "Bring a torch.",
            ("Take the blue bucket out.", "Turn the tap to the right until it stops."),
        ),
        Section("", "Leave it so."),
        Section(
            "In the cellar",
            "- the wheel is red\n- it turns hard (https://media.example/wheel)",
        ),
    )


def test_blocks_know_their_lines_in_the_file() -> None:
    """
    A block has the line of the whole file, so that a problem in it can be found.
    """
    blocks = blocks_of(NOTE, 10)

    assert [(b.kind, b.line) for b in blocks[:5]] == [
        (BlockKind.TEXT, 10),
        (BlockKind.HEADING, 13),
        (BlockKind.TEXT, 15),
        (BlockKind.STEP, 17),
        (BlockKind.STEP, 18),
    ]


@pytest.mark.parametrize(
    ("markdown", "text"),
    [
        # steps are numbered as in the file
        ("3. a\n4. b\n", "3. a\n4. b"),
        # a second paragraph and an inner list belong to their step
        ("1. a\n\n   more\n2. b\n   - c\n   - d\n", "1. a more\n2. b c d"),
        # a remark of the host is not read to guests, web markup is no markup
        ("<!-- the old one broke\nin May -->\nUse the new one.", "Use the new one."),
        ("Keep it <b>shut</b>.", "Keep it <b>shut</b>."),
        ("![the tap](https://media.example/tap.jpg)", "the tap (https://media.example/tap.jpg)"),
        ("<https://media.example>", "https://media.example"),
        ("one\\\ntwo", "one\ntwo"),
        ("> said", "said"),
        ("```\ncode\n```\n", "code"),
        ("", ""),
    ],
)
def test_markdown_becomes_its_words(markdown: str, text: str) -> None:
    """
    Every piece of Markdown comes out as what a text message can say.
    """
    assert note_text(blocks_of(markdown, 1)) == text


def test_front_matter_is_split_from_the_body() -> None:
    """
    The body begins on the line after the second row of dashes.
    """
    assert split_note("a.md", "---\ntitle: a\n---\nbody\n") == ("title: a", "body\n", 4)


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("", "The note has no front matter."),
        ("# A title\n", "The note has no front matter."),
        ("---\ntitle: a\n", "The front matter is opened here and never closed."),
    ],
)
def test_a_note_without_front_matter_is_a_problem(text: str, what: str) -> None:
    """
    A note says its title and topic between two rows of dashes, or is told to.
    """
    problem = split_note("a.md", text)

    assert isinstance(problem, Problem)
    assert (problem.line, problem.what) == (1, what)
