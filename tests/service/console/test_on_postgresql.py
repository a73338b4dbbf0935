"""The same pages on PostgreSQL: every one is rendered, and what can be done is done."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from service.database import Database
from service.tables import Escalation, Gap, PartRow, Stay
from tests.service.console.conftest import LODGE, Visitor
from tests.service.console.filling import TAKE_KEY, Filled
from tests.service.console.routes import routes
from tests.service.databases import emptied_postgres

PAGES = sorted(path for method, path in routes() if method == "GET")


@pytest.fixture
def database(postgres_url: str) -> Iterator[Database]:
    """An empty PostgreSQL database, where one answers."""
    with emptied_postgres(postgres_url) as database:
        yield database


@pytest.mark.parametrize("path", [path for path in PAGES if path != "/start/{key}"])
def test_every_page(path: str, owner: Visitor, filled: Filled) -> None:
    """
    Each page is rendered with rows in the database, each list with a search and a state as well.
    """
    for name, value in {
        "{thread_id}": filled.threads["mabel"],
        "{stay_id}": filled.stays["mabel"],
        "{gap_id}": filled.gaps["dryer"],
        "{slug}": LODGE,
        "{fact_id}": "door-code",
        "{key}": TAKE_KEY,
    }.items():
        path = path.replace(name, str(value))

    assert owner.get(path).status_code == 200
    for state in ("open", "gap", "failed", "\0"):
        answer = owner.get(path, params={"state": state, "search": "hair%\0", "house": LODGE})
        assert answer.status_code == 200
        assert owner.get(path, params={"house": "\0"}).status_code in (200, 404)


def test_what_can_be_done(owner: Visitor, filled: Filled, database: Database) -> None:
    """
    A message is pasted, an alert taken and answered, a gap taken apart, a stay added.
    """
    pasted = owner.send_form("/paste", text="where are the bins?\0", about=f"house:{LODGE}")
    assert "behind the boat shed" in pasted.text
    alert = filled.alerts["heat"]
    owner.send_form(f"/alerts/{alert}/take")
    answered = owner.send_form(f"/alerts/{alert}/answer", text="I am on my way.", key="k")
    assert "told=answered" in answered.headers["location"]
    gap = filled.gaps["dryer"]
    with database.reading() as session:
        part = session.query(PartRow.id).filter_by(gap_id=gap).first()
        assert part is not None
    assert owner.send_form(f"/gaps/{gap}/split", asks=part[0]).status_code == 303
    stay = {"house": LODGE, "arrival": "2026-12-01", "departure": "2026-12-02"}
    assert owner.send_form("/stays", **stay).status_code == 303

    with database.reading() as session:
        assert session.get_one(Escalation, alert).state == "answered"
        assert session.query(Gap).count() == 3
        assert session.query(Stay).count() == 5
