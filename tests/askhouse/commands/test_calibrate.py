"""askhouse calibrate: a threshold on the host's own messages, in words, in JSON, and in use."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

import askhouse.build
from askhouse.build import Told, build_assistant, shipped_calibration
from askhouse.commands import app
from askhouse.commands.calibrate import in_words
from askhouse.decision.calibration import Calibration, Promise
from askhouse.errors import KnowledgeError, SettingsError
from askhouse.knowledge.load import Library
from askhouse.measure.threshold import Refit
from tests.house import SMALL
from tests.standins import WordEncoder, make_assistant, make_calibration

Calibrate = Callable[..., Result]


@pytest.fixture
def labelled(tmp_path: Path) -> Path:
    """Ferry Lodge, and a hundred messages of which none can be answered wrongly."""
    (tmp_path / "properties").mkdir()
    (tmp_path / "properties" / "ferry-lodge.yaml").write_bytes(SMALL.read_bytes())
    return write(tmp_path, ["where are the bins"] * 100, "bins")


def write(folder: Path, texts: Sequence[str], *facts: str, house: str = "ferry-lodge") -> Path:
    lines = [
        {
            "id": f"m{place}",
            "property": house,
            "verified": True,
            "message": text,
            "parts": [{"outcome": "answer", "facts": facts}],
        }
        for place, text in enumerate(texts)
    ]
    (folder / "messages.jsonl").write_text("\n".join(map(json.dumps, lines)), encoding="utf-8")
    return folder


@pytest.fixture
def calibrate(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Calibrate:
    """Runs the command over the stand-ins."""

    def assistant(library: Library, *_: object) -> object:
        return make_assistant(library.houses.values(), tmp_path)

    monkeypatch.setattr(askhouse.build, "build_assistant", assistant)
    monkeypatch.setattr(
        askhouse.build, "shipped_calibration", lambda _: make_calibration(WordEncoder())
    )
    monkeypatch.setattr("askhouse.encoder.open_encoder", lambda _: WordEncoder())

    def run(*arguments: object) -> Result:
        return CliRunner().invoke(app, ["calibrate", *map(str, arguments)])

    return run


def test_it_writes_a_copy_with_its_own_threshold_and_promise(
    calibrate: Calibrate, labelled: Path, tmp_path: Path
) -> None:
    """
    A hundred messages without an error keep 3 % at 95 %: the file says so, all else is as before.
    """
    target = tmp_path / "own" / "decision.json"

    done = calibrate(labelled, "--out", target)

    assert done.exit_code == 0, done.output
    written, before = Calibration.read(target), make_calibration(WordEncoder())
    assert written.threshold == pytest.approx(0.05)
    assert written.promise == Promise(risk=0.03, confidence=0.95, messages=100, houses=1)
    assert (written.encoder, written.also, written.safety) == (
        before.encoder,
        before.also,
        before.safety,
    )
    assert "On 100 messages to 1 house, a fact answers from a chance of 0.05 on" in done.stdout
    assert "with 95% confidence at most 2.95% of messages like these" in done.stdout


def test_json_says_the_same(calibrate: Calibrate, labelled: Path, tmp_path: Path) -> None:
    """
    Standard output is one JSON object; 1 - 0.05^(1/100) = 0.029513.
    """
    target = tmp_path / "decision.json"

    content = json.loads(calibrate(labelled, "--out", target, "--json").stdout)

    assert content["kept"] is True
    assert content["bound"] == pytest.approx(0.029513)
    assert (content["messages"], content["wrong"], content["messages_needed"]) == (100, 0, 99)
    assert content["file"] == str(target)


def test_too_few_messages_promise_nothing(
    calibrate: Calibrate, labelled: Path, tmp_path: Path
) -> None:
    """
    The smallest number that could show it is told, nothing is written, and the exit code is 1.
    """
    write(labelled, ["where are the bins"] * 98, "bins")

    done = calibrate(labelled, "--out", tmp_path / "decision.json")

    assert done.exit_code == 1
    assert "takes at least 99, none of them wrong" in done.stderr
    assert not (tmp_path / "decision.json").exists()


def test_it_lies_beside_the_houses(calibrate: Calibrate, labelled: Path, tmp_path: Path) -> None:
    """
    Without --out, the file is where the assistant looks for it.
    """
    houses = tmp_path / "houses"
    houses.mkdir()

    assert calibrate(labelled, "--knowledge", houses).exit_code == 0
    assert (houses / ".askhouse" / "decision.json").exists()


@pytest.mark.parametrize(
    ("arguments", "said"),
    [(["--risk", "0"], "--risk is 0"), (["--confidence", "1"], "--confidence is 1")],
)
def test_shares_are_checked(
    calibrate: Calibrate, labelled: Path, arguments: list[str], said: str
) -> None:
    """
    A promise of no risk, or without any doubt, cannot be kept.
    """
    done = calibrate(labelled, *arguments)

    assert isinstance(done.exception, SettingsError)
    assert said in str(done.exception)


@pytest.mark.parametrize(
    ("house", "fact", "said"),
    [
        ("mill-loft", "bins", "message m0 is for 'mill-loft'"),
        ("ferry-lodge", "bin", "message m0 names the fact 'bin', which ferry-lodge does not have"),
    ],
)
def test_labels_must_fit_the_houses(
    calibrate: Calibrate, labelled: Path, house: str, fact: str, said: str
) -> None:
    """
    A misspelled fact would count as a wrong reply, so it is told instead.
    """
    done = calibrate(write(labelled, ["where are the bins"], fact, house=house))

    assert isinstance(done.exception, KnowledgeError)
    assert said in str(done.exception)


def test_errors_that_are_sure_are_told_apart_from_few_messages() -> None:
    """
    With enough messages the reason is another, and so is what to do.
    """
    chosen = Refit(1.0, 0, 0, messages=500, houses=2, bound=0.01, needed=99)

    said = " ".join(in_words(chosen, 0.8, 0.03, 0.95))

    assert "On 500 messages to 2 houses, even the surest replies are wrong too often" in said
    assert "askhouse evaluate --details" in said


@pytest.fixture(scope="module")
def empty() -> Library:
    return Library({}, ())


def test_the_assistant_uses_a_file_of_its_model(empty: Library, tmp_path: Path) -> None:
    """
    One clear line tells that the host's own threshold holds, and on what it was chosen.
    """
    own = tmp_path / "decision.json"
    replace(
        shipped_calibration("trained"), threshold=0.61, promise=Promise(0.03, 0.95, 240, 3)
    ).write(own)
    told: list[str] = []

    build_assistant(empty, None, "trained", Told(line=told.append), own)

    assert told == [
        "decision.json is used: answers from a chance of 0.61 on, "
        "chosen on 240 messages to 3 houses of your own"
    ]


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("{", "decision.json cannot be read, or is of another version"),
        (None, "decision.json belongs to another model"),
    ],
    ids=["broken", "other model"],
)
def test_a_file_that_does_not_fit_is_told_and_left(
    empty: Library, tmp_path: Path, content: str | None, said: str
) -> None:
    """
    The decision of the package is used then, and the line says how to make the file again.
    """
    own = tmp_path / "decision.json"
    if content is None:
        replace(shipped_calibration("trained"), encoder="onnx:another").write(own)
    else:
        own.write_text(content)
    told: list[str] = []

    build_assistant(empty, None, "trained", Told(line=told.append), own)

    (line,) = told
    assert line.startswith(said)
    assert "`askhouse calibrate`" in line


def test_without_a_file_nothing_is_told(empty: Library, tmp_path: Path) -> None:
    """
    Most hosts never calibrate; nothing is said to them.
    """
    told: list[str] = []

    build_assistant(empty, None, "trained", Told(line=told.append), tmp_path / "decision.json")

    assert told == []
