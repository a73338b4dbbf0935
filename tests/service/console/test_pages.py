"""What all pages share: their files, errors as pages, and houses that are not open yet."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from service.answering import Answering, Stage
from service.settings import ServiceSettings
from tests.service.console.conftest import Served, Visitor


def test_files_may_be_kept(owner: Visitor) -> None:
    """
    The style sheet is asked for by the hash of its content, and may then be kept for ever.
    """
    page = owner.get("/paste").text
    path = page.partition('rel="stylesheet" href="')[2].partition('"')[0]

    answer = owner.get(path)
    assert answer.headers["content-type"] == "text/css; charset=utf-8"
    assert "immutable" in answer.headers["cache-control"]
    assert owner.get(path.partition("?")[0]).headers["cache-control"] == "no-cache"


@pytest.mark.parametrize("name", ["nothing.css", "..%2f__init__.py", "%2e%2e/page.py"])
def test_no_other_file(owner: Visitor, name: str) -> None:
    """
    Nothing but the console's own files is served.
    """
    assert owner.get(f"/static/{name}").status_code == 404


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/alerts?kept=x", 422),
        ("/messages/x", 404),
        ("/messages/99999999999999999999999", 404),
        ("/messages?page=0", 422),
        ("/messages/2147483648", 404),  # one more than an id can be
        ("/gaps/999", 404),
        ("/stays/999", 404),
        ("/houses/no%00where", 404),
    ],
)
def test_errors_are_pages(owner: Visitor, path: str, status: int) -> None:
    """
    Whatever an address says, the answer is a page that says what to do, never a trace.
    """
    answer = owner.get(path)

    assert answer.status_code == status
    assert answer.headers["content-type"] == "text/html; charset=utf-8"
    assert "<h1>" in answer.text
    assert "Traceback" not in answer.text


def test_every_page_has_the_headers(owner: Visitor) -> None:
    """
    Pages carry the content security policy and are not kept by the browser.
    """
    headers = owner.get("/alerts").headers

    assert "script-src 'self'" in headers["content-security-policy"]
    assert headers["cache-control"] == "no-store"


@pytest.fixture
def opening(served: Served, tmp_path: Path) -> Iterator[None]:
    """The service while its houses are still being opened."""
    ready = served.app.state.answering
    served.app.state.answering = Answering(ServiceSettings(knowledge=tmp_path), 1)
    served.app.state.answering.stage = Stage.OPENING
    yield
    served.app.state.answering = ready


@pytest.mark.parametrize("path", ["/paste", "/stays", "/houses", "/corrections"])
def test_while_the_houses_are_opened(owner: Visitor, opening: None, path: str) -> None:
    """
    Pages that need the houses say that they are being opened, and look again by themselves.
    """
    page = owner.get(path).text

    assert "The houses are being opened" in page
    assert "data-again" in page


def test_pasting_too_early_keeps_the_words(owner: Visitor, opening: None) -> None:
    """
    Who pastes while the houses are opened is told so, not shown an error.
    """
    answer = owner.send_form("/paste", text="where are the bins", about="house:ferry-lodge")

    assert answer.status_code == 200
    assert "The houses are being opened" in answer.text
