"""Headers: what every response of ours tells a browser."""

from __future__ import annotations

from fastapi import FastAPI
from starlette.responses import HTMLResponse, JSONResponse

from service.access.headers import SecurityHeaders
from tests.service.serving import send


def app() -> FastAPI:
    app = FastAPI(docs_url=None)
    app.add_api_route("/page", lambda: HTMLResponse("<title>Page</title>"))
    app.add_api_route("/data", lambda: JSONResponse({}))
    app.add_middleware(SecurityHeaders)
    return app


def policy(path: str) -> dict[str, str]:
    header = send(app(), "GET", path).headers.get("content-security-policy", "")
    rows = (row.partition(" ") for row in header.split("; ") if row)
    return {name: value for name, _, value in rows}


def test_no_inline_script_and_no_frame() -> None:
    """
    Scripts and styles come from us alone and never inline; nobody may frame a page; a form goes
    home (CSP Level 3).
    """
    found = policy("/page")

    assert found["default-src"] == "'none'"
    assert found["script-src"] == found["style-src"] == "'self'"
    assert found["frame-ancestors"] == found["base-uri"] == "'none'"
    assert found["form-action"] == "'self'"
    assert "unsafe-inline" not in repr(found)


def test_pages_are_not_kept() -> None:
    """
    A page is not stored, guessed at, or told of to where a link leads; data says for itself.
    """
    page, data = send(app(), "GET", "/page").headers, send(app(), "GET", "/data").headers

    assert page["cache-control"] == "no-store"
    assert "cache-control" not in data
    for headers in (page, data):
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"
