"""What a changed YAML text must still say; a change that would say anything else is refused.

The rules of `edit_fields.py` and `edit_list.py` know the styles that hosts write. This
is what makes them safe for all others: the text is read again as the loader reads it.
"""

from __future__ import annotations

from ruamel.yaml.error import YAMLError
from ruamel.yaml.nodes import MappingNode, Node, SequenceNode

from askhouse.knowledge.spans import Spans, fields
from askhouse.knowledge.written import Place, read_yaml

__all__ = ["CannotEditError", "check_rest", "key_at", "node_at", "parsed", "stripped", "value_at"]


class CannotEditError(Exception):
    """The text is written in a way in which it cannot be changed safely; says why."""


def parsed(text: str) -> Spans:
    """The spans of a text.

    Raises:
        CannotEditError: It is not YAML.
    """
    try:
        return Spans(text)
    except YAMLError as error:
        raise CannotEditError("it is not YAML that can be read") from error


def node_at(spans: Spans, place: Place) -> Node | None:
    """What stands at a place, or None."""
    node = spans.root
    for step in place:
        if isinstance(node, SequenceNode) and isinstance(step, int):
            node = node.value[step]
        elif isinstance(node, MappingNode):
            node = next((value for name, _, value in fields(node) if name == step), None)
        else:
            return None
    return node


def key_at(spans: Spans, place: Place) -> Node | None:
    """The name of the value at a place; None for what has none."""
    around = node_at(spans, place[:-1]) if place else None
    if not isinstance(around, MappingNode):
        return None
    return next((key for name, key, _ in fields(around) if name == place[-1]), None)


def value_at(text: str, place: Place) -> object:
    """What the loader reads at a place, texts without blank ends; None where nothing is."""
    value = _read(text)
    for step in place:
        if isinstance(value, dict):
            value = value.get(step)
        elif isinstance(value, list) and isinstance(step, int):
            value = value[step]
        else:
            return None
    return stripped(value)


def stripped(value: object) -> object:
    """A value with all its texts without blank ends, as the schema takes them."""
    if isinstance(value, str):
        return value.strip()
    if isinstance(value, dict):
        return {name: stripped(inner) for name, inner in value.items()}
    return [stripped(inner) for inner in value] if isinstance(value, list) else value


def check_rest(text: str, changed: str, at: Place) -> None:
    """Holds all that is not at a place against what it was.

    Raises:
        CannotEditError: Something else would change.
    """
    if _pruned(_read(text), at) != _pruned(_read(changed), at):
        raise CannotEditError("something else in the file would change")


def _read(text: str) -> object:
    return read_yaml("", text.replace("\r\n", "\n").replace("\r", "\n"))[0].values


def _pruned(value: object, at: Place) -> object:
    if not at:
        return None
    step = at[0]
    if isinstance(value, dict):
        pruned = {name: stripped(inner) for name, inner in value.items() if name != step}
        return {**pruned, "": _pruned(value[step], at[1:]) if step in value else None}
    if isinstance(value, list):
        return [
            _pruned(inner, at[1:]) if number == step else stripped(inner)
            for number, inner in enumerate(value)
        ]
    return value
