"""Gaps and corrections: answered, put together, taken apart, left out; and told anew, once."""

from __future__ import annotations

from service.database import Database
from service.tables import Delivery, Gap, Inbound, PartRow
from tests.service.console.conftest import LODGE, LOFT, NOW, Enter, Served, Visitor
from tests.service.console.filling import Filled


def test_a_gap_says_who_asks(owner: Visitor, filled: Filled) -> None:
    """
    The list names each gap with its guests, its questions in their words, and whether one of now
    asks.
    """
    page = owner.get("/gaps").text

    assert "2 guests, 2 questions" in page
    assert "is there a hairdryer in the barn" in page
    assert "A guest here now asks" in page
    assert page.index("Hair dryer") < page.index("Cot for a baby")


def test_what_means_the_same_at_two_houses_is_told_once(
    enter: Enter, filled: Filled, database: Database
) -> None:
    """
    A gap of the same meaning at another house stands in the same row, with both counted, for who
    sees both; staff of one house see and count theirs alone, in the list and on its page.
    """
    with database.writing() as session:
        twin = Gap(house=LOFT, topic="hair-dryer", name="Hair dryer", first_at=NOW, last_at=NOW)
        session.add(twin)
        session.flush()
        message = session.query(Inbound).filter_by(gateway_id="late").one()
        message.parts.append(
            PartRow(
                house=LOFT,
                place=1,
                text="got a hair dryer up there?",
                outcome="gap",
                confidence=0.9,
                reason="",
                said="",
                gap_id=twin.id,
            )
        )
        there = twin.id
    here = filled.gaps["dryer"]
    ada, tom = enter("ada"), enter("tom", LODGE)

    every = ada.get("/gaps").text
    assert every.count('<span class="name">Hair dryer</span>') == 1
    assert "3 guests, 3 questions" in every
    assert "got a hair dryer up there?" in every
    assert f'href="/gaps/{here}"' in every
    assert f'href="/gaps/{there}"' in every
    assert "2 guests, 2 questions" in ada.get("/gaps", params={"house": LODGE}).text
    assert f'Also asked at <a href="/gaps/{there}">Mill Loft</a>' in ada.get(f"/gaps/{here}").text

    for page in (tom.get("/gaps").text, tom.get(f"/gaps/{here}").text):
        assert "Mill Loft" not in page
        assert "up there" not in page
    assert "2 guests, 2 questions" in tom.get("/gaps").text


def test_no_gaps(owner: Visitor) -> None:
    """
    Without gaps the page says so.
    """
    assert "No gaps" in owner.get("/gaps").text


def test_an_answer_becomes_a_fact(
    owner: Visitor, filled: Filled, served: Served, database: Database
) -> None:
    """
    The answer stands in the house's file with the ticked question as a way of asking it.
    """
    gap = filled.gaps["dryer"]
    with database.reading() as session:
        asked = session.query(PartRow).filter_by(text="is there a hairdryer in the barn").one().id

    values = {"title": "Hair dryer", "text": "It hangs in the hall.", "asks": asked}
    answer = owner.send_form(f"/gaps/{gap}/write", **values)

    assert answer.headers["location"] == f"/gaps/{gap}?told=written"
    text = (served.app.state.knowledge / f"{LODGE}.yaml").read_text(encoding="utf-8")
    assert "is there a hairdryer in the barn" in text
    assert "And do you have a hair dryer?" not in text
    with database.reading() as session:
        row = session.get_one(Gap, gap)
        assert (row.state, row.fact) == ("written", "hair-dryer")
    assert served.changed == [LODGE]


def test_an_answer_with_all_that_a_fact_has(
    owner: Visitor, filled: Filled, served: Served, database: Database
) -> None:
    """
    Topic, cautions and the mark of a code are written with the answer; a question that repeats a
    code of the house is no way of asking it.
    """
    gap = filled.gaps["dryer"]
    with database.writing() as session:
        part = session.query(PartRow).filter_by(text="is there a hairdryer in the barn").one()
        part.text = "is there a hairdryer behind door 4826"
        asked = part.id
    values = {"title": "Dryer", "text": "Cupboard code 9914.", "asks": asked, "topic": "Wifi"}
    owner.send_form(f"/gaps/{gap}/write", **values, cautions="It is hot.", sensitive="yes")

    text = (served.app.state.knowledge / f"{LODGE}.yaml").read_text(encoding="utf-8")
    fact = text.partition("- id: dryer")[2]
    assert "topic: wifi\n" in fact
    assert "cautions: [It is hot.]" in fact
    assert "sensitive: true" in fact
    assert "hairdryer" not in fact


def test_what_cannot_be_written_is_kept(owner: Visitor, filled: Filled) -> None:
    """
    An answer that names an unknown value is not saved; the page says why and keeps the words.
    """
    values = {"title": "Hair dryer", "text": "It hangs in {where}."}
    answer = owner.send_form(f"/gaps/{filled.gaps['dryer']}/write", **values)

    assert "It hangs in {where}." in answer.text
    assert "cannot be saved" in answer.text


def test_taking_apart_and_putting_together(
    owner: Visitor, filled: Filled, database: Database
) -> None:
    """
    One question taken out is a gap of its own; put together again, both questions are in one.
    """
    gap = filled.gaps["dryer"]
    with database.reading() as session:
        first, second = session.query(PartRow.id).filter_by(gap_id=gap).order_by(PartRow.id)
    alone = owner.send_form(f"/gaps/{gap}/split", asks=second[0])
    made = int(alone.headers["location"].removeprefix("/gaps/").partition("?")[0])
    with database.reading() as session:
        assert session.get_one(PartRow, first[0]).gap_id == gap
        assert session.get_one(PartRow, second[0]).gap_id == made

    owner.send_form(f"/gaps/{made}/merge", into=gap)

    with database.reading() as session:
        assert {row.gap_id for row in session.query(PartRow).filter(PartRow.outcome == "gap")} == {
            gap
        }
        assert session.get(Gap, made) is None


def test_not_across_houses(owner: Visitor, filled: Filled) -> None:
    """
    Gaps of two houses cannot be put together: each house has its own facts.
    """
    answer = owner.send_form(f"/gaps/{filled.gaps['dryer']}/merge", into=filled.gaps["cot"])

    assert answer.status_code == 422


def test_left_out_and_back(owner: Visitor, filled: Filled) -> None:
    """
    A gap that was left out is no longer in the list, and can be put back.
    """
    path = f"/gaps/{filled.gaps['cot']}/dismiss"
    owner.send_form(path)
    assert "Cot for a baby" not in owner.get("/gaps").text
    assert "Cot for a baby" in owner.get("/gaps?state=dismissed").text
    owner.send_form(path)
    assert "Cot for a baby" in owner.get("/gaps").text


def test_who_was_told_the_old_words(owner: Visitor, filled: Filled, database: Database) -> None:
    """
    A guest of now who was told words that have changed is listed with a draft of the new ones;
    once sent, the correction is sent once and no longer listed.
    """
    page = owner.get("/corrections").text
    assert "Mabel Quince" in page
    assert "The thermostat is in the hall." in page
    with database.reading() as session:
        part = session.query(PartRow).filter_by(outcome="answer").one().id

    path = f"/corrections/{part}/heating"
    assert owner.send_form(path, text="The thermostat is in the hall.").status_code == 303
    owner.send_form(path, text="The thermostat is in the hall.")

    assert "Mabel Quince" not in owner.get("/corrections").text
    with database.reading() as session:
        sent = session.query(Delivery).filter(Delivery.author == "person:1").one()
        assert (sent.to, sent.text) == ("+442079460123", "The thermostat is in the hall.")


def test_nothing_to_correct(owner: Visitor, filled: Filled) -> None:
    """
    In the other house nobody was told anything that has changed.
    """
    assert "Nothing to correct" in owner.get("/corrections", params={"house": LOFT}).text
