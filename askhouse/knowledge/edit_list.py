"""Facts put into a list of a YAML text or taken out of it, every other character left as it is."""

from __future__ import annotations

from collections.abc import Mapping

from ruamel.yaml.nodes import Node, SequenceNode

from askhouse.knowledge.edit_check import (
    CannotEditError,
    check_rest,
    key_at,
    node_at,
    parsed,
    value_at,
)
from askhouse.knowledge.scalars import Value, cleaned, named
from askhouse.knowledge.spans import Spans, Splice, spliced
from askhouse.knowledge.written import Place

__all__ = ["add_item", "own_lines", "put_item", "remove_item", "with_lines"]


def add_item(text: str, at: Place, item: Mapping[str, Value]) -> str:
    """The text with one more group of named values at the end of the list at a place.

    A list that is not there yet is begun at the end of the text.

    Raises:
        CannotEditError: The list is written in a way in which that cannot be done.
    """
    spans = parsed(text)
    column = _column(spans, node_at(spans, at), at)
    pad = " " * (column + 2)
    lines = [named(name, cleaned(value), column + 2) for name, value in item.items()]
    shown = " " * column + "- " + f"\n{pad}".join(lines)
    return put_item(text, at, shown.replace("\n", spans.newline))


def put_item(text: str, at: Place, lines: str) -> str:
    """The text with these lines as the last item of the list at a place.

    Raises:
        CannotEditError: The list, or the lines, are written in a way in which that cannot be done.
    """
    spans = parsed(text)
    changed = _put(spans, at, lines)
    old, new = value_at(text, at), value_at(changed, at)
    if not isinstance(new, list) or new[:-1] != (old or []):
        raise CannotEditError("the lines do not fit into the list")
    check_rest(text, changed, at)
    return changed


def _put(spans: Spans, at: Place, lines: str) -> str:
    text, newline = spans.text, spans.newline
    key, listed = key_at(spans, at), node_at(spans, at)
    if spans.root is None:
        head = "" if not text or text.endswith(("\n", "\r")) else newline
        begin = f"{at[-1]}:{newline}" if at else ""
        return f"{text}{head}{begin}{lines}{newline}"
    if listed is None:
        end = spans.line_end(spans.end(spans.root))
        return f"{text[:end]}{newline}{at[-1]}:{newline}{lines}{text[end:]}"
    if isinstance(listed, SequenceNode) and not listed.flow_style:
        end = spans.line_end(spans.end(listed))
        return f"{text[:end]}{_gap(spans, listed)}{newline}{lines}{text[end:]}"
    if not spans.is_empty(listed) and listed.value:
        raise CannotEditError("the list stands in brackets")
    start = spans.colon(key) if key else int(listed.start_mark.index)
    end = spans.end(listed, key)
    if spans.has_remark(start, end):
        raise CannotEditError("a remark stands in the empty list")
    return f"{text[:start]}{newline if key else ''}{lines}{text[end:]}"


def remove_item(text: str, at: Place) -> str:
    """The text without the item at a place; a list that then is empty is written `[]`.

    Raises:
        CannotEditError: The list is written in a way in which that cannot be done.
    """
    spans = parsed(text)
    listed, key = node_at(spans, at[:-1]), key_at(spans, at[:-1])
    number = at[-1]
    if not isinstance(listed, SequenceNode) or listed.flow_style or not isinstance(number, int):
        raise CannotEditError("the list stands in brackets")
    item = listed.value[number]
    start, end = spans.dash(item), spans.end(item)
    if len(listed.value) > 1:
        changed = spliced(text, [Splice(*spans.whole_lines(start, end), "")])
    elif key is None:
        changed = spliced(text, [Splice(spans.line_start(start), spans.line_end(end), "[]")])
    else:
        colon = spans.colon(key)
        empty = Splice(colon, colon, " []")
        changed = spliced(text, [empty, Splice(*spans.whole_lines(start, end), "")])
    old = value_at(text, at[:-1])
    assert isinstance(old, list)
    if value_at(changed, at[:-1]) != old[:number] + old[number + 1 :]:
        raise CannotEditError("its lines cannot be told from those around them")
    check_rest(text, changed, at[:-1])
    return changed


def own_lines(text: str, at: Place) -> tuple[int, int]:
    """Where the own lines of the item at a place begin and end, the last line break left out.

    They run from its dash's line to the end of its last line, a remark there included.
    """
    spans = parsed(text)
    listed, item = node_at(spans, at[:-1]), node_at(spans, at)
    assert item is not None
    if isinstance(listed, SequenceNode) and listed.flow_style:
        return int(item.start_mark.index), int(item.end_mark.index)
    return spans.line_start(spans.dash(item)), spans.line_end(spans.end(item))


def with_lines(text: str, at: Place, after: str, before: str) -> str | None:
    """The text with the item's lines as they were before; None if they are not `after` now.

    Raises:
        CannotEditError: The lines do not fit there.
    """
    start, _ = own_lines(text, at)
    if not text.startswith(after, start):
        return None
    changed = text[:start] + before + text[start + len(after) :]
    old, new = value_at(text, at[:-1]), value_at(changed, at[:-1])
    if not isinstance(old, list) or not isinstance(new, list) or len(old) != len(new):
        raise CannotEditError("the lines do not fit into the list")
    check_rest(text, changed, at)
    return changed


def _column(spans: Spans, listed: Node | None, at: Place) -> int:
    """The column of a list's dashes."""
    if isinstance(listed, SequenceNode) and listed.value and not listed.flow_style:
        return spans.column(spans.dash(listed.value[0]))
    return 2 if at else 0


def _gap(spans: Spans, listed: SequenceNode) -> str:
    """An empty line, if the list's items are kept apart by one."""
    if len(listed.value) < 2:
        return ""
    before, last = listed.value[-2:]
    behind = spans.behind_line(spans.end(before))
    empty = not spans.text[behind : spans.line_end(behind)].strip()
    return spans.newline if empty and behind < spans.dash(last) else ""
