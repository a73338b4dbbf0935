"""House files in every style that a host may write, drawn by hypothesis."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass

from hypothesis import strategies as st

__all__ = ["Drawn", "fact_files"]

WORDS = ("stove", "the key's", "left: right", "tap", "no #1", "über", "🔥", "it's 5 pm", "- dash")
TEXTS = st.lists(st.sampled_from(WORDS), min_size=1, max_size=14).map(" ".join)
PLAIN = st.lists(st.sampled_from(("stove", "tap", "cold water", "key")), min_size=1, max_size=6)


@dataclass(frozen=True)
class Drawn:
    """A file of facts: its text, the ids in order, and every remark in it."""

    text: str
    ids: tuple[str, ...]
    remarks: tuple[str, ...]


@st.composite
def fact_files(draw: st.DrawFn, head: str = "", column: int = 0) -> Drawn:
    """A list of facts, in a file of its own or under `facts:` of `head`."""
    writer = _Writer(draw, column)
    ids = tuple(f"fact-{number}" for number in range(draw(st.integers(1, 4))))
    lines = writer.remark_lines(column)
    for fact_id in ids:
        lines += writer.fact(fact_id)
        lines += draw(st.sampled_from(([], [], [""]))) + writer.remark_lines(column)
    text = head + "\n".join(lines) + draw(st.sampled_from(("", "\n", "\n\n")))
    text = text.replace("\n", draw(st.sampled_from(("\n", "\r\n"))))
    mark = draw(st.sampled_from(("", "", "\ufeff")))
    return Drawn(mark + text, ids, tuple(re.findall(r"# remark \d+;", text)))


class _Writer:
    """Draws a style for each thing that it writes."""

    def __init__(self, draw: st.DrawFn, column: int) -> None:
        self.draw = draw
        self.column = column
        self.drawn = 0

    def remark(self) -> str:
        """Nothing, or a remark that no other is like."""
        if self.draw(st.integers(0, 3)):
            return ""
        self.drawn += 1
        return f"# remark {self.drawn};"

    def remark_lines(self, column: int) -> list[str]:
        remark = self.remark()
        return [" " * column + remark] if remark else []

    def behind(self) -> str:
        remark = self.remark()
        return f"  {remark}" if remark else ""

    def fact(self, fact_id: str) -> list[str]:
        if self.draw(st.integers(0, 5)) == 0:
            asks = ", ".join(json.dumps(" ".join(ask)) for ask in self.draw(st.lists(PLAIN)))
            more = f", asks: [{asks}]" if asks else ""
            text = json.dumps(self.draw(TEXTS))
            shown = f"- {{id: {fact_id}, topic: t, text: {text}{more}}}{self.behind()}"
            return [" " * self.column + shown]
        inner = self.column + 2
        fields = [["topic: t" + self.behind()], self.text(inner)]
        if self.draw(st.booleans()):
            fields.append(self.asks(inner))
        if self.draw(st.booleans()):
            fields.append(["verified_on: 2026-03-14" + self.behind()])
        if self.draw(st.booleans()):
            fields.append(['season: {from: "11-01", to: "03-31"}' + self.behind()])
        fields = self.draw(st.permutations(fields))
        first = self.draw(st.sampled_from(("id", "field")))
        named = [f"id: {fact_id}" + self.behind()]
        fields = [named, *fields] if first == "id" else [*fields, named]
        lines: list[str] = []
        for place, field in enumerate(fields):
            start = " " * self.column + "- " if place == 0 else " " * inner
            lines += [start + field[0], *field[1:]]
            lines += self.remark_lines(inner)
        return lines

    def text(self, inner: int) -> list[str]:
        style = self.draw(st.sampled_from((">-", "|", ">", "|+", "plain", '"', "'", "two")))
        words = self.draw(PLAIN) if style in ("plain", "two") else [self.draw(TEXTS)]
        pad = " " * (inner + 2)
        if style in ("plain", "two"):
            joined = " ".join(words)
            rest = [pad + "and more"] if style == "two" else []
            return [f"text: {joined}", *rest]
        if style == '"':
            return [f"text: {json.dumps(words[0], ensure_ascii=False)}" + self.behind()]
        if style == "'":
            return ["text: '" + words[0].replace("'", "''") + "'" + self.behind()]
        empty = self.draw(st.sampled_from(([], [""])))
        return [f"text: {style}" + self.behind(), pad + words[0], pad + "and a line", *empty]

    def asks(self, inner: int) -> list[str]:
        asks = [" ".join(words) for words in self.draw(st.lists(PLAIN, min_size=1, max_size=4))]
        style = self.draw(st.sampled_from(("flow", "lines", "block")))
        if style == "flow":
            return [f"asks: [{', '.join(asks)}]" + self.behind()]
        if style == "lines":
            inside = f",{self.behind()}\n{' ' * (inner + 2)}".join(asks)
            return f"asks: [{inside}]".split("\n")
        dash = " " * (inner + self.draw(st.sampled_from((0, 2)))) + "- "
        lines = ["asks:"]
        for ask in asks:
            lines += [dash + ask + self.behind(), *self.remark_lines(len(dash) - 2)]
        return lines
