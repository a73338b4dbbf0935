"""What a change of a fact would do, asked of the house as it would be."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

from askhouse.assistant import Assistant
from askhouse.knowledge import Library
from askhouse.knowledge.write import FactChange, draft_fact
from askhouse.values import House
from service.database import Database
from service.gaps.preview import Effects, assistant_over, effects, past_questions
from service.settings import ServiceSettings
from tests.conftest import DEMO_HOUSES
from tests.factories import make_fact
from tests.house import SECRETS
from tests.service.gaps.asking import asked
from tests.standins import make_assistant


def of(house: House, then: House, fact_id: str, questions: list[str], folder: Path) -> Effects:
    now_assistant = make_assistant([house], folder)
    return effects(questions, house.slug, fact_id, now_assistant, make_assistant([then], folder))


def test_a_new_fact_answers_what_nothing_answered(small_house: House, tmp_path: Path) -> None:
    """
    Past questions that the new fact answers are told with what would be said; others are not.
    """
    sauna = make_fact("sauna", "The sauna is in the garden.", title="Sauna", asks=("sauna",))
    then = replace(small_house, facts=(*small_house.facts, sauna))

    found = of(small_house, then, "sauna", ["is there a sauna", "where are the bins"], tmp_path)

    assert [(turned.question, turned.before) for turned in found.answered] == [
        ("is there a sauna", "")
    ]
    assert "in the garden" in found.answered[0].after
    assert found.changed == found.lost == ()
    assert found.asked == 2


def test_a_changed_fact_changes_earlier_answers(small_house: House, tmp_path: Path) -> None:
    """
    An earlier answer is told as it was and as it would be.
    """
    facts = tuple(
        replace(fact, text="The bins are by the road.") if fact.id == "bins" else fact
        for fact in small_house.facts
    )
    then = replace(small_house, facts=facts)

    found = of(small_house, then, "bins", ["bins", "boat?"], tmp_path)

    assert [turned.question for turned in found.changed] == ["bins"]
    assert "behind the boat shed" in found.changed[0].before
    assert "by the road" in found.changed[0].after
    assert found.answered == found.lost == ()


def test_a_removed_fact_loses_its_answers(small_house: House, tmp_path: Path) -> None:
    """
    A question that only the removed fact answered is told as lost.
    """
    facts = tuple(fact for fact in small_house.facts if fact.id != "bins")

    found = of(small_house, replace(small_house, facts=facts), "bins", ["bins"], tmp_path)

    assert [turned.question for turned in found.lost] == ["bins"]
    assert found.lost[0].after == ""


def test_no_code_is_in_a_preview(small_house: House, tmp_path: Path) -> None:
    """
    A sensitive fact that changes is answered to no stranger, before or after.
    """
    facts = tuple(
        replace(fact, text=fact.text.replace("4826", "5937")) if fact.id == "door-code" else fact
        for fact in small_house.facts
    )

    found = of(small_house, replace(small_house, facts=facts), "door-code", ["door code"], tmp_path)

    assert (found.answered, found.changed, found.lost) == ((), (), ())
    assert not any(secret in repr(found) for secret in (*SECRETS, "5937"))


def test_an_unreadable_question_is_left_out(small_house: House, tmp_path: Path) -> None:
    """
    A past text that can no longer be read as a message stops nothing.
    """
    found = of(small_house, small_house, "bins", ["\u200b", "x" * 20_000, "bins"], tmp_path)

    assert found.asked == 3
    assert found.changed == ()


def test_past_questions_are_told_once(database: Database) -> None:
    """
    The same words count once, the newest first; what was for the host is none of them.
    """
    with database.writing() as session:
        asked(session, "Where are the bins", outcome="answer")
        asked(session, "sauna?")
        asked(session, "where are  the bins", outcome="answer")
        asked(session, "it smells of gas", outcome="escalate")
        asked(session, "sauna?", house="mill-loft")

    with database.reading() as session:
        found = past_questions(session, "ferry-lodge")
        assert [text.lower().split() for text in found] == [
            ["where", "are", "the", "bins"],
            ["sauna?"],
        ]
        assert len(past_questions(session, "ferry-lodge", most=1)) == 1


def test_the_shipped_engine_shows_what_a_draft_would_do(
    demo_library: Library, demo_assistant: Assistant, settings: ServiceSettings, tmp_path: Path
) -> None:
    """
    With the real models: a drafted fact on electric cars answers the past question about them,
    leaves the one on the stopcock, and neither the files nor the index have it.
    """
    shutil.copytree(DEMO_HOUSES / "orchard-barn", tmp_path / "orchard-barn")
    change = FactChange(
        {
            "topic": "arrival",
            "title": "Charging an electric car",
            "text": "There is a charging point for electric cars in the yard, type 2, 7 kW.",
            "asks": ["where can we charge our electric car"],
        },
        new=True,
    )
    house = draft_fact(tmp_path, "orchard-barn", "car-charging", change).house
    assert house is not None
    before = settings.index_file.read_bytes()
    then = assistant_over(house, settings)

    past = ["can we charge our electric car at yours", "where is the stopcock"]
    found = effects(past, "orchard-barn", "car-charging", demo_assistant, then)

    assert [turned.question for turned in found.answered] == past[:1]
    assert "type 2" in found.answered[0].after
    assert (found.changed, found.lost) == ((), ())
    assert settings.index_file.read_bytes() == before
    assert "car-charging" not in {fact.id for fact in demo_library.house("orchard-barn").facts}
