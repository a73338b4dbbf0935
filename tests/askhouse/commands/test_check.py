"""askhouse check, index and evaluate, through the command line."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from askhouse.commands import app
from askhouse.errors import KnowledgeError
from tests.house import GROWN, SECRETS, SMALL


def run(*arguments: object) -> Result:
    return CliRunner().invoke(app, [str(argument) for argument in arguments])


def as_json(result: Result) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(result.stdout)
    return found


@pytest.fixture
def knowledge(tmp_path: Path) -> Path:
    """A folder with a copy of Ferry Lodge."""
    folder = tmp_path / "houses"
    folder.mkdir()
    (folder / "ferry-lodge.yaml").write_bytes(SMALL.read_bytes())
    return folder


def spoil(knowledge: Path, old: str, new: str) -> None:
    path = knowledge / "ferry-lodge.yaml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


# check


def test_a_good_house_is_counted(knowledge: Path) -> None:
    """
    Without a problem, one line a house says how many facts and notes there are; exit code 0.
    """
    result = run("check", "-k", knowledge)

    assert (result.stdout, result.stderr) == ("ferry-lodge: 8 facts, 0 notes\n", "")
    assert result.exit_code == 0
    assert run("check", "-k", GROWN).stdout == "ferry-lodge: 7 facts, 1 notes\n"


def test_a_problem_is_told_with_its_line(knowledge: Path) -> None:
    """
    An error says file, line and field, in both forms; exit code 1.
    """
    spoil(knowledge, "sensitive: true", "sensitve: true")

    result = run("check", "-k", knowledge)
    told = run("check", "-k", knowledge, "--json")

    assert result.exit_code == told.exit_code == 1
    assert "ferry-lodge.yaml:" in result.stderr
    assert "sensitve" in result.stderr
    problems = as_json(told)["problems"]
    assert [list(problem) for problem in problems] == [
        ["file", "line", "field", "what", "mend", "severity"]
    ] * len(problems)
    assert "error" in {problem["severity"] for problem in problems}
    assert not any(secret in result.output + told.output for secret in SECRETS)


def test_json_of_a_good_house(knowledge: Path) -> None:
    """
    --json gives the houses with their number of facts, and no problems.
    """
    assert as_json(run("check", "-k", knowledge, "--json")) == {
        "houses": {"ferry-lodge": 8},
        "problems": [],
    }


def test_a_folder_that_is_not_there_is_an_error(tmp_path: Path) -> None:
    """
    The error names the folder and the two ways to give another.
    """
    result = run("check", "-k", tmp_path / "gone")

    assert isinstance(result.exception, KnowledgeError)
    assert "--knowledge" in str(result.exception)
    assert "ASKHOUSE_KNOWLEDGE" in str(result.exception)


def test_an_empty_folder_has_no_house(tmp_path: Path) -> None:
    """
    A folder without a house is a problem, and said.
    """
    result = run("check", "-k", tmp_path)

    assert result.exit_code == 1
    assert "No house can be used" in " ".join(result.stderr.split())


# index


def test_the_index_is_made_and_brought_up_to_date(knowledge: Path) -> None:
    """
    First everything is embedded, then nothing, then the changed fact alone; what is gone goes.
    """
    first = as_json(run("index", "-k", knowledge, "--json"))
    again = as_json(run("index", "-k", knowledge, "--json"))
    spoil(knowledge, "2 cars on the gravel", "3 cars on the gravel")
    changed = as_json(run("index", "-k", knowledge, "--json"))

    assert Path(first["file"]).is_file()
    assert (first["houses"], first["facts"]) == (1, 8)
    assert first["embedded"] == first["views"] > 20
    assert (again["embedded"], again["forgotten"]) == (0, 0)
    assert changed["embedded"] == changed["forgotten"] == 2


def test_anew_embeds_everything(knowledge: Path) -> None:
    """
    --anew throws the file away first.
    """
    run("index", "-k", knowledge)

    made = as_json(run("index", "-k", knowledge, "--anew", "--json"))

    assert made["embedded"] == made["views"]


def test_a_broken_index_is_made_again_with_one_line(knowledge: Path) -> None:
    """
    The line stands on standard error, so that JSON on standard output stays JSON.
    """
    (knowledge / ".askhouse").mkdir()
    (knowledge / ".askhouse" / "index.npz").write_bytes(b"broken")

    result = run("index", "-k", knowledge, "--json")

    assert as_json(result)["embedded"] > 20
    assert " ".join(result.stderr.split()).count("the index is made again") == 1


# evaluate


@pytest.fixture
def labelled(tmp_path: Path) -> Path:
    """A labelled set of three messages to Ferry Lodge."""
    folder = tmp_path / "labelled"
    (folder / "properties").mkdir(parents=True)
    (folder / "properties" / "ferry-lodge.yaml").write_bytes(SMALL.read_bytes())
    base = {"property": "ferry-lodge", "verified": False}
    lines = [
        {
            **base,
            "id": "a",
            "message": "where are the bins",
            "parts": [{"outcome": "answer", "facts": ["bins"]}],
        },
        {**base, "id": "b", "message": "is there a harp?", "parts": [{"outcome": "gap"}]},
        {**base, "id": "c", "message": "thanks!", "parts": [{"outcome": "chat"}]},
    ]
    (folder / "messages.jsonl").write_text("\n".join(json.dumps(line) for line in lines))
    return folder


def test_a_set_is_measured(labelled: Path, tmp_path: Path) -> None:
    """
    --json gives each figure with its interval; --details writes a line a message.
    """
    details = tmp_path / "details.jsonl"

    result = run("evaluate", labelled, "--json", "--details", details)

    measured = as_json(result)
    assert measured["shares"]["wrong replies"]["total"] == 3
    assert measured["shares"]["gaps kept"]["total"] == 1
    assert all(
        0 <= share["interval"][0] <= share["interval"][1] <= 1
        for share in measured["shares"].values()
    )
    assert measured["retrieval"]["messages"] == 1
    assert len(details.read_text(encoding="utf-8").splitlines()) == 3


def test_figures_and_curve_are_printed(labelled: Path) -> None:
    """
    Without --json there is a line for each figure.
    """
    result = run("evaluate", labelled)

    assert result.exit_code == 0
    for figure in ("right answers", "wrong replies", "gaps kept", "Wilson", "recall at 1"):
        assert figure in result.stdout
    assert "\x1b" not in result.stdout
    assert "share of answers kept" not in run("evaluate", labelled, "--no-curve").stdout


def test_what_is_not_a_number_is_null(labelled: Path) -> None:
    """
    Where nothing was answered there is no curve; JSON has null for it, since NaN is no JSON.
    """
    (labelled / "messages.jsonl").write_text("")

    result = run("evaluate", labelled, "--json")

    assert "NaN" not in result.stdout
    assert as_json(result)["curves"]["area under risk-coverage"] is None


def test_a_set_that_is_not_there_is_an_error(tmp_path: Path) -> None:
    """
    Without messages.jsonl the error says what a labelled set holds.
    """
    result = run("evaluate", tmp_path)

    assert isinstance(result.exception, KnowledgeError)
    assert "messages.jsonl" in str(result.exception)
