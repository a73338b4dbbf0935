"""House: searched, edited with a check, two people at once, history and undo."""

from __future__ import annotations

import re
from pathlib import Path

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


def test_a_code_for_everyone_is_warned_of(owner: Visitor, served: Served) -> None:
    """
    Words that seem to tell a code to everyone are warned of as one types, in an old fact and in a
    new one; what is marked as a code is not, nor is another fact warned of in its place.
    """
    values = form_of(owner.get(BINS).text) | {"text": "The code of the lid is 4711."}
    warned = "seems to say a code or password"

    assert warned in owner.send_form(BINS, **values, only_check="live").text
    assert warned not in owner.send_form(BINS, **values, sensitive="yes", only_check="live").text
    new = {"title": "Lid", "text": "The code of the lid is 4711."}
    assert warned in owner.send_form(f"/houses/{LODGE}/new", **new, only_check="live").text
    owner.send_form(BINS, **values)
    boat = form_of(owner.get(f"/houses/{LODGE}/facts/boat").text) | {"text": "Two oars."}
    live = owner.send_form(f"/houses/{LODGE}/facts/boat", **boat, only_check="live").text
    assert "Two oars." in live
    assert warned not in live


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


def test_a_topic_is_the_houses_own_or_a_new_one(owner: Visitor, served: Served) -> None:
    """
    A topic that the house has is written as it stands there, another one as it was typed.
    """
    new = f"/houses/{LODGE}/new"
    owner.send_form(new, title="Iron", text="It hangs in the hall.", topic=" waste ")
    owner.send_form(new, title="Tub", text="It is behind the shed.", topic="Hot tub")

    iron, tub = (file_of(served).decode().partition(f"id: {name}")[2] for name in ("iron", "tub"))
    assert iron.splitlines()[2].strip() == "topic: waste"
    assert tub.splitlines()[2].strip() == "topic: Hot tub"


def test_two_of_one_title(owner: Visitor, served: Served) -> None:
    """
    A second fact of the same title gets an id of its own, though the house is not open yet with
    the first one.
    """
    for text in ("It hangs in the hall.", "Another lies in the loft."):
        answer = owner.send_form(f"/houses/{LODGE}/new", title="Iron", text=text)
        assert answer.status_code == 303

    assert b"id: iron\n" in file_of(served)
    assert b"id: iron-2\n" in file_of(served)


STEPS = "Take your time.\r\n\r\n## Fire\r\n1. Open the damper.\r\n2. Light it."


def as_a_folder(served: Served) -> Path:
    """Ferry Lodge as a house that is a folder, where notes have a place."""
    knowledge: Path = served.app.state.knowledge
    folder = knowledge / LODGE
    folder.mkdir()
    (knowledge / f"{LODGE}.yaml").rename(folder / "house.yaml")
    return folder


def test_a_new_note(owner: Visitor, served: Served, database: Database) -> None:
    """
    A how-to note is checked as one types, saved as a file of its own, shown as guests get it
    before the house is open anew, edited in place, and undone step by step.
    """
    folder = as_a_folder(served)
    new = f"/houses/{LODGE}/new"
    values = {"note": "yes", "title": "Light the hearth", "topic": "Warmth", "text": STEPS}
    assert "A new how-to note" in owner.get(new, params={"note": "yes"}).text

    live = owner.send_form(new, **values, cautions="It is hot.", only_check="live")
    assert live.text.startswith(
        '<p class="bubble">Take your time.\n\nFire\n1. Open the damper.\n2. Light it.\n'
        "Careful: It is hot.</p>"
    )
    assert not (folder / "notes").exists()
    made = owner.send_form(new, **values, cautions="It is hot.", asks="how do I make a fire")

    page = f"/houses/{LODGE}/facts/light-the-hearth"
    assert made.headers["location"] == f"{page}?told=written"
    path = folder / "notes" / "light-the-hearth.md"
    assert path.read_text(encoding="utf-8") == (
        "---\ntitle: Light the hearth\ntopic: warmth\nasks: [how do I make a fire]\n"
        "cautions: [It is hot.]\nverified_on: 2026-11-25\n---\n"
        "Take your time.\n\n## Fire\n1. Open the damper.\n2. Light it.\n"
    )
    assert served.changed == [LODGE]
    shown = owner.get(page).text
    assert "1. Open the damper.\n2. Light it." in shown
    assert "This is a how-to note" in shown
    assert 'checked <time datetime="2026-11-25">today</time>' in shown

    edited = form_of(shown) | {"text": "1. Ask us."}
    assert owner.send_form(page, **edited).headers["location"] == f"{page}?told=saved"
    assert "1. Ask us." in path.read_text(encoding="utf-8")
    assert owner.send_form(page, **(edited | {"text": "1. Ring us."})).status_code == 409
    with database.reading() as session:
        first, second = session.query(Change.id).order_by(Change.id)
    for change in (second, first):
        owner.send_form(f"/houses/{LODGE}/changes/{change[0]}/undo")
    assert not path.exists()


def test_a_note_that_would_close_the_house(owner: Visitor, served: Served) -> None:
    """
    A note that names an unknown value is not saved; the page says which, and keeps the words.
    """
    folder = as_a_folder(served)
    values = {"note": "yes", "title": "Fire", "text": "1. Ring {nobody}."}
    answer = owner.send_form(f"/houses/{LODGE}/new", **values)

    assert "{nobody}" in answer.text
    assert "1. Ring {nobody}.</textarea>" in answer.text
    assert "cannot be saved" in answer.text
    assert not (folder / "notes").exists()


def test_a_house_of_one_file_has_no_place_for_notes(owner: Visitor, served: Served) -> None:
    """
    The page says what to do, and has no form; a form sent all the same is refused in words.
    """
    before = file_of(served)
    page = owner.get(f"/houses/{LODGE}/new", params={"note": "yes"}).text
    assert "house.yaml" in page
    assert "<textarea" not in page

    answer = owner.send_form(f"/houses/{LODGE}/new", note="yes", title="Fire", text="1. Go.")
    assert "house.yaml" in answer.text
    assert file_of(served) == before


def test_a_fact_is_removed_and_brought_back(owner: Visitor, served: Served) -> None:
    """
    A removed fact is out of the file, and its change brings it back; who saw older lines is told.
    """
    before = file_of(served)
    hash = form_of(owner.get(BINS).text)["hash"]
    assert owner.send_form(f"{BINS}/remove", hash="0" * 64).status_code == 409
    assert file_of(served) == before

    answer = owner.send_form(f"{BINS}/remove", hash=hash)

    assert answer.headers["location"] == f"/houses/{LODGE}/changes?told=removed"
    assert b"id: bins" not in file_of(served)
    owner.send_form(f"/houses/{LODGE}/changes/1/undo")
    assert b"id: bins" in file_of(served)
    assert len(file_of(served)) == len(before)


def test_a_code_is_marked_and_stays_marked(owner: Visitor, served: Served) -> None:
    """
    A fact can be marked as one that holds a code; a form that does not say so unmarks none.
    """
    marked = form_of(owner.get(BINS).text) | {"sensitive": "yes"}
    owner.send_form(BINS, **marked)
    assert (
        "sensitive: true" in file_of(served).decode().partition("id: bins")[2].partition("id:")[0]
    )

    door = f"/houses/{LODGE}/facts/door-code"
    page = owner.get(door).text
    assert 'name="sensitive"' not in page
    owner.send_form(door, **(form_of(page) | {"title": "The door"}))
    text = file_of(served).decode().partition("id: door-code")[2].partition("- id:")[0]
    assert "title: The door" in text
    assert "sensitive: true" in text


def test_an_unknown_fact_or_house(owner: Visitor) -> None:
    """
    What is not there is not found.
    """
    assert owner.get(f"/houses/{LODGE}/facts/nothing").status_code == 404
    assert owner.get("/houses/nowhere").status_code == 404
