"""What a YAML parser says about a file it cannot read, in a host's words.

The border to ruamel.yaml. Its own sentences are not shown: they speak of
tokens and scalars, and they may quote the file, secrets included.
"""

from __future__ import annotations

from ruamel.yaml.error import MarkedYAMLError
from ruamel.yaml.reader import ReaderError

from askhouse.knowledge.problems import Problem

__all__ = ["control_character", "nested_too_deep", "syntax_problem"]


def nested_too_deep(file: str) -> Problem:
    """Brackets in brackets without end."""
    return Problem(
        file=file,
        line=1,
        field="",
        what="The file is nested too deeply to be read.",
        mend="A house file has at most four levels; look for brackets that are never closed.",
    )


# Words in what the parser says → what is wrong, and what a host can do about it.
_SYNTAX: tuple[tuple[str, str, str], ...] = (
    (
        "mapping values are not allowed",
        "A colon stands where none can be read.",
        'Put the whole text in double quotes ("..."), or check the indentation of this line.',
    ),
    (
        "found unexpected end of stream",
        "A quotation mark is opened here and never closed.",
        "Close it at the end of the text.",
    ),
    (
        "found unknown escape character",
        "A backslash stands in double quotes.",
        "Write it twice, or use single quotes.",
    ),
    (
        "expected a single document",
        "A line of three dashes (---) starts a second document.",
        "Remove the line; a file holds one house or one list of facts.",
    ),
    (
        "expected ',' or",
        "A bracket is opened here and never closed, or a comma is missing.",
        "Close the bracket, or put the text in double quotes.",
    ),
    (
        "could not find expected ':'",
        "A line has no colon after its name.",
        "Write `name: value`, or put a text of several lines in double quotes.",
    ),
    (
        "expected <block end>",
        "This line does not fit the lines above it.",
        "Give the lines of one fact the same number of spaces; and in a text in quotes, put a "
        "backslash before each inner quotation mark, or use the other kind around it.",
    ),
    (
        "<document start>",
        "This line does not fit the lines above it.",
        "Begin each line of a house with `name: value`, without spaces before it.",
    ),
    (
        "sequence entries are not allowed",
        "A list begins behind a name.",
        "Put each `- ` on a line of its own.",
    ),
    *(
        (
            words,
            "A text begins with a character that has another meaning (such as @, %, *, & or ,).",
            'Put the text in double quotes ("...").',
        )
        for words in (
            "cannot start any token",
            "expected the node content",
            "expected alphabetic or numeric",
            "scanning a block scalar",
            "scanning a tag",
            "parsing an tag",
        )
    ),
)


def control_character(file: str, text: str, at: int) -> Problem:
    """A character that no one can see and no one meant."""
    return Problem(
        file=file,
        line=text.count("\n", 0, at) + 1,
        field="",
        what="An invisible control character stands here.",
        mend="Delete what is around it and type it anew.",
    )


def syntax_problem(file: str, text: str, error: Exception) -> Problem:
    """What the parser's error means for the file, with the line a host should look at."""
    if isinstance(error, RecursionError):
        return nested_too_deep(file)
    line, what, mend = 1, "This is not YAML that can be read.", "Check quotes, colons and brackets."
    if isinstance(error, ReaderError):
        return control_character(file, text, error.position)
    if isinstance(error, MarkedYAMLError):
        said = f"{error.problem} {error.context}"
        line = _line(error, said)
        what, mend = next(((w, m) for words, w, m in _SYNTAX if words in said), (what, mend))
        tab = _tab_line(text)
        if "'\\t'" in said and tab is not None:
            line, what, mend = tab, "The line is indented with a tab.", _MEND_TAB
    return Problem(file=file, line=line, field="", what=what, mend=mend)


_MEND_TAB = "Use spaces; YAML reads no tabs."


def _line(error: MarkedYAMLError, said: str) -> int:
    # For what is opened and never closed, the opening helps more than the end of the file.
    opened = any(words in said for words in ("end of stream", "expected ',' or", "expected ':'"))
    mark = error.context_mark if opened and error.context_mark else error.problem_mark
    return 1 if mark is None else mark.line + 1


def _tab_line(text: str) -> int | None:
    rows = enumerate(text.split("\n"), 1)
    return next((n for n, row in rows if "\t" in row[: len(row) - len(row.lstrip())]), None)
