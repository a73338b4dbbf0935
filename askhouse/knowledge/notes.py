"""How-to notes: Markdown with front matter, taken apart into lines to be read out.

A note keeps its order: paragraphs, headings and numbered steps come out as
plain text exactly as they stand in the file. What Markdown can do and a text
message cannot (emphasis, links, code) is turned into its words.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import Enum, auto

from markdown_it import MarkdownIt
from markdown_it.token import Token

from askhouse.knowledge.problems import Problem
from askhouse.values import Section

__all__ = ["Block", "BlockKind", "blocks_of", "note_text", "sections_of", "split_note"]

_FENCE = "---"
_COMMENT = re.compile(r"<!--.*?-->", re.DOTALL)


class BlockKind(Enum):
    """What a line of a note is."""

    HEADING = auto()
    TEXT = auto()
    STEP = auto()


@dataclass(frozen=True, slots=True)
class Block:
    """A heading, a paragraph or a step: its words, its number as a step, its line (from 1)."""

    kind: BlockKind
    text: str
    line: int
    number: int = 0

    def __str__(self) -> str:
        return f"{self.number}. {self.text}" if self.kind is BlockKind.STEP else self.text


def split_note(file: str, text: str) -> tuple[str, str, int] | Problem:
    """Front matter, body, and the body's first line; or the problem that there is none."""
    lines = text.split("\n")
    if lines[0].rstrip() != _FENCE:
        return Problem(
            file=file,
            line=1,
            field="",
            what="The note has no front matter.",
            mend="Begin it with a line ---, then `title:` and `topic:`, then a line --- again.",
        )
    for number, line in enumerate(lines[1:], 2):
        if line.rstrip() == _FENCE:
            return "\n".join(lines[1 : number - 1]), "\n".join(lines[number:]), number + 1
    return Problem(
        file=file,
        line=1,
        field="",
        what="The front matter is opened here and never closed.",
        mend="Put a line --- after its last field.",
    )


def blocks_of(body: str, first_line: int) -> tuple[Block, ...]:
    """The body's headings, paragraphs and steps in order."""
    # Markup of the web is read as text, since a note is not a web page; but what a host hides
    # from a reader of the file must not be read to a guest either.
    shown = _COMMENT.sub(lambda comment: "\n" * comment[0].count("\n"), body)
    tokens = MarkdownIt("commonmark", {"html": False}).parse(shown)
    return tuple(block for block in _Walk(first_line).blocks(tokens) if block.text)


class _Walk:
    """One pass over Markdown's tokens, remembering the list one is in."""

    def __init__(self, first_line: int) -> None:
        self._first_line = first_line
        self._lists: list[int | None] = []  # the next number; None for a list of bullets
        self._open_step: Block | None = None

    def blocks(self, tokens: Sequence[Token]) -> Iterator[Block]:
        kind = BlockKind.TEXT
        for token in tokens:
            if token.type in ("ordered_list_open", "bullet_list_open"):
                self._lists.append(_first_number(token))
            elif token.type in ("ordered_list_close", "bullet_list_close"):
                self._lists.pop()
            elif token.type == "list_item_close" and len(self._lists) == 1:
                yield from self._close_step()
            elif token.type == "list_item_open":
                self._open_item(token)
            elif token.type == "heading_open":
                kind = BlockKind.HEADING
            elif token.type == "heading_close":
                kind = BlockKind.TEXT
            elif token.type in ("inline", "fence", "code_block"):
                yield from self._words(token, kind)

    def _open_item(self, token: Token) -> None:
        number = self._lists[0]
        if len(self._lists) == 1 and number is not None:
            self._open_step = Block(BlockKind.STEP, "", self._line(token), number)
            self._lists[0] = number + 1

    def _close_step(self) -> Iterator[Block]:
        if self._open_step is not None:
            yield self._open_step
        self._open_step = None

    def _words(self, token: Token, kind: BlockKind) -> Iterator[Block]:
        words = _plain(token).strip()
        step = self._open_step
        if step is not None:
            # A second paragraph or an inner list belongs to its step.
            joined = f"{step.text} {words}".strip()
            self._open_step = Block(BlockKind.STEP, joined, step.line, step.number)
        else:
            bullet = "- " if self._lists and words else ""
            yield Block(kind, bullet + words, self._line(token))

    def _line(self, token: Token) -> int:
        return self._first_line + (token.map[0] if token.map else 0)


def _first_number(token: Token) -> int | None:
    if token.type == "bullet_list_open":
        return None
    return int(token.attrGet("start") or 1)


def _plain(token: Token) -> str:
    """The words of a token, without their markup; a link keeps its address."""
    if token.children is None:
        return token.content
    words = ""
    for child in token.children:
        if child.type in ("softbreak", "hardbreak"):
            words += " " if child.type == "softbreak" else "\n"
        elif child.type == "link_open":
            href = str(child.attrGet("href") or "")
            address = href
            started = len(words)
        elif child.type == "link_close":
            if words[started:] != address:
                words += f" ({address})"
        elif child.type == "image":
            words += f"{child.content} ({child.attrGet('src')})"
        else:
            words += child.content
    return words


def sections_of(blocks: Sequence[Block]) -> tuple[Section, ...]:
    """The note in sections; text after steps begins a section without a heading.

    A section says its text before its steps. So that order is kept, a paragraph below the
    steps cannot belong to the same one.
    """
    sections: list[Section] = []
    heading, texts, steps = "", [], []  # type: str, list[str], list[str]

    def close() -> None:
        if heading or texts or steps:
            sections.append(Section(heading, "\n".join(texts), tuple(steps)))

    for block in blocks:
        if block.kind is BlockKind.STEP:
            steps.append(block.text)
            continue
        if block.kind is BlockKind.HEADING or steps:
            close()
            heading, texts, steps = "", [], []
        if block.kind is BlockKind.HEADING:
            heading = block.text
        else:
            texts.append(block.text)
    close()
    return tuple(sections)


def note_text(blocks: Sequence[Block]) -> str:
    """The whole note as it is read: a line each, an empty line before a heading."""
    lines: list[str] = []
    before: BlockKind | None = None
    for block in blocks:
        after_steps = before is BlockKind.STEP and block.kind is not BlockKind.STEP
        if after_steps or (before is not None and block.kind is BlockKind.HEADING):
            lines.append("")
        lines.append(str(block))
        before = block.kind
    return "\n".join(lines)
