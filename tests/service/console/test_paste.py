"""Paste: the draft with each sentence tied to its fact, what is kept, and what it teaches."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from service.database import Database
from service.tables import Change, Inbound, Lesson, PartRow, Stay, Thread, Trail
from tests.service.console.conftest import LODGE, LOFT, NOW, Enter, Served, Visitor
from tests.service.console.filling import DOOR_CODE, Filled

BINS = "The bins are behind the boat shed."


def paste(visitor: Visitor, text: str, about: str = f"house:{LODGE}", **more: str) -> str:
    """The page after a message was pasted."""
    answer = visitor.send_form("/paste", text=text, about=about, **more)
    assert answer.status_code == 200, answer.text
    return answer.text


def test_each_sentence_is_tied_to_its_fact(owner: Visitor) -> None:
    """
    The answer's two sentences carry the number of the fact they are copied from, which is listed
    with its file and line.
    """
    page = paste(owner, "where are the bins")

    assert page.count('<span class="sr">fact </span>1</a>') == 2
    assert f'<a href="/houses/{LODGE}/facts/bins">Bins</a>' in page
    assert "ferry-lodge.yaml:" in page
    assert "Every part is answered from what you wrote." in page


def test_a_gap_is_marked(owner: Visitor) -> None:
    """
    What no fact answers is marked as not written yet, and left to the host.
    """
    page = paste(owner, "is there a sauna?")

    assert "Not written yet" in page
    assert "0 of 1 answered; 1 is left to you." in page


def test_no_code_without_the_hosts_word(owner: Visitor, database: Database) -> None:
    """
    A code is in the draft only after the host says that they know the guest, and is never stored.
    """
    assert "4826" not in paste(owner, "what is the door code")
    assert "4826" in paste(owner, "what is the door code", verified="yes")

    with database.reading() as session:
        stored = [*session.query(Inbound.draft), *session.query(PartRow.said)]
        assert "4826" not in repr(stored)
        assert "•••" in repr(stored)


def test_a_code_before_its_time(owner: Visitor, filled: Filled) -> None:
    """
    For a stay that begins in four days even a known guest gets no code yet; the draft says when.
    """
    text = "what is the door code"
    coming = paste(owner, text, about=f"stay:{filled.stays['sorrel']}", verified="yes")
    present = paste(owner, text, about=f"stay:{filled.stays['mabel']}", verified="yes")

    assert "4826" not in coming
    assert "08:00" in coming
    assert "4826" in present


GATE = "how do we open the turnstile"


@pytest.fixture
def own_code(served: Served, two_houses: Path) -> Iterator[Callable[..., None]]:
    """Writes into Ferry Lodge a fact on the turnstile, opened by each stay's own code."""
    answering, path = served.app.state.answering, two_houses / f"{LODGE}.yaml"
    before = path.read_bytes()

    def write(*, sensitive: bool = True) -> None:
        fact = (
            "  - id: turnstile\n    topic: arrival\n"
            "    text: The turnstile opens with {{stay_door_code}}. Push it gently.\n"
            f"    asks: [{GATE}]\n    sensitive: {str(sensitive).lower()}\n"
        )
        path.write_bytes(before + fact.encode())
        answering.reopen()

    yield write
    path.write_bytes(before)
    answering.reopen()


def test_the_stays_own_code(
    owner: Visitor, filled: Filled, database: Database, own_code: Callable[..., None]
) -> None:
    """
    For a stay that is there, and a guest whom the host knows, the stay's own code is in both
    lengths and tied to its fact; that it was seen is in the trail, and it is stored nowhere.
    """
    own_code()
    page = paste(owner, GATE, about=f"stay:{filled.stays['mabel']}", verified="yes")

    assert page.count(f"The turnstile opens with {DOOR_CODE}.") == 3
    assert f"opens with {DOOR_CODE}.<sup>" in page
    assert "{stay_door_code}" not in page
    with database.reading() as session:
        kept = [*session.query(Inbound.draft), *session.query(PartRow.said)]
        assert DOOR_CODE not in repr(kept)
        seen = [(line.did, line.subject) for line in session.query(Trail)]
        assert ("stay.code.see", f"stay:{filled.stays['mabel']}") in seen


def test_the_stays_own_code_is_guarded(
    owner: Visitor,
    filled: Filled,
    database: Database,
    served: Served,
    own_code: Callable[..., None],
) -> None:
    """
    No own code for a guest whom the host does not know, before its time (the draft says when),
    after check-out, for a stay without one, for a house alone, for a cancelled stay, and from a
    fact that is not marked as holding a code.
    """
    own_code()
    mabel = f"stay:{filled.stays['mabel']}"
    for about in (mabel, f"house:{LODGE}"):
        assert DOOR_CODE not in paste(owner, GATE, about=about)
    alone = paste(owner, GATE, verified="yes")
    assert "(the host will send you the code)" in alone
    assert "choose the stay above" in alone
    served.clock.now = NOW - dt.timedelta(days=2, hours=6)
    early = paste(owner, GATE, about=mabel, verified="yes")
    assert DOOR_CODE not in early
    assert "08:00" in early
    served.clock.now = NOW + dt.timedelta(days=3)
    assert DOOR_CODE not in paste(owner, GATE, about=mabel, verified="yes")
    served.clock.now = NOW

    own_code(sensitive=False)
    loose = paste(owner, GATE, about=mabel, verified="yes")
    assert DOOR_CODE not in loose
    assert "not marked as holding a code" in loose

    own_code()
    with database.writing() as session:
        session.get_one(Stay, filled.stays["mabel"]).door_code = None
    assert "no door code yet" in paste(owner, GATE, about=mabel, verified="yes")
    with database.writing() as session:
        stay = session.get_one(Stay, filled.stays["mabel"])
        stay.door_code, stay.cancelled_at = DOOR_CODE, NOW
    answer = owner.send_form("/paste", text=GATE, about=mabel, verified="yes")
    assert answer.status_code == 404


def test_a_message_is_kept_once(owner: Visitor, database: Database) -> None:
    """
    The same message pasted twice is one message, on a line of its own, with one part.
    """
    paste(owner, "where are the bins")
    paste(owner, "where are the bins")

    with database.reading() as session:
        assert session.query(Thread).one().line == "pages"
        assert session.query(Inbound).one().text == "where are the bins"
        part = session.query(PartRow).one()
        assert (part.outcome, [c.fact for c in part.citations]) == ("answer", ["bins"])


@pytest.mark.parametrize("text", ["", "   \n "])
def test_an_empty_message(owner: Visitor, text: str) -> None:
    """
    An empty message gives no draft but a sentence on why, and keeps the choice of house.
    """
    answer = owner.send_form("/paste", text=text, about=f"house:{LODGE}")

    assert answer.status_code == 422
    assert 'role="alert"' in answer.text
    assert f'value="house:{LODGE}" selected' in answer.text


def part_of(page: str) -> str:
    found = re.search(r'name="part" value="(\d+)"', page)
    assert found
    return found[1]


@pytest.mark.parametrize("verdict", ["right", "gap"])
def test_a_lesson_is_kept(owner: Visitor, database: Database, verdict: str) -> None:
    """
    'Right' and 'not answered' are kept with the guest's words; what was not answered is a gap.
    """
    part = part_of(paste(owner, "where are the bins"))

    answer = owner.send_form("/paste/lessons", part=part, verdict=verdict)

    assert answer.status_code == 303
    with database.reading() as session:
        lesson = session.query(Lesson).one()
        assert (lesson.verdict, lesson.text, lesson.person) == (
            verdict,
            "where are the bins",
            "person:1",
        )
        row = session.get(PartRow, int(part))
        assert row is not None
        assert row.outcome == ("gap" if verdict == "gap" else "answer")


def test_answered_by_a_fact(owner: Visitor, database: Database, served: Served) -> None:
    """
    'Answered by this fact' makes the guest's words a way of asking for it, in the house's file.
    """
    part = part_of(paste(owner, "is there a sauna?"))

    answer = owner.send_form("/paste/lessons", part=part, verdict="answered-by", fact="heating")

    assert answer.status_code == 303
    text = (served.app.state.knowledge / f"{LODGE}.yaml").read_text(encoding="utf-8")
    assert "is there a sauna?" in text
    assert served.changed == [LODGE]
    with database.reading() as session:
        assert session.query(Lesson).one().fact == "heating"
        assert session.query(Change).one().fact == "heating"


def test_a_fact_is_named_by_its_title(owner: Visitor, database: Database) -> None:
    """
    A fact that did not come near is named by its title; one that is not there is asked for again.
    """
    part = part_of(paste(owner, "is there a sauna?"))
    values = {"part": part, "verdict": "answered-by"}

    assert owner.send_form("/paste/lessons", **values, other="Submarine").status_code == 422
    assert owner.send_form("/paste/lessons", **values).status_code == 422
    assert owner.send_form("/paste/lessons", **values, other=" rowing boat").status_code == 303
    with database.reading() as session:
        fact = session.query(Lesson).one().fact
    assert f"/houses/{LODGE}/facts/{fact}" in owner.get(f"/houses/{LODGE}?search=rowing+boat").text


def test_a_gap_becomes_a_fact_in_the_guests_words(owner: Visitor, enter: Enter) -> None:
    """
    From a part that nothing answers one comes to a new fact with its words as a way of asking,
    without a code that they repeat; no word of it is in the address, and no other house's part.
    """
    part = part_of(paste(owner, "is there a sauna behind the 4826 door?"))
    href = f"/houses/{LODGE}/new?part={part}"

    page = owner.get(href).text
    assert "is there a sauna behind the ••• door?</textarea>" in page
    assert enter("tim", LOFT).get(f"/houses/{LOFT}/new?part={part}").status_code == 404
    assert "sauna" not in owner.get(f"/houses/{LOFT}/new?part={part}").text


def test_a_wrong_fact_is_opened(owner: Visitor, database: Database) -> None:
    """
    'Fact is wrong' is kept, and leads to the fact.
    """
    part = part_of(paste(owner, "where are the bins"))

    answer = owner.send_form("/paste/lessons", part=part, wrong="bins")

    assert answer.headers["location"].startswith(f"/houses/{LODGE}/facts/bins")
    with database.reading() as session:
        assert session.query(Lesson).one().verdict == "fact-wrong"


def test_a_draft_for_a_stay_can_be_sent(owner: Visitor, filled: Filled) -> None:
    """
    For a stay whose guests text, the draft can be sent into their thread.
    """
    page = paste(owner, "where are the bins", about=f"stay:{filled.stays['mabel']}")

    assert f'action="/messages/{filled.threads["mabel"]}/write"' in page
    assert "Send to +442079460123" in page


def test_a_stay_of_another_house(enter: Enter, filled: Filled) -> None:
    """
    Staff find only the stays of their house in the list, and cannot name another.
    """
    tom = enter("tom", LODGE)

    assert "Juniper" not in tom.get("/paste").text
    assert "Mabel" in tom.get("/paste").text
    answer = tom.send_form("/paste", text="hello", about=f"stay:{filled.stays['juniper']}")
    assert answer.status_code == 404


def test_the_count_of_segments(owner: Visitor) -> None:
    """
    160 characters of the default alphabet are one segment and 161 two (3GPP TS 23.040, 9.2.3.24.1);
    70 and 71 where one character is of another alphabet.
    """
    cases = {"a" * 160: "1 segment", "a" * 161: "2 segments"}
    cases |= {"a" * 69 + "ж": "1 segment", "a" * 70 + "ж": "2 segments"}
    for text, words in cases.items():
        assert owner.send_form("/segments", text=text).text == words


def test_stays_of_long_ago_are_not_offered(
    owner: Visitor, filled: Filled, database: Database
) -> None:
    """
    Only stays of now and of the next days stand in the list.
    """
    page = owner.get("/paste").text

    assert "Mabel" in page
    assert "Sorrel" in page
    assert "Fennel" not in page
    with database.reading() as session:
        assert session.get(Stay, filled.stays["fennel"]).departure < NOW.date()  # type: ignore[union-attr]


def test_a_stay_that_no_database_could_hold_is_not_here(owner: Visitor) -> None:
    """
    An id beyond the column's range is answered as one of no stay.
    """
    answer = owner.send_form("/paste", text="bins?", about=f"stay:{10**30}")

    assert answer.status_code == 404
