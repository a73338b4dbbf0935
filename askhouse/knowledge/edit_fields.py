"""Fields of one fact changed in its YAML text, every other character left as it stands."""

from __future__ import annotations

import datetime as dt
import difflib
from collections.abc import Iterator, Mapping, Sequence

from ruamel.yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from askhouse.knowledge.edit_check import (
    CannotEditError,
    check_rest,
    node_at,
    parsed,
    stripped,
    value_at,
)
from askhouse.knowledge.scalars import Value, cleaned, named, rendered, scalar
from askhouse.knowledge.spans import Spans, Splice, fields, spliced
from askhouse.knowledge.written import Place

__all__ = ["ORDER", "set_fields"]

ORDER = (
    *("id", "title", "topic", "text", "asks", "cautions", "caution", "sensitive"),
    *("emergency_help", "place", "verified_on", "season", "related", "media"),
)
"""The order in which a fact's fields are usually written; a new one is put at its place."""


def set_fields(text: str, at: Place, changes: Mapping[str, Value | None]) -> str:
    """The text with these fields of the group at a place set, or removed where None.

    Raises:
        CannotEditError: The group is written in a way in which that cannot be done.
    """
    wanted = {name: None if v is None else cleaned(v) for name, v in changes.items()}
    changed = text
    # One after the other, so that no splice has to know of another.
    for name, value in wanted.items():
        spans = parsed(changed)
        group = node_at(spans, at)
        if not isinstance(group, MappingNode):
            raise CannotEditError("it is not a group of named values")
        splices = [
            Splice(s.start, s.end, s.text.replace("\n", spans.newline))
            for s in _field(spans, group, name, value)
        ]
        changed = spliced(changed, splices)
    _check(text, changed, at, wanted)
    return changed


def _check(text: str, changed: str, at: Place, wanted: Mapping[str, Value | None]) -> None:
    old, new = value_at(text, at), value_at(changed, at)
    assert isinstance(old, dict)
    expected = {name: value for name, value in old.items() if name not in wanted}
    for name, value in wanted.items():
        if value is not None:
            expected[name] = value.isoformat() if isinstance(value, dt.date) else value
    if new != stripped(expected):
        raise CannotEditError("it would not say what was meant")
    check_rest(text, changed, at)


def _field(spans: Spans, group: MappingNode, name: str, value: Value | None) -> Iterator[Splice]:
    known = {field: (key, node) for field, key, node in fields(group)}
    if name in known and value is None:
        yield _without(spans, group, name)
    elif name in known and value is not None:
        yield from _instead(spans, group, *known[name], value)
    elif value is not None:
        yield _with(spans, group, name, value)


def _indent(spans: Spans, key: Node) -> int:
    return int(key.start_mark.index) - spans.line_start(key.start_mark.index)


def _with(spans: Spans, group: MappingNode, name: str, value: Value) -> Splice:
    """A new field, behind the nearest of those that are usually written before it."""
    written = fields(group)
    if not written:
        raise CannotEditError("it is an empty group")
    place = ORDER.index(name) if name in ORDER else len(ORDER)
    earlier = [w for w in written if w[0] in ORDER and ORDER.index(w[0]) < place]
    _, key, node = max(earlier, key=lambda w: ORDER.index(w[0])) if earlier else written[-1]
    end = spans.end(node, key)
    if group.flow_style:
        return Splice(end, end, f", {named(name, value, 0, flow=True)}")
    indent = _indent(spans, written[0][1])
    end = spans.line_end(end)
    return Splice(end, end, f"\n{' ' * indent}{named(name, value, indent)}")


def _without(spans: Spans, group: MappingNode, name: str) -> Splice:
    written = fields(group)
    place = [field for field, _, _ in written].index(name)
    _, key, node = written[place]
    start, end = int(key.start_mark.index), spans.end(node, key)
    if len(written) == 1:
        raise CannotEditError("nothing would be left of it")
    follower = written[place + 1][1].start_mark.index if place + 1 < len(written) else None
    if group.flow_style:
        if follower is None:
            start = spans.end(written[place - 1][2], written[place - 1][1])
    elif not spans.text[spans.line_start(start) : start].strip():
        return Splice(*spans.whole_lines(start, end), "")
    # In brackets, or behind the dash, to which what follows moves up.
    stop = end if follower is None else int(follower)
    if spans.has_remark(start, stop):
        raise CannotEditError(f"a remark stands behind `{name}`")
    return Splice(start, stop, "")


def _instead(
    spans: Spans, group: MappingNode, key: Node, node: Node, value: Value
) -> Iterator[Splice]:
    flow = bool(group.flow_style)
    indent = 0 if flow else _indent(spans, key)
    if spans.is_empty(node):
        colon = spans.colon(key)
        shown = rendered(value, indent, flow=flow)
        yield Splice(colon, colon, shown if shown.startswith("\n") else f" {shown}")
    elif isinstance(node, ScalarNode) and isinstance(value, str | bool | dt.date):
        yield _scalar(spans, node, value, indent, flow=flow)
    elif isinstance(node, MappingNode) and isinstance(value, Mapping):
        for name in [name for name, _, _ in fields(node) if name not in value]:
            yield _without(spans, node, name)
        for name, text in value.items():
            yield from _field(spans, node, name, text)
    elif isinstance(node, SequenceNode) and isinstance(value, Sequence):
        yield from _items(spans, node, list(value), indent)
    else:
        raise CannotEditError(f"`{key.value}` is of another kind")


def _scalar(
    spans: Spans, node: ScalarNode, value: str | bool | dt.date, indent: int, *, flow: bool
) -> Splice:
    """A text in place of another, in the same style where that can say it."""
    start, end = int(node.start_mark.index), spans.end(node)
    style = node.style or "plain"
    header = None
    if style in (">", "|"):
        header = spans.text[start : spans.line_end(start)]
        remark = "#" in header
        if any(one.isdigit() for one in header.split("#")[0]):
            header = None  # a number of spaces, which the new text would have to keep
        shown = scalar(value, indent, flow=flow, style=style, header=header)
        if remark and (header is None or not shown.startswith(header)):
            raise CannotEditError(f"a remark stands behind the {style} of a text")
        return Splice(start, end, shown)
    return Splice(start, end, scalar(value, indent, flow=flow, style=style))


def _items(
    spans: Spans, node: SequenceNode, wanted: Sequence[str], indent: int
) -> Iterator[Splice]:
    """The texts of a list; those that stay are not touched."""
    old = [str(item.value).strip() for item in node.value]
    if not wanted or not old:
        raise CannotEditError("a list is empty")
    if not all(isinstance(item, ScalarNode) for item in node.value):
        raise CannotEditError("a list holds more than texts")
    flow = bool(node.flow_style)
    inner = indent if flow else spans.column(spans.dash(node.value[0]))
    for what, first, last, new_first, new_last in difflib.SequenceMatcher(
        None, old, wanted, autojunk=False
    ).get_opcodes():
        if what == "equal":
            continue
        new = wanted[new_first:new_last]
        both = min(last - first, len(new))
        for item, text in zip(node.value[first : first + both], new, strict=False):
            yield _scalar(spans, item, text, inner, flow=flow)
        if first + both < last:
            yield from _fewer(spans, node, first + both, last)
        if new[both:]:
            yield _more(spans, node, first + both, new[both:], inner)


def _more(
    spans: Spans, node: SequenceNode, place: int, texts: Sequence[str], column: int
) -> Splice:
    """Further texts before the item of that place, or at the end."""
    flow = bool(node.flow_style)
    shown = [scalar(text, column, flow=flow) for text in texts]
    if flow and place == 0:
        start = int(node.value[0].start_mark.index)
        return Splice(start, start, "".join(f"{text}, " for text in shown))
    if flow:
        end = spans.end(node.value[place - 1])
        return Splice(end, end, "".join(f", {text}" for text in shown))
    lines = [f"{' ' * column}- {text}" for text in shown]
    if place == 0:
        start = spans.line_start(spans.dash(node.value[0]))
        return Splice(start, start, "".join(f"{line}\n" for line in lines))
    end = spans.line_end(spans.end(node.value[place - 1]))
    return Splice(end, end, "".join(f"\n{line}" for line in lines))


def _fewer(spans: Spans, node: SequenceNode, first: int, last: int) -> Iterator[Splice]:
    """A list without the items from `first` to before `last`."""
    if not node.flow_style:
        for item in node.value[first:last]:
            yield Splice(*spans.whole_lines(spans.dash(item), spans.end(item)), "")
        return
    start, end = int(node.value[first].start_mark.index), spans.end(node.value[last - 1])
    if last < len(node.value):
        end = int(node.value[last].start_mark.index)
    elif first:
        start = spans.end(node.value[first - 1])
    if spans.has_remark(start, end):
        raise CannotEditError("a remark stands in a list")
    yield Splice(start, end, "")
