"""askhouse ask: a guest's message in, a cited draft reply out."""

from __future__ import annotations

import dataclasses
import json
import os
import re
import shutil
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from askhouse.commands import app
from askhouse.commands.shared import EXIT_GAP, EXIT_HOST, EXIT_OK, EXIT_USAGE
from askhouse.errors import KnowledgeError, MessageError, UnknownHouseError
from askhouse.knowledge.load import load_houses
from tests.factories import make_fact, make_house
from tests.house import DOOR_CODE, GROWN, SECRETS, SMALL
from tests.standins import make_assistant


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Ferry Lodge with its index, made once."""
    folder = tmp_path_factory.mktemp("made")
    (folder / "ferry-lodge.yaml").write_bytes(SMALL.read_bytes())
    assert CliRunner().invoke(app, ["index", "--knowledge", str(folder)]).exit_code == 0
    return folder


@pytest.fixture
def knowledge(made: Path, tmp_path: Path) -> Path:
    """A folder with a copy of Ferry Lodge and its index."""
    return Path(shutil.copytree(made, tmp_path / "knowledge"))


def ask(knowledge: Path, *arguments: str, given: str | bytes | None = None) -> Result:
    return CliRunner().invoke(app, ["ask", *arguments, "--knowledge", str(knowledge)], input=given)


def as_json(result: Result) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(result.stdout)
    return found


@pytest.mark.parametrize(
    "text",
    [
        "where are the bins",
        "what is the door code",
        "Where are the bins? Do you have a sauna? The lamp is broken.",
        "lovely, thanks",
        "there is a strong smell of gas",
        "Gdzie możemy zaparkować samochód na noc?",
        "[bold]bins[/bold] :key: 🔑",
    ],
)
def test_the_exit_code_says_what_became_of_it(knowledge: Path, text: str) -> None:
    """
    4 where a part goes to the host, else 3 where one is a gap, else 0; whatever the models decide.
    """
    result = ask(knowledge, "ferry-lodge", text, "--json")

    outcomes = {part["outcome"] for part in as_json(result)["parts"]}
    assert outcomes <= {"answer", "gap", "escalate", "chat"}
    assert result.exit_code == (
        EXIT_HOST if "escalate" in outcomes else EXIT_GAP if "gap" in outcomes else EXIT_OK
    )
    assert (EXIT_OK, EXIT_GAP, EXIT_HOST) == (0, 3, 4)


def test_json_is_all_that_stands_on_standard_output(knowledge: Path) -> None:
    """
    The output is one JSON object with house, both lengths, and each part with what it rests on.
    """
    result = ask(knowledge, "ferry-lodge", "where are the bins", "--json")

    reply = as_json(result)
    assert list(reply) == ["house", "full", "short", "parts"]
    (part,) = reply["parts"]
    assert part["text"] == "where are the bins"
    assert list(part) == [
        *("text", "language", "outcome", "kind", "level", "hazard"),
        *("confidence", "reason", "reply", "facts"),
    ]
    for fact in part["facts"]:
        assert list(fact) == ["id", "title", "written", "verified_on"]
        assert fact["written"].startswith("ferry-lodge.yaml:")


def test_the_reply_is_shown_with_what_it_rests_on(knowledge: Path) -> None:
    """
    Without --json one reads the draft, the guest's words, the outcome and the fact's place.
    """
    result = ask(knowledge, "ferry-lodge", "where are the bins")

    said = " ".join(result.stdout.replace("│", " ").split())
    assert "Draft reply" in said
    assert as_json(ask(knowledge, "ferry-lodge", "where are the bins", "--json"))["short"] in said
    assert "where are the bins" in said


def test_short_is_the_short_reply(knowledge: Path) -> None:
    """
    --short shows the length of a text message, without greeting.
    """
    assert "Hello from the lake," in ask(knowledge, "ferry-lodge", "where are the bins").stdout
    short = ask(knowledge, "ferry-lodge", "where are the bins", "--short").stdout
    assert "Hello from the lake," not in short


@pytest.mark.parametrize("more", [[], ["--why"], ["--short"], ["--json"]])
@pytest.mark.parametrize("text", ["wifi password", "what is the wifi password? door code?"])
def test_a_stranger_sees_no_secret_in_any_view(knowledge: Path, text: str, more: list[str]) -> None:
    """
    Neither the reply nor the table of candidates shows a code to an unverified sender.
    """
    result = ask(knowledge, "ferry-lodge", text, *more)

    assert result.stdout
    assert not any(secret in result.output for secret in SECRETS)


def test_why_shows_the_candidates(knowledge: Path) -> None:
    """
    --why shows how each part was read, the reason, and the facts that came near.
    """
    said = ask(knowledge, "ferry-lodge", "where are the bins", "--why").stdout

    assert "read as: where are the bins" in said
    assert "candidate" in said
    assert "Bins [bins]" in said


@pytest.fixture
def by_hand(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """`ask` opens Ferry Lodge and Asking House with heads, threshold and vectors made by hand."""
    asking = make_house(
        make_fact("steam", "Up there.", asks=("sauna iron bins boat oars heating stove logs",)),
        make_fact("press", "Down here.", asks=("sauna iron bins boat oars parking cars lighter",)),
        slug="asking-house",
    )
    assistant = make_assistant([*load_houses(SMALL).houses.values(), asking], tmp_path)
    calibration = dataclasses.replace(assistant.calibration, harmless=0.0001)
    monkeypatch.setattr(assistant, "_calibration", calibration)
    monkeypatch.setattr("askhouse.commands.ask.open_assistant", lambda *_: assistant)


def why(text: str, *arguments: str, house: str = "ferry-lodge") -> dict[str, str]:
    """The lines of `--why` for a message of one part, by what stands before the colon."""
    shown = CliRunner().invoke(app, ["ask", house, text, "--why", *arguments]).stdout
    said = shown.split("\n1. ")[1]
    assert "\n2. " not in said
    width = int(os.environ.get("COLUMNS", "80"))
    assert all(len(line) <= width for line in said.splitlines())
    found = re.findall(r"^   (\w+): (.*(?:\n\S.*)*)", said, re.MULTILINE)
    return {name: " ".join(line.split()) for name, line in found}


@pytest.mark.usefixtures("by_hand")
@pytest.mark.parametrize(
    ("text", "rule"),
    [
        ("where are the bins", "chance 0.998 is at or above the threshold"),
        ("what is the door code", "asks for a code and is not verified"),
        ("we are at the door what is the door code", "asks for a code and is not verified"),
        ("the house is on fire", "alarm by words"),
        ("where can we smoke", "alarm by the heads, 1.000"),
        ("do you have a sauna", "below the threshold 0.500: question"),
        ("we want a refund", "below the threshold 0.500: request"),
        ("it is lovely here", "below the threshold 0.500: chat"),
        (
            f"{'lovely ' * 7}{'broken refund dirty ' * 6}",
            "below the threshold 0.500: damage",
        ),
        ("lovely lovely voda", "below the threshold 0.500: chat, but not surely"),
        ("Gdzie możemy zaparkować samochód na noc?", "the language is not read"),
    ],
)
def test_why_names_the_rule_that_decided(text: str, rule: str) -> None:
    """
    --why says which rule decided a part, and always the threshold.
    """
    shown = why(text)

    assert shown["rule"] == rule
    assert shown["threshold"] == (
        "a fact answers from the chance 0.500 on, a further one from 0.990"
    )


@pytest.mark.usefixtures("by_hand")
def test_why_tells_a_question_back() -> None:
    """
    Where two facts, neither at the threshold, are together likely enough, that is the rule.
    """
    shown = why("where are the sauna iron bins boat oars", house="asking-house")

    assert shown["rule"] == "asked back: two facts together are likely enough"


@pytest.mark.usefixtures("by_hand")
@pytest.mark.parametrize(
    ("text", "triage"),
    [
        ("the house is on fire", "something is on fire (safety, hazard fire, level emergency)"),
        (
            "where can we smoke",
            "the whole message reads like harm, though no single word says so "
            "(safety, hazard fire, level emergency)",
        ),
        ("lovely lovely", "no signal (doubtful words count from 0.000 on)"),
        ("we are locked out", "locked out (lockout, level urgent)"),
        ("do you have a sauna", "no signal"),
    ],
)
def test_why_shows_the_signal_of_triage(text: str, triage: str) -> None:
    """
    --why names the signal with hazard and level, or says that there is none.
    """
    assert why(text)["triage"] == triage


@pytest.mark.usefixtures("by_hand")
def test_why_tells_that_an_alarm_was_raised_before() -> None:
    """
    A follow-up about something else, which reads as harm only with the message before it, has no
    signal of its own.
    """
    shown = why("and the bins?", "--after", "where can we smoke")

    assert shown["triage"] == "no signal of its own; an earlier message's alarm was raised then"


@pytest.mark.usefixtures("by_hand")
def test_why_shows_what_the_heads_read() -> None:
    """
    --why shows safety and lockout beside the limits of an alarm, and the three likeliest kinds.
    """
    shown = why("where can we smoke")

    assert shown["heads"] == "safety 1.000 (alarm from 0.900), lockout 0.000 (alarm from 0.900)"
    assert shown["kinds"].startswith("safety 1.00, question 0.00, ")
    assert shown["candidates"] == "none to show"


def test_after_is_the_thread(knowledge: Path) -> None:
    """
    An earlier message, given with --after, is what a follow-up is read with.
    """
    said = ask(
        *(knowledge, "ferry-lodge", "and when?", "--why"),
        *("--after", "is it far?", "--after", "where are the bins"),
    ).stdout

    assert "read as: where are the bins and when?" in " ".join(said.split())


def test_day_leaves_out_what_is_out_of_season(knowledge: Path) -> None:
    """
    In January the boat is no candidate, in July it is.
    """
    for day, there in (("2026-01-15", False), ("2026-07-15", True)):
        said = ask(knowledge, "ferry-lodge", "can we use the boat", "--why", "--day", day).stdout
        assert ("[boat]" in said) is there


@pytest.mark.parametrize("given", ["where are the bins\n", b"where are the bins \xff\xfe\n"])
def test_a_message_comes_from_standard_input(knowledge: Path, given: str | bytes) -> None:
    """
    With -, the message is read from standard input, whatever bytes are in it.
    """
    result = ask(knowledge, "ferry-lodge", "-", "--json", given=given)

    assert result.exception is None or isinstance(result.exception, SystemExit)
    assert as_json(result)["parts"][0]["text"].startswith("where are the bins")


def test_the_only_house_needs_no_name(knowledge: Path) -> None:
    """
    - is the only house of the folder; the folder of a grown house works as well as a file.
    """
    assert as_json(ask(knowledge, "-", "bins?", "--json"))["house"] == "ferry-lodge"

    grown = Path(shutil.copytree(GROWN, knowledge / "grown"))
    assert as_json(ask(grown, "-", "bins?", "--json"))["house"] == "ferry-lodge"


@pytest.mark.parametrize(
    ("house", "text", "error"),
    [
        ("mill-loft", "bins?", UnknownHouseError),
        ("..", "bins?", UnknownHouseError),
        ("", "bins?", UnknownHouseError),
        ("ferry-lodge", "", MessageError),
        ("ferry-lodge", "\x01", MessageError),
        ("ferry-lodge", "a" * 10_001, MessageError),
    ],
)
def test_what_cannot_be_asked_is_an_error(
    knowledge: Path, house: str, text: str, error: type[Exception]
) -> None:
    """
    An unknown house and an unreadable message are errors of the caller, not replies.
    """
    folder = knowledge / "houses"
    folder.mkdir()
    (knowledge / "ferry-lodge.yaml").rename(folder / "ferry-lodge.yaml")

    result = ask(folder, house, text)

    assert isinstance(result.exception, error)
    assert result.stdout == ""


def test_a_folder_without_houses_is_an_error(tmp_path: Path) -> None:
    """
    Where no house can be used, the error says where, and what tells more.
    """
    result = ask(tmp_path, "-", "bins?")

    assert isinstance(result.exception, KnowledgeError)
    assert str(tmp_path) in str(result.exception)


def test_a_wrong_day_is_the_callers_mistake(knowledge: Path) -> None:
    """
    A day that is none is a usage error, exit code 2.
    """
    assert ask(knowledge, "ferry-lodge", "bins?", "--day", "soon").exit_code == EXIT_USAGE == 2


def test_a_fact_with_marks_of_any_kind_is_shown_as_it_is(knowledge: Path) -> None:
    """
    Square brackets and colons in a fact are no markup and no emoji.
    """
    path = knowledge / "ferry-lodge.yaml"
    odd = path.read_text(encoding="utf-8").replace(DOOR_CODE, "[red]:key:42")
    path.write_text(odd, encoding="utf-8")

    result = ask(knowledge, "ferry-lodge", "what is the door code", "--verified")

    if result.exit_code == EXIT_OK:
        assert "[red]:key:42" in result.stdout
    assert "🔑" not in result.stdout
