"""What the schema refuses, in a host's words.

The border to pydantic: each kind of its errors is mapped here to a problem
with the line of the field. What the host wrote is never repeated, because any
text of a fact may be a secret, also one that is not marked so yet.
"""

from __future__ import annotations

import types
import typing
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel, ValidationError

from askhouse.knowledge.near import did_you_mean
from askhouse.knowledge.problems import Problem
from askhouse.knowledge.written import Place, Written

__all__ = ["explain", "field_names"]

# Pydantic's kind of error → the rest of the sentence, and how to mend it.
_KINDS: Mapping[str, tuple[str, str]] = {
    "string_type": ("must be a text.", "Write one text, in double quotes."),
    "bool_type": ("must be true or false.", "Write true or false, without quotes."),
    "list_type": ("must be a list.", "Write each on its own line, beginning with `- `."),
    "dict_type": ("must be a group of named values.", "Write `name: value` lines below it."),
    "model_type": ("must be a group of named values.", "Write `name: value` lines below it."),
    "date_type": ("must be a date.", "Write it as YYYY-MM-DD, such as 2026-03-14."),
    "time_type": ("must be a time.", 'Write it as HH:MM on a 24-hour clock, such as "16:00".'),
}


def explain(
    error: ValidationError,
    model: type[BaseModel],
    written: Written,
    at: Place,
    *,
    thing: str,
    name: str | None = None,
) -> list[Problem]:
    """The problems of one refused thing.

    Args:
        error: What pydantic found.
        model: The model that refused it.
        written: The file.
        at: Where in the file the thing stands.
        thing: What it is, such as "a fact".
        name: Its id, where that can be shown.
    """
    explainer = _Explainer(model, written, at, thing, name)
    return [explainer.problem(one) for one in error.errors(include_url=False)]


@dataclass(frozen=True, slots=True)
class _Explainer:
    """The arguments of `explain`, and one problem at a time."""

    model: type[BaseModel]
    written: Written
    at: Place
    thing: str
    name: str | None

    def problem(self, error: Any) -> Problem:
        loc: Place = error["loc"]
        what, mend = self._sentences(error, loc, _model_at(self.model, loc[:-1]))
        place = (*self.at, *loc)
        sentence = what if place else f"{self.thing.capitalize()} {what}"
        return self.written.problem(place, sentence, mend)

    def _sentences(self, error: Any, loc: Place, inner: type[BaseModel]) -> tuple[str, str]:
        kind: str = error["type"]
        if kind == "extra_forbidden":
            part = f"`{loc[-2]}`" if len(loc) > 1 else self.thing
            hint = did_you_mean(str(loc[-1]), field_names(inner))
            return f"is not a field of {part}.", f"{hint}Mend the name, or remove the line."
        if kind == "missing":
            return "is missing.", f"Write, for example, `{loc[-1]}: {_example(inner, loc[-1])}`."
        if error["input"] is None or error.get("ctx", {}).get("what") == "is empty.":
            return "is empty.", self._mend_empty(loc, inner)
        if kind == "host":
            return error["ctx"]["what"], error["ctx"]["mend"]
        if kind == "literal_error":
            choices = error["ctx"]["expected"].replace("'", "")
            return "is none of the words it may be.", f"Write {choices}."
        return _KINDS.get(kind, ("cannot be read.", "See knowledge/README.md for its form."))

    def _mend_empty(self, loc: Place, inner: type[BaseModel]) -> str:
        if loc == ("text",):
            which = f'the fact "{self.name}"' if self.name else "the fact"
            return f"Write the sentence a guest should read, or remove {which}."
        if not loc or isinstance(loc[-1], int):
            return "Write it, or remove the line."
        example = f"Write, for example, `{loc[-1]}: {_example(inner, loc[-1])}`"
        required = _required(inner, loc[-1])
        return f"{example}." if required else f"{example}, or remove the line."


def field_names(model: type[BaseModel]) -> list[str]:
    """The names of a model's fields as they stand in a file."""
    return [info.alias or name for name, info in model.model_fields.items()]


def _field(model: type[BaseModel], name: str | int) -> Any:
    for own, info in model.model_fields.items():
        if name in (own, info.alias):
            return info
    return None


def _required(model: type[BaseModel], name: str | int) -> bool:
    info = _field(model, name)
    return bool(info is not None and info.is_required())


def _example(model: type[BaseModel], name: str | int) -> str:
    info = _field(model, name)
    return str(info.examples[0]) if info is not None and info.examples else "..."


def _model_at(model: type[BaseModel], loc: Place) -> type[BaseModel]:
    """The model that the last step of `loc` leads into; the nearest one around, at least."""
    for step in loc:
        info = _field(model, step)
        if info is None:
            continue
        choices = typing.get_args(info.annotation) or (info.annotation,)
        if not isinstance(info.annotation, types.UnionType):
            choices = (info.annotation, *choices)
        for choice in choices:
            if isinstance(choice, type) and issubclass(choice, BaseModel):
                model = choice
    return model
