"""Where each value of a YAML text begins and ends, to the character.

For changing one value and leaving every other byte: the parser's marks, mended
where they run further than what is written (a folded text's mark stands behind
the empty lines below it).
"""

from __future__ import annotations

import re
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from ruamel.yaml import YAML
from ruamel.yaml.nodes import CollectionNode, MappingNode, Node, ScalarNode
from ruamel.yaml.tokens import BlockEntryToken

__all__ = ["Spans", "Splice", "fields", "newline_of", "spliced"]

_BREAK = re.compile(r"\r\n|\n|\r")


@dataclass(frozen=True, slots=True)
class Splice:
    """The characters from `start` to before `end` are to be replaced by `text`."""

    start: int
    end: int
    text: str


def spliced(text: str, splices: Sequence[Splice]) -> str:
    """The text with all splices done; they must not overlap."""
    ordered = sorted(splices, key=lambda splice: (splice.start, splice.end))
    assert all(a.end <= b.start for a, b in pairwise(ordered))
    for splice in reversed(ordered):
        text = text[: splice.start] + splice.text + text[splice.end :]
    return text


def newline_of(text: str) -> str:
    r"""The line break that a text uses first; `\n` where it has none."""
    found = _BREAK.search(text)
    return found[0] if found else "\n"


class Spans:
    """A parsed YAML text that tells where things stand.

    Raises:
        ruamel.yaml.error.YAMLError: The text is not YAML.
    """

    def __init__(self, text: str) -> None:
        self.text = text
        self.newline = newline_of(text)
        yaml = YAML(typ="safe", pure=True)
        self.root: Node | None = yaml.compose(text)
        self._dashes: list[int] = []
        self._remarks: list[int] = []
        self._scan()

    def _scan(self) -> None:
        behind = 0
        for token in YAML(typ="safe", pure=True).scan(self.text):
            start, end = token.start_mark.index, token.end_mark.index
            # Between two tokens stand only blanks and remarks.
            for found in re.finditer(r"#[^\r\n]*", self.text[behind:start]):
                self._remarks.append(behind + found.start())
            behind = max(behind, end)
            if isinstance(token, BlockEntryToken):
                self._dashes.append(start)

    def has_remark(self, start: int, end: int) -> bool:
        """Whether a remark begins between the two."""
        place = bisect_left(self._remarks, start)
        return place < len(self._remarks) and self._remarks[place] < end

    def line_start(self, place: int) -> int:
        """Where the line of a place begins."""
        return 1 + max(self.text.rfind("\n", 0, place), self.text.rfind("\r", 0, place))

    def line_end(self, place: int) -> int:
        """Where the line of a place ends, before its line break."""
        found = _BREAK.search(self.text, place)
        return found.start() if found else len(self.text)

    def behind_line(self, place: int) -> int:
        """Where the next line begins."""
        found = _BREAK.search(self.text, place)
        return found.end() if found else len(self.text)

    def whole_lines(self, start: int, end: int) -> tuple[int, int]:
        """The lines from one place to another, with the line break that goes when they go."""
        first, behind = self.line_start(start), self.behind_line(end)
        if behind == self.line_end(end) and first:
            # The file has no line break at its end, and shall have none afterwards.
            first -= 2 if self.text[first - 2 : first] == "\r\n" else 1
        return first, behind

    def column(self, place: int) -> int:
        """How many characters stand before a place in its line."""
        return place - self.line_start(place)

    def dash(self, item: Node) -> int:
        """Where the dash of a list's item stands."""
        return self._dashes[bisect_left(self._dashes, item.start_mark.index) - 1]

    def colon(self, key: Node) -> int:
        """The place behind the colon of a name."""
        found = re.compile(r"\s*:").match(self.text, key.end_mark.index)
        return found.end() if found else key.end_mark.index

    def is_empty(self, node: Node) -> bool:
        """Whether nothing is written where a value would stand."""
        return isinstance(node, ScalarNode) and node.start_mark.index == node.end_mark.index

    def end(self, node: Node, key: Node | None = None) -> int:
        """Where what is written for a value ends; `key` is its name, for an empty one."""
        if isinstance(node, ScalarNode):
            if self.is_empty(node):
                return node.end_mark.index if key is None else self.colon(key)
            return self._block_end(node) if node.style in (">", "|") else int(node.end_mark.index)
        if not isinstance(node, CollectionNode) or node.flow_style or not node.value:
            return int(node.end_mark.index)
        last = node.value[-1]
        if isinstance(node, MappingNode):
            return self.end(last[1], last[0])
        return self.end(last)

    def _block_end(self, node: ScalarNode) -> int:
        start, end = int(node.start_mark.index), int(node.end_mark.index)
        written = self.text[start:end]
        header = self.line_end(start)
        # The mark stands behind the empty lines and the spaces of the line that ended it.
        return max(start + len(written.rstrip()), min(header, end))


def fields(node: Node) -> list[tuple[str, Node, Node]]:
    """Name, name's node and value's node of each field of a mapping."""
    assert isinstance(node, MappingNode)
    return [(str(key.value), key, value) for key, value in node.value]
