"""Templates: what is put in is escaped for where it goes, and nothing else can be reached."""

from __future__ import annotations

import json
from urllib.parse import parse_qs, urlsplit
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.lines.templates import check_template, fill, fill_all, fill_media, fill_url

texts = st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=60)


@given(texts)
def test_json_stays_json(text: str) -> None:
    """
    Whatever a text holds, a JSON template gives it back unchanged to Python's own reader.
    """
    body = fill_media('{"a": "{{ text }}"}', {"text": text}, "application/json")

    assert json.loads(body) == {"a": text}


@given(texts)
def test_markup_stays_markup(text: str) -> None:
    """
    The same for XML: element and attribute hold the text, and no element is added.
    """
    template = '<r a="{{ text }}"><m>{{ text }}</m></r>'
    root = ElementTree.fromstring(fill_media(template, {"text": text}, "text/xml; charset=utf-8"))

    assert [element.tag for element in root.iter()] == ["r", "m"]
    assert (root[0].text or "").split() == text.split()
    assert (root.attrib["a"]).split() == text.split()


@given(texts)
def test_url_stays_one_url(text: str) -> None:
    """
    The same for a URL: the text is one parameter, and neither host nor path is changed.
    """
    url = urlsplit(fill_url("https://gateway.example/send?t={{ text }}&x=1", {"text": text}))

    assert (url.netloc, url.path) == ("gateway.example", "/send")
    assert parse_qs(url.query, keep_blank_values=True) == {"t": [text], "x": ["1"]}


def test_structure_is_filled_leaf_by_leaf() -> None:
    """
    Strings anywhere in a structure are filled; numbers and flags stay what they are.
    """
    shape = {"a": ["{{ x }}", 1, {"b": "to {{ x }}"}], "c": True, "d": None}

    assert fill_all(shape, {"x": '"'}) == {"a": ['"', 1, {"b": 'to "'}], "c": True, "d": None}


def test_filters_work() -> None:
    """
    Jinja's own filters are there for what gateways ask for.
    """
    assert fill("{{ to | replace('+', '00') }}", {"to": "+44"}) == "0044"


@pytest.mark.parametrize(
    "template",
    [
        "{{ text.__class__.__mro__ }}",
        "{{ ''.__class__ }}",
        "{{ text.format.__globals__ }}",
    ],
)
def test_sandbox_holds(template: str) -> None:
    """
    A template reaches no further than the values it is given.
    """
    with pytest.raises(Exception, match=r"unsafe|undefined|attribute"):
        fill(template, {"text": "x"})


def test_unknown_names_are_told_when_settings_are_read() -> None:
    """
    A misspelt name is an error at start, with the names that are there.
    """
    with pytest.raises(ValueError, match="uses txet, which is not there; use text, to"):
        check_template("{{ txet }}", {"text", "to"})
    with pytest.raises(ValueError, match="cannot be read as a template"):
        check_template("{% if %}", {"text"})
