"""House: searched, edited with a check, two people at once, history and undo."""

from __future__ import annotations

import re

from service.database import Database
from service.tables import Change, Trail
from tests.service.console.conftest import LODGE, Served, Visitor

BINS = f"/houses/{LODGE}/facts/bins"
NEW = "The bins are in the yard."


def form_of(page: str) -> dict[str, str]:
    """What the form of a fact sends when nothing was typed."""
    fields = {"hash": r'name="hash" value="(\w+)"', "title": r'id="title"[^>]*value="([^"]*)"'}
    found = {name: re.search(pattern, page) for name, pattern in fields.items()}
    for name in ("text", "asks", "cautions"):
        found[name] = re.search(rf'<textarea id="{name}"[^>]*>([^<]*)</textarea>', page)
    return {name: match[1] for name, match in found.items() if match}


def file_of(served: Served) -> bytes:
    content: bytes = (served.app.state.knowledge / f"{LODGE}.yaml").read_bytes()
    return content


def test_search(owner: Visitor) -> None:
    """
    A search finds what holds all of its words, and says when nothing does.
    """
    found = owner.get(f"/houses/{LODGE}", params={"search": "boat OARS"}).text
    assert "Rowing boat" in found
    assert "Parking" not in found
    nothing = owner.get(f"/houses/{LODGE}", params={"search": "submarine"}).text
    assert "Nothing found" in nothing


def test_a_list_shows_no_code(owner: Visitor, database: Database) -> None:
    """
    In the list a code is blotted out; its own page shows it, and that is in the trail.
    """
    assert "4826" not in owner.get(f"/houses/{LODGE}").text
    assert "4826" in owner.get(f"/houses/{LODGE}/facts/door-code").text
    with database.reading() as session:
        line = session.query(Trail).one()
        assert (line.did, line.subject) == ("fact.code.see", f"fact:{LODGE}/door-code")


def test_saving_changes_one_text(owner: Visitor, served: Served, database: Database) -> None:
    """
    A saved text stands in the file, with every other line as it was; the service is told.
    """
    before = file_of(served)
    values = form_of(owner.get(BINS).text) | {"text": NEW}

    answer = owner.send_form(BINS, **values)

    assert answer.headers["location"] == f"{BINS}?told=saved"
    after = file_of(served)
    assert NEW.encode() in after
    old_lines, new_lines = before.splitlines(), after.splitlines()
    changed = [new for old, new in zip(old_lines, new_lines, strict=True) if old != new]
    assert len(changed) == 1
    assert served.changed == [LODGE]
    with database.reading() as session:
        change = session.query(Change).one()
        assert (change.fact, change.person) == ("bins", "person:1")


def test_saving_nothing_writes_nothing(owner: Visitor, served: Served, database: Database) -> None:
    """
    A form that is sent as it came, with a browser's line breaks, changes no byte.
    """
    before = file_of(served)
    values = {k: v.replace("\n", "\r\n") for k, v in form_of(owner.get(BINS).text).items()}

    owner.send_form(BINS, **values)

    assert file_of(served) == before
    with database.reading() as session:
        assert session.query(Change).count() == 0


def test_undo(owner: Visitor, served: Served) -> None:
    """
    Undoing brings back every byte.
    """
    before = file_of(served)
    owner.send_form(BINS, **(form_of(owner.get(BINS).text) | {"text": NEW}))
    page = owner.get(f"/houses/{LODGE}/changes").text
    path = re.search(rf'action="(/houses/{LODGE}/changes/\d+/undo)"', page)
    assert path

    assert owner.send_form(path[1]).status_code == 303

    assert file_of(served) == before
    assert "Undid an earlier change" in owner.get(f"/houses/{LODGE}/changes").text


def test_two_people_edit_the_same_fact(owner: Visitor, served: Served) -> None:
    """
    The second of two people is shown what the first wrote, with their own words kept; saving once
    more writes theirs.
    """
    first = form_of(owner.get(BINS).text)
    owner.send_form(BINS, **(first | {"text": NEW}))

    answer = owner.send_form(BINS, **(first | {"text": "The bins are on the roof."}))

    assert answer.status_code == 409
    assert "Someone changed this meanwhile" in answer.text
    assert NEW in answer.text
    again = form_of(answer.text)
    assert again["text"] == "The bins are on the roof."
    assert owner.send_form(BINS, **again).status_code == 303
    assert b"on the roof" in file_of(served)


def test_a_check_writes_nothing(owner: Visitor, served: Served) -> None:
    """
    Checking shows what a guest would get; as one types, and by the button without a script.
    """
    before = file_of(served)
    values = form_of(owner.get(BINS).text) | {"text": NEW}

    live = owner.send_form(BINS, **values, only_check="live")
    whole = owner.send_form(BINS, **values, only_check="page")

    assert live.text.startswith(f'<p class="bubble">{NEW}</p>')
    assert f'<p class="bubble">{NEW}</p>' in whole.text
    assert file_of(served) == before


def test_what_closes_the_house_is_refused(owner: Visitor, served: Served) -> None:
    """
    A text that names a value that the house has not is not saved; the page says which and keeps it.
    """
    before = file_of(served)
    values = form_of(owner.get(BINS).text) | {"text": "The bins go out at {bin_time}."}

    answer = owner.send_form(BINS, **values)

    assert answer.status_code == 422
    assert "bin_time" in answer.text
    assert "cannot be saved" in answer.text
    assert file_of(served) == before


def test_a_new_fact(owner: Visitor, served: Served) -> None:
    """
    A new fact gets an id of its title, and stands at the end of the file.
    """
    values = {"title": "Hair dryer", "topic": "house", "text": "It hangs in the hall.", "asks": ""}
    answer = owner.send_form(f"/houses/{LODGE}/new", **values)

    assert answer.status_code == 303, answer.text
    assert b"- id: hair-dryer" in file_of(served)
    assert served.changed == [LODGE]


def test_an_unknown_fact_or_house(owner: Visitor) -> None:
    """
    What is not there is not found.
    """
    assert owner.get(f"/houses/{LODGE}/facts/nothing").status_code == 404
    assert owner.get("/houses/nowhere").status_code == 404
