"""Templates of a line: what the operator writes, filled with a reply, escaped for where it goes.

Jinja in its sandbox. A value is escaped as it is put in, so that a guest's quote can neither
end a JSON string nor an attribute; what the operator wrote stays as it is.
"""

from __future__ import annotations

import html
import json
from collections.abc import Callable, Collection, Mapping
from functools import lru_cache
from typing import Any
from urllib.parse import quote

from jinja2 import StrictUndefined, Template, TemplateError, meta
from jinja2.sandbox import ImmutableSandboxedEnvironment

__all__ = ["check_template", "fill", "fill_all", "fill_media", "fill_url"]

Escape = Callable[[Any], str]


def fill(template: str, values: Mapping[str, object]) -> str:
    """The template filled, nothing escaped: for what a library will write, or for plain text."""
    return _compiled(template, str).render(values)


def fill_url(template: str, values: Mapping[str, object]) -> str:
    """A URL filled; every value percent-encoded (RFC 3986, 2.1)."""
    return _compiled(template, _for_url).render(values)


def fill_media(template: str, values: Mapping[str, object], content_type: str) -> str:
    """A body filled, escaped as its content type needs: JSON, XML or HTML; plain text is not."""
    return _compiled(template, _escape_for(content_type)).render(values)


def fill_all(shape: Any, values: Mapping[str, object]) -> Any:
    """A structure of dicts and lists with every string in it filled."""
    if isinstance(shape, str):
        return fill(shape, values)
    if isinstance(shape, Mapping):
        return {name: fill_all(item, values) for name, item in shape.items()}
    if isinstance(shape, list):
        return [fill_all(item, values) for item in shape]
    return shape


def check_template(template: str, names: Collection[str]) -> str:
    """The template as it is.

    Raises:
        ValueError: It cannot be read, or uses a name that will not be there.
    """
    environment = _environment(str)
    try:
        asked = meta.find_undeclared_variables(environment.parse(template))
        environment.from_string(template)
    except TemplateError as error:
        raise ValueError(f"cannot be read as a template: {error.message}") from error
    if unknown := sorted(asked - set(names)):
        raise ValueError(
            f"uses {', '.join(unknown)}, which is not there; use {', '.join(sorted(names))}"
        )
    return template


# An operator has some dozens; compiling one takes fifty times as long as filling it.
@lru_cache(maxsize=512)
def _compiled(template: str, escape: Escape) -> Template:
    return _environment(escape).from_string(template)


@lru_cache(maxsize=8)
def _environment(escape: Escape) -> ImmutableSandboxedEnvironment:
    return ImmutableSandboxedEnvironment(
        undefined=StrictUndefined, finalize=escape, autoescape=False, keep_trailing_newline=True
    )


def _escape_for(content_type: str) -> Escape:
    media = content_type.partition(";")[0].strip().lower()
    if media.endswith("json"):
        return _for_json
    if media.endswith(("xml", "html")):
        return _for_markup
    return str


def _for_url(value: Any) -> str:
    return quote(str(value), safe="")


def _for_json(value: Any) -> str:
    """What stands between the quotes of a JSON string."""
    return json.dumps(str(value))[1:-1]


def _for_markup(value: Any) -> str:
    return html.escape(str(value))
