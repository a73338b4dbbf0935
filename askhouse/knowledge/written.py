"""A YAML file as it is written: plain values, and the line of each.

The first step of loading. Only here is YAML known; its errors are mapped here
to sentences for a host. Three liberties of YAML are taken away, because each
has surprised people who only wanted to write down a fact:

- Everything but true, false and nothing stays the text that stands in the
  file. `emergency_number: 000`, `wifi_password: 0123` and `country: NO` keep
  their characters; what needs a number or a date reads it from the text.
- A key that stands twice is a problem, and both lines are named.
- Anchors, aliases and tags are not read; a file says what it says where it
  says it. This also ends files that would unfold without end.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TypeAlias, cast

from ruamel.yaml import YAML
from ruamel.yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from askhouse.knowledge.near import nearest
from askhouse.knowledge.problems import Problem, Severity
from askhouse.knowledge.schema import FIELD_NAMES
from askhouse.knowledge.yaml_faults import control_character, nested_too_deep, syntax_problem

__all__ = ["MAX_FILE_BYTES", "Place", "Written", "decode", "field_name", "read_yaml"]

Place: TypeAlias = tuple[str | int, ...]
"""The way to a value in a file, such as `("facts", 3, "text")`."""

# A house of a thousand facts has about 200 000 bytes. More than five times that is
# not a house file, and reading it would keep everyone waiting.
MAX_FILE_BYTES = 1_000_000

# No editor shows these, and no phone does.
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")

_NULL = "tag:yaml.org,2002:null"
_BOOL = "tag:yaml.org,2002:bool"
_PLAIN_TAGS = frozenset(
    f"tag:yaml.org,2002:{name}"
    for name in ("null", "bool", "int", "float", "str", "timestamp", "map", "seq", "merge", "value")
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """What a file says, and where it says it.

    Attributes:
        file: As the host knows it.
        text: The whole file, for finding a line again.
        values: Mappings, lists, texts, true, false and None.
        lines: The line (from 1) of the key, or of the list's item, of each place.
    """

    file: str
    text: str
    values: object = None
    lines: Mapping[Place, int] = field(default_factory=dict)

    def line(self, place: Place) -> int:
        """The line of that place, or of the nearest thing around it."""
        while place and place not in self.lines:
            place = place[:-1]
        return self.lines.get(place, 1)

    def line_of(self, place: Place, words: str) -> int:
        """The line in which these words stand, at or after the place; else the place's own."""
        start = self.line(place)
        for number, line in enumerate(self.text.split("\n")[start - 1 :], start):
            if words in line:
                return number
        return start

    def problem(
        self,
        place: Place,
        what: str,
        mend: str,
        *,
        severity: Severity = Severity.ERROR,
        line: int | None = None,
    ) -> Problem:
        """A problem at that place of this file."""
        return Problem(
            file=self.file,
            line=self.line(place) if line is None else line,
            field=field_name(place),
            what=what,
            mend=mend,
            severity=severity,
        )


def field_name(place: Place) -> str:
    """A place as a host reads it: `("facts", 3, "text")` → `facts[3].text`.

    A file of facts is itself the list, so its items are called facts as well.
    """
    name = "facts" if place and isinstance(place[0], int) else ""
    for step in place:
        if isinstance(step, int):
            name += f"[{step}]"
        else:
            shown = step if _may_be_shown(step, place) else "(a name)"
            name += f".{shown}" if name else shown
    return name


def _may_be_shown(name: str, place: Place) -> bool:
    """Whether a name can be no secret: a field, a misspelt field, or the name of a value.

    A host who forgot a quotation mark may have made a field's name of a door code.
    """
    of_value = place[0] == "values" and re.fullmatch(r"[A-Za-z](?!.*\d\d\d)[\w-]{0,30}", name)
    return name in FIELD_NAMES or bool(of_value) or nearest(name, FIELD_NAMES) is not None


def decode(file: str, content: bytes) -> str | Problem:
    """The text of a file, or the problem that it is not text."""
    if len(content) > MAX_FILE_BYTES:
        return Problem(
            file=file,
            line=1,
            field="",
            what=f"The file is larger than {MAX_FILE_BYTES:,} bytes.",
            mend="Split it by topic, or move what is not a fact out of this folder.",
        )
    try:
        text = content.decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")
    except UnicodeDecodeError as error:
        return Problem(
            file=file,
            line=content.count(b"\n", 0, error.start) + 1,
            field="",
            what="The file is not UTF-8 text.",
            mend="Save it as UTF-8 in your editor; the character that cannot be read is here.",
        )
    unseen = _CONTROL.search(text)
    return text if unseen is None else control_character(file, text, unseen.start())


def read_yaml(file: str, text: str, *, first_line: int = 1) -> tuple[Written, list[Problem]]:
    """What the text says; where it cannot be read, no values and the problem.

    `first_line` is the line of the file on which the text begins, for the
    front matter of a note.
    """
    padded = "\n" * (first_line - 1) + text
    empty = Written(file=file, text=padded)
    try:
        node = _composed(padded)
    # Whatever a text can do to a parser that others wrote is a problem of this file
    # and of no other: the remaining houses must load.
    except Exception as error:
        return empty, [syntax_problem(file, padded, error)]
    if node is None:
        return empty, []
    reading = _Reading(file, padded)
    try:
        values = reading.value(node, ())
    except RecursionError:
        return empty, [nested_too_deep(file)]
    return Written(file=file, text=padded, values=values, lines=reading.lines), reading.problems


# An anchor or alias, or a # behind a word: the parser in C tells neither as this module needs it.
_FOR_PYTHON = re.compile(r"[&*]|\S[^\n]*#")


def _composed(text: str) -> Node | None:
    """The parsed nodes; by the parser in C, five times as fast, where it tells the same."""
    if not _FOR_PYTHON.search(text):
        try:
            return cast("Node | None", YAML(typ="safe").compose(text))
        except Exception:  # the parser in Python says better what is wrong
            pass
    return cast("Node | None", YAML(typ="safe", pure=True).compose(text))


class _Reading:
    """One walk over the parsed nodes: values, lines and problems as they are met."""

    def __init__(self, file: str, text: str) -> None:
        self.file = file
        self.rows = text.split("\n")
        self.lines: dict[Place, int] = {}
        self.problems: list[Problem] = []
        self._seen: set[int] = set()

    def value(self, node: Node, place: Place) -> object:
        # The line of its name where it has one: an alias has its anchor's place for its own.
        line = self.lines.setdefault(place, node.start_mark.line + 1)
        if id(node) in self._seen or node.anchor:
            self._complain(line, place, "uses an anchor or alias (& or *).", "Write it out here.")
        elif str(node.tag) not in _PLAIN_TAGS:
            self._complain(line, place, "uses a tag (!).", "Remove it, or put the text in quotes.")
        else:
            self._seen.add(id(node))
            if isinstance(node, MappingNode):
                return self._mapping(node, place)
            if isinstance(node, SequenceNode):
                return [self.value(item, (*place, i)) for i, item in enumerate(node.value)]
            if isinstance(node, ScalarNode):
                self._look_for_cut(node, place)
                return _scalar(node)
        return None

    def _look_for_cut(self, node: ScalarNode, place: Place) -> None:
        """`text: Ring #12 is ours` ends at `Ring` for YAML, and no one would notice."""
        end = node.end_mark
        rest = self.rows[end.line][end.column :] if end.line < len(self.rows) else ""
        if node.style is None and re.match(r"\s*#[^\s#]", rest):
            self.problems.append(
                Problem(
                    file=self.file,
                    line=end.line + 1,
                    field=field_name(place),
                    what="is cut off at a #, since YAML takes the rest for a remark.",
                    mend='Put the whole text in double quotes; or write "# " if it is a remark.',
                    severity=Severity.WARNING,
                )
            )

    def _mapping(self, node: MappingNode, place: Place) -> dict[str, object]:
        values: dict[str, object] = {}
        for key_node, value_node in node.value:
            line = key_node.start_mark.line + 1
            if not isinstance(key_node, ScalarNode) or not key_node.value:
                self._complain(line, place, "has a line without a name.", "Write `name: value`.")
                continue
            key = _whole(str(key_node.value))
            if key in values:
                first = self.lines[(*place, key)]
                what = f"stands twice; the first is on line {first}."
                self._complain(line, (*place, key), what, "Keep one of the two.")
                continue
            self.lines[(*place, key)] = line
            values[key] = self.value(value_node, (*place, key))
        return values

    def _complain(self, line: int, place: Place, what: str, mend: str) -> None:
        name = field_name(place) or "The file"
        self.problems.append(Problem(file=self.file, line=line, field=name, what=what, mend=mend))


def _scalar(node: ScalarNode) -> str | bool | None:
    if str(node.tag) == _NULL:
        return None
    if str(node.tag) == _BOOL and node.value.lower() in ("true", "false"):
        return bool(node.value.lower() == "true")
    return _whole(str(node.value))


def _whole(text: str) -> str:
    """The text with the halves of characters that escapes make (`"\\ud83d\\ude00"`) joined.

    A half without its other half is no character; it becomes the sign for that (U+FFFD), since
    it could be neither printed nor stored.
    """
    if not any("\ud800" <= character <= "\udfff" for character in text):
        return text
    return text.encode("utf-16", "surrogatepass").decode("utf-16", "replace")
