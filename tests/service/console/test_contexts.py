"""Every page is given exactly what its template asks for, and says what each thing is."""

from __future__ import annotations

import dataclasses
import inspect
from typing import Any, get_type_hints

import jinja2
import pytest
from jinja2 import meta, nodes

from service.console import contexts
from service.console.page import environment

ENVIRONMENT = environment()
PAGES = [
    each
    for _, each in inspect.getmembers(contexts, dataclasses.is_dataclass)
    if hasattr(each, "template")
]


def family(template: str) -> dict[str, nodes.Template]:
    """A template and all that it extends, includes and imports."""
    found: dict[str, nodes.Template] = {}
    todo = [template]
    while todo:
        name = todo.pop()
        if name not in found:
            assert ENVIRONMENT.loader is not None
            found[name] = ENVIRONMENT.parse(ENVIRONMENT.loader.get_source(ENVIRONMENT, name)[0])
            todo += [part for part in meta.find_referenced_templates(found[name]) if part]
    return found


def asked_by(template: str) -> set[str]:
    """The names that a template and all that it is made of take from the context.

    What one of them sets, imports or defines is there for those that it includes or that extend
    it; what is imported stands on its own, and sees no context.
    """
    trees = family(template)
    alone = {
        each.template.value
        for tree in trees.values()
        for each in tree.find_all((nodes.Import, nodes.FromImport))
        if isinstance(each.template, nodes.Const)
    }
    for name in alone:
        assert meta.find_undeclared_variables(trees[name]) - set_in(trees[name]) == set(), name
    shared = [tree for name, tree in trees.items() if name not in alone]
    asked = {name for tree in shared for name in meta.find_undeclared_variables(tree)}
    return asked - {name for tree in shared for name in set_in(tree)}


def set_in(tree: nodes.Template) -> set[str]:
    """Names that a template sets, imports, loops over or defines as a macro."""
    found = {name.name for name in tree.find_all(nodes.Name) if name.ctx == "store"}
    found |= {each.target for each in tree.find_all(nodes.Import)}
    found |= {each.name for each in tree.find_all(nodes.Macro)}
    for each in tree.find_all(nodes.FromImport):
        found |= {name if isinstance(name, str) else name[1] for name in each.names}
    return found | {"loop", "caller"}


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.__name__)
def test_fields_are_what_the_template_asks_for(page: Any) -> None:
    """
    No page computes what its template does not show, and no template asks for what is not given.
    """
    given = {field.name for field in dataclasses.fields(page)}

    assert asked_by(page.template) == given


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.__name__)
def test_every_field_has_its_help(page: Any) -> None:
    """
    Each field says in a sentence what it is, and the page what it is for.
    """
    hints = get_type_hints(page, include_extras=True)
    for field in dataclasses.fields(page):
        (words,) = hints[field.name].__metadata__
        assert words.endswith("."), field.name
    assert page.__doc__
    assert not page.__doc__.startswith(page.__name__)
    assert page.__dataclass_params__.frozen


TEMPLATES = ENVIRONMENT.list_templates(["html"])


def test_every_template_belongs_to_a_page() -> None:
    """
    A template is a page's own or a part of one; none lies about unused.
    """
    used = {name for page in PAGES for name in family(page.template)}

    assert set(TEMPLATES) == used


def test_a_misspelt_name_is_an_error() -> None:
    """
    A template that asks for what is not there fails, instead of showing nothing.
    """
    with pytest.raises(jinja2.UndefinedError):
        ENVIRONMENT.from_string("{{ nobody }}").render()


def test_guests_words_are_escaped() -> None:
    """
    What a guest writes is text on every page, never markup.
    """
    shown = ENVIRONMENT.from_string("{{ words }}").render(words="<script>alert(1)</script>")

    assert shown == "&lt;script&gt;alert(1)&lt;/script&gt;"


@pytest.mark.parametrize("template", TEMPLATES)
def test_no_inline_script_or_style(template: str) -> None:
    """
    No template holds what the content security policy forbids.
    """
    assert ENVIRONMENT.loader is not None
    source = ENVIRONMENT.loader.get_source(ENVIRONMENT, template)[0].lower()

    assert " style=" not in source
    assert "<style" not in source
    assert " onclick=" not in source
    assert source.count("<script") == source.count('<script src="/static/')
    assert "http://" not in source.replace("http://www.w3.org", "")
    assert "https://" not in source
