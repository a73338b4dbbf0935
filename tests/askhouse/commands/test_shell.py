"""The command line as a shell sees it: real processes, their exit codes and their two outputs."""

from __future__ import annotations

import json
import os
import pty
import subprocess
import sys
from pathlib import Path

import pytest

from tests.house import SECRETS, SMALL

ROOT = Path(__file__).parents[3]


@pytest.fixture(scope="module")
def knowledge(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with Ferry Lodge, whose index is made by the first process."""
    folder = tmp_path_factory.mktemp("houses")
    (folder / "ferry-lodge.yaml").write_bytes(SMALL.read_bytes())
    return folder


def askhouse(
    *arguments: object, given: bytes = b"", **variables: str
) -> subprocess.CompletedProcess[bytes]:
    """Runs `python -m askhouse`."""
    return subprocess.run(
        [sys.executable, "-m", "askhouse", *map(str, arguments)],
        input=given,
        capture_output=True,
        cwd=ROOT,
        env={**os.environ, "COLUMNS": "80", **variables},
        check=False,
    )


def test_a_reply_is_json_alone(knowledge: Path) -> None:
    """
    Standard output is one JSON object, standard error empty, and the exit code tells the outcome.
    """
    done = askhouse("ask", "-", "where are the bins", "--json", ASKHOUSE_KNOWLEDGE=str(knowledge))

    (part,) = json.loads(done.stdout)["parts"]
    assert done.stderr == b""
    assert done.returncode == {"answer": 0, "chat": 0, "gap": 3, "escalate": 4}[part["outcome"]]


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        # The host's mistakes: 1.
        (["ask", "x", "bins?", "-k", "/no/such/folder"], 1, "there is no folder /no/such/folder"),
        (["check", "-k", "/no/such/folder"], 1, "there is no folder /no/such/folder"),
        (["evaluate", "/no/such/folder"], 1, "/no/such/folder/messages.jsonl cannot be read"),
        # The caller's and the operator's: 2.
        (["ask", "mill-loft", "bins?"], 2, "no house is called 'mill-loft'"),
        (["ask", "ferry-lodge", " "], 2, "the message is empty"),
        (["ask", "ferry-lodge", "a" * 10_001], 2, "the message has 10001 characters"),
        (["ask", "ferry-lodge", "bins?", "--model", "/no/such/model"], 2, "/no/such/model"),
    ],
    ids=["folder", "check", "evaluate", "house", "empty", "long", "model"],
)
def test_a_foreseen_error_is_one_line(
    knowledge: Path, arguments: list[str], code: int, said: str
) -> None:
    """
    An error is one line on standard error, however long, without a trace; nothing else is printed.
    """
    done = askhouse(*arguments, ASKHOUSE_KNOWLEDGE=str(knowledge))

    lines = done.stderr.decode().splitlines()
    assert [line for line in lines if line.startswith("askhouse: ")] == lines[-1:]
    assert said in lines[-1]
    assert b"Traceback" not in done.stderr
    assert done.stdout == b""
    assert done.returncode == code


def test_a_wrong_option_is_a_usage_error() -> None:
    """
    What the command line does not know is exit code 2, with a hint to the help.
    """
    done = askhouse("ask", "--sauna")

    assert done.returncode == 2
    assert b"Usage" in done.stderr
    assert b"Traceback" not in done.stderr


def test_a_wrong_setting_is_named(knowledge: Path) -> None:
    """
    An index that cannot be written is the operator's mistake: one line that names the variable.
    """
    (knowledge / "taken").write_text("a file")
    index = str(knowledge / "taken" / "index.npz")

    done = askhouse("index", "-k", knowledge, ASKHOUSE_INDEX=index)

    assert done.returncode == 2
    assert b"ASKHOUSE_INDEX" in done.stderr.splitlines()[-1]
    assert b"Traceback" not in done.stderr


def test_a_file_that_cannot_be_written_is_one_line(tmp_path: Path) -> None:
    """
    Where the system refuses a file, the error says which and why.
    """
    (tmp_path / "properties").mkdir()
    (tmp_path / "properties" / "ferry-lodge.yaml").write_bytes(SMALL.read_bytes())
    (tmp_path / "messages.jsonl").write_text("")

    done = askhouse("evaluate", tmp_path, "--details", tmp_path / "no" / "such" / "details.jsonl")

    assert done.returncode == 2
    assert done.stderr.splitlines()[-1].decode() == (
        f"askhouse: {tmp_path}/no/such/details.jsonl: No such file or directory"
    )


def test_a_closed_pipe_is_no_error(knowledge: Path) -> None:
    """
    `askhouse … | head -0` ends without a complaint.
    """
    with subprocess.Popen(
        [sys.executable, "-m", "askhouse", "check", "-k", str(knowledge)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        cwd=ROOT,
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        complaint = process.stderr.read()

    assert complaint == b""
    assert process.returncode in (0, 1)  # which one is up to the libraries that print


def test_help_names_every_command() -> None:
    """
    The help lists the commands with a sentence each.
    """
    said = askhouse("--help").stdout.decode()

    for command in ("ask", "check", "index", "evaluate", "serve"):
        assert command in said


def test_the_first_start_shows_signs_of_life(tmp_path: Path) -> None:
    """
    In a terminal, embedding for the first time shows how far it is; the second time it is silent.
    """
    (tmp_path / "ferry-lodge.yaml").write_bytes(SMALL.read_bytes())
    command = ["ask", "ferry-lodge", "what is the door code", "-k", str(tmp_path)]

    first, second = in_terminal(command), in_terminal(command)

    assert "embedding ferry-lodge: " in first
    assert "embedding ferry-lodge: " not in second
    for output in (first, second):
        assert "Draft reply" in output
        assert "Traceback" not in output
        assert not any(secret in output for secret in SECRETS)


def test_a_broken_index_is_said_once(tmp_path: Path) -> None:
    """
    The index that is made again is one line on standard error, and the answer comes all the same.
    """
    (tmp_path / "ferry-lodge.yaml").write_bytes(SMALL.read_bytes())
    (tmp_path / ".askhouse").mkdir()
    (tmp_path / ".askhouse" / "index.npz").write_bytes(b"broken")

    done = askhouse("ask", "ferry-lodge", "where are the bins", "--json", "-k", tmp_path)
    again = askhouse("ask", "ferry-lodge", "where are the bins", "--json", "-k", tmp_path)

    assert b"the index is made again" in done.stderr
    assert done.stdout == again.stdout != b""
    assert again.stderr == b""


def in_terminal(arguments: list[str]) -> str:
    """What a terminal shows: standard output and error together, with a terminal behind them."""
    ours, theirs = pty.openpty()
    with subprocess.Popen(
        [sys.executable, "-m", "askhouse", *arguments],
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        cwd=ROOT,
        env={**os.environ, "TERM": "xterm", "COLUMNS": "100", "LINES": "40"},
    ):
        os.close(theirs)
        shown = b""
        # On Linux a terminal whose last process has gone is an error to read from.
        try:
            while chunk := os.read(ours, 65_536):
                shown += chunk
        except OSError:
            pass
    os.close(ours)
    return shown.decode(errors="replace")
