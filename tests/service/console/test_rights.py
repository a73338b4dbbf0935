"""Two houses with different staff: nobody reads or changes what belongs to the other house.

Every route of the console is asked, with ids and slugs of the other house put into its path.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

import httpx
import pytest

from service.database import Database
from service.tables import (
    Change,
    Delivery,
    Escalation,
    Gap,
    Inbound,
    Lesson,
    PartRow,
    Stay,
    Thread,
    Trail,
)
from tests.service.console.conftest import LODGE, LOFT, NOW, Enter, Served
from tests.service.console.filling import Filled
from tests.service.console.routes import OPEN, routes

GETS = sorted(path for method, path in routes() if method == "GET" and path not in OPEN)
POSTS = sorted(path for method, path in routes() if method == "POST" and path not in OPEN)

# What stands nowhere but in the rows and the file of the other house.
THEIRS = (
    *("Juniper", "+442079460456", "442079460456", "stay until 1 pm", "Cot for a baby", "5580"),
    *("7193", "sluice-wheel-81", "Mill Loft"),
)


def told_in(page: str, words: Iterable[str]) -> list[str]:
    """Those that stand on a page as words of their own: a random token may hold four digits."""
    return [each for each in words if re.search(rf"(?<!\w){re.escape(each)}(?!\w)", page)]


@pytest.fixture
def change_id(served: Served, database: Database) -> int:
    """A change in the other house."""
    with database.writing() as session:
        change = Change(
            house=LOFT,
            file=f"{LOFT}.yaml",
            fact="bins",
            before="- id: bins\n  text: Sluice bins.\n",
            after="- id: bins\n  text: Other bins.\n",
            person="person:1",
            at=NOW,
        )
        session.add(change)
        session.flush()
        return change.id


def of_the_other_house(path: str, filled: Filled, change: int) -> str:
    """The path with every id in it one of Mill Loft's."""
    theirs = {
        "{alert_id}": filled.alerts["late"],
        "{thread_id}": filled.threads["juniper"],
        "{stay_id}": filled.stays["juniper"],
        "{gap_id}": filled.gaps["cot"],
        "{change_id}": change,
        "{slug}": LOFT,
        "{fact_id}": "door-code",
        "{person_id}": 1,
        "{token_id}": 1,
        "{part_id}": 4,
    }
    for name, value in theirs.items():
        path = path.replace(name, str(value))
    assert "{" not in path, f"say what stands for the id in {path}"
    return path


@pytest.mark.parametrize("path", GETS)
def test_no_page_shows_the_other_house(
    path: str, enter: Enter, filled: Filled, change_id: int
) -> None:
    """
    Staff of Ferry Lodge find nothing of Mill Loft on any page, whatever its address asks for.
    """
    tom = enter("tom", LODGE)
    page = tom.get(of_the_other_house(path, filled, change_id))
    narrowed = tom.get(of_the_other_house(path, filled, change_id), params={"house": LOFT})

    for answer in (page, narrowed):
        assert answer.status_code in (200, 303, 403, 404)
        assert told_in(answer.text, THEIRS) == []


FORM = {
    "text": "Could we stay until 1 pm on Sunday?",
    "about": f"house:{LOFT}",
    "key": "k",
    "house": LOFT,
    "houses": LOFT,
    "arrival": "2026-12-01",
    "departure": "2026-12-03",
    "phones": "+442079460456",
    "part": "4",
    "verdict": "gap",
    "name": "Tim",
    "email": "tim@example.org",
    "role": "owner",
    "scopes": "ask",
    "title": "Bins",
    "fact": "bins",
}


def rows_of(database: Database) -> dict[str, list[object]]:
    """All that a form could change, of Mill Loft or of nobody."""
    with database.reading() as session:
        return {
            table.__tablename__: [
                {column.name: getattr(row, column.key) for column in table.__mapper__.columns}
                for row in session.query(table).order_by(*table.__table__.primary_key)
            ]
            for table in (
                *(Change, Delivery, Escalation, Gap, Inbound, Lesson, PartRow, Stay, Thread, Trail),
            )
        }


@pytest.mark.parametrize("path", [path for path in POSTS if path != "/sign-out"])
def test_no_form_changes_the_other_house(
    path: str, enter: Enter, filled: Filled, change_id: int, database: Database, served: Served
) -> None:
    """
    A form of Ferry Lodge's staff with an id of Mill Loft changes no row and no file.
    """
    tom = enter("tom", LODGE)
    before, file = rows_of(database), (served.app.state.knowledge / f"{LOFT}.yaml").read_bytes()

    answer = tom.send_form(of_the_other_house(path, filled, change_id), **FORM)

    assert answer.status_code in (200, 403, 404, 422)
    assert rows_of(database) == before
    assert (served.app.state.knowledge / f"{LOFT}.yaml").read_bytes() == file
    # What Tom typed himself may be shown to him again.
    typed = " ".join(FORM.values())
    told = [words for words in THEIRS if words not in typed]
    assert told_in(answer.text, told) == []


@pytest.mark.parametrize(("method", "path"), [r for r in routes() if r[1] not in OPEN])
def test_nobody_is_let_in_without_a_session(
    method: str, path: str, served: Served, filled: Filled, change_id: int
) -> None:
    """
    Without a session every page leads to the sign-in, and every form too.
    """
    answer = httpx.request(
        method, served.url + of_the_other_house(path, filled, change_id), data={}
    )

    assert answer.status_code == 303
    assert answer.headers["location"].startswith("/sign-in")


@pytest.mark.parametrize("path", POSTS)
@pytest.mark.parametrize("how", ["no token", "another's token", "another site"])
def test_a_foreign_form_is_refused(
    path: str, how: str, enter: Enter, filled: Filled, change_id: int, database: Database
) -> None:
    """
    A form without this session's token, or that the browser calls foreign, does nothing: 403.
    """
    ada, tom = enter("ada"), enter("tom", LODGE)
    before = rows_of(database)
    token = {"no token": "", "another's token": tom.token, "another site": ada.token}[how]
    headers = {"Sec-Fetch-Site": "cross-site"} if how == "another site" else {}

    answer = ada.post(
        of_the_other_house(path, filled, change_id), data=FORM | {"form": token}, headers=headers
    )

    assert answer.status_code == 403
    assert rows_of(database) == before
    assert ada.get("/alerts").status_code == 200  # nobody was signed out either


def test_staff_do_see_their_own(enter: Enter, filled: Filled) -> None:
    """
    The checks above are no empty ones: staff of Mill Loft find all of it where Tom found nothing.
    """
    tim = enter("tim", LOFT)

    assert "Juniper" in tim.get(f"/stays/{filled.stays['juniper']}").text
    assert "stay until 1 pm" in tim.get(f"/messages/{filled.threads['juniper']}").text
    assert told_in(tim.get(f"/houses/{LOFT}/facts/door-code").text, THEIRS) == ["7193", "Mill Loft"]
    answer = tim.send_form(f"/alerts/{filled.alerts['late']}/take")
    assert answer.headers["location"] == "/alerts?told=taken"


def test_only_an_owner_sees_people(enter: Enter) -> None:
    """
    Staff get neither the page of people nor the link to it.
    """
    tom = enter("tom", LODGE)

    assert tom.get("/people").status_code == 403
    assert 'href="/people"' not in tom.get("/alerts").text
    assert 'href="/people"' in enter("ada").get("/alerts").text
