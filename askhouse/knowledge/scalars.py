"""A value as it stands in a YAML file: in the style it had, or the one that reads best.

A style is only taken if the loader reads back from it exactly what was meant;
double quotes can say everything and come last.
"""

from __future__ import annotations

import datetime as dt
import json
import re
import textwrap
from collections.abc import Iterator, Mapping, Sequence
from typing import TypeAlias

from askhouse.knowledge.written import read_yaml

__all__ = ["Value", "cleaned", "named", "rendered", "scalar"]

Value: TypeAlias = str | bool | dt.date | Sequence[str] | Mapping[str, str]
"""What a field of a fact can hold: a text, true or false, a day, texts, or named texts."""

WIDTH = 110  # columns after which a long text goes on on the next line
_LONG = 90  # a text longer than this is folded where no other style is asked for
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f]")


def cleaned(value: Value) -> Value:
    """The value as the loader would give it back: no blank ends, one kind of line break."""
    if isinstance(value, str):
        text = value.replace("\r\n", "\n").replace("\r", "\n")
        # A pasted control character is seen by nobody and refused by the loader.
        return _CONTROL.sub("", text).encode("utf-8", "replace").decode().strip()
    if isinstance(value, Mapping):
        return {name: str(cleaned(text)) for name, text in value.items()}
    if isinstance(value, Sequence):
        return [str(cleaned(text)) for text in value]
    return value


def named(name: str, value: Value, indent: int, *, flow: bool = False) -> str:
    r"""`name: value` for a field that is new in its file, lines joined by `\n`.

    Args:
        name: The field.
        value: Its cleaned value.
        indent: Columns before the name.
        flow: Whether it stands within brackets.
    """
    shown = rendered(value, indent, flow=flow)
    return f"{name}:{shown}" if shown.startswith("\n") else f"{name}: {shown}"


def rendered(value: Value, indent: int, *, flow: bool) -> str:
    """A value that stands in the file for the first time; a long list begins on a new line.

    Args:
        value: A cleaned value.
        indent: Columns before the name whose value it is.
        flow: Whether it stands within brackets.
    """
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{k}: {_quoted(v)}" for k, v in value.items()) + "}"
    if not isinstance(value, Sequence) or isinstance(value, str):
        return scalar(value, indent, flow=flow)
    line = _flow_list(value)
    if flow or len(line) + indent + 12 <= WIDTH:
        return line
    start = "\n" + " " * (indent + 2) + "- "
    return "".join(start + scalar(item, indent + 2, flow=False) for item in value)


def _flow_list(texts: Sequence[str]) -> str:
    """Texts in brackets on one line."""
    return "[" + ", ".join(scalar(text, 0, flow=True) for text in texts) + "]"


def scalar(
    value: str | bool | dt.date,
    indent: int,
    *,
    flow: bool,
    style: str | None = None,
    header: str | None = None,
) -> str:
    r"""One value in one of YAML's styles, lines joined by `\n`, without a line break at its end.

    Args:
        value: A cleaned value.
        indent: Columns before the name whose value it is; further lines stand two deeper.
        flow: Whether it stands within brackets.
        style: The style that it had: `plain`, `'`, `"`, `>` or `|`; None where it is new.
        header: For `>` and `|`, the rest of their line, with its remark.
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    text = value.isoformat() if isinstance(value, dt.date) else value
    if isinstance(value, dt.date) and style is None:
        style = "plain"
    for candidate in _candidates(text, indent, style, header, flow):
        if _reads_as(candidate, text, indent, flow=flow):
            return candidate
    return _quoted(text)


def _candidates(
    text: str, indent: int, style: str | None, header: str | None, flow: bool
) -> Iterator[str]:
    short = "\n" not in text and len(text) + indent <= _LONG
    if style in (None, "plain") and short and (flow or style == "plain" or _simple(text)):
        yield text
    if style == "'" and "\n" not in text:
        yield "'" + text.replace("'", "''") + "'"
    if style == '"':
        yield _quoted(text)
    if flow or (short and style not in (">", "|")):
        return
    if style == "|" or "\n" in text:
        yield "\n".join([header or "|-", *_indented(text.split("\n"), indent)])
    else:
        wide = max(WIDTH - indent - 2, 40)
        lines = textwrap.wrap(text, wide, break_long_words=False, break_on_hyphens=False)
        yield "\n".join([header or ">-", *_indented(lines, indent)])


def _simple(text: str) -> bool:
    """Whether a text is so plain that no one would put it in quotes."""
    return re.fullmatch(r"[A-Za-z][\w' -]*[\w)]", text) is not None and len(text) <= 60


def _indented(lines: Sequence[str], indent: int) -> list[str]:
    return [" " * (indent + 2) + line if line else "" for line in lines]


def _reads_as(candidate: str, text: str, indent: int, *, flow: bool) -> bool:
    value = f"[{candidate}]" if flow else candidate
    read, problems = read_yaml("", f"{' ' * indent}name: {value}\n")
    expected: object = [text] if flow else text
    if problems or not isinstance(read.values, dict):
        return False
    found = read.values.get("name")
    # The line break that `>` and `|` leave at the end is cut off by the loader.
    return (found.rstrip("\n") if isinstance(found, str) else found) == expected


def _quoted(text: str) -> str:
    """Double quotes; what no editor shows is written as its number."""
    quoted = json.dumps(text, ensure_ascii=False)
    return "".join(one if one.isprintable() or one == "\u00a0" else _number(one) for one in quoted)


def _number(character: str) -> str:
    code = ord(character)
    return f"\\u{code:04x}" if code <= 0xFFFF else f"\\U{code:08x}"
