"""The samples of a unit and of a container start what there is to start, and not as root."""

from __future__ import annotations

import json
import re
import shlex
import shutil
import subprocess
from importlib.resources import files
from pathlib import Path

import pytest
from typer.main import get_command

from askhouse.commands import app
from service.app import create_app
from service.settings import ServiceSettings

SAMPLES = Path(str(files("service.samples")))


def _unit() -> dict[str, list[str]]:
    """The directives of the unit, of all sections, each with its values."""
    directives: dict[str, list[str]] = {}
    for line in (SAMPLES / "askhouse.service").read_text(encoding="utf-8").splitlines():
        name, equals, value = line.partition("=")
        if equals and not line.startswith("#"):
            directives.setdefault(name, []).append(value)
    return directives


def _container() -> list[tuple[str, str]]:
    """The instructions of the container file in order, each on one line."""
    text = (SAMPLES / "Containerfile").read_text(encoding="utf-8").replace("\\\n", " ")
    return [
        (line.split()[0], line.partition(" ")[2])
        for line in text.splitlines()
        if line and not line.startswith("#")
    ]


def _started_by_container() -> list[str]:
    (entry,) = [said for name, said in _container() if name == "ENTRYPOINT"]
    started: list[str] = json.loads(entry)
    return started


@pytest.mark.parametrize("started", [shlex.split(_unit()["ExecStart"][0]), _started_by_container()])
def test_what_they_start_is_a_command_with_these_options(started: list[str]) -> None:
    """
    Both start `askhouse serve`, with options that it has.
    """
    program, command, *options = started
    serve = get_command(app).commands[command]  # type: ignore[attr-defined]
    known = {option for parameter in serve.params for option in parameter.opts}

    assert program.endswith("/bin/askhouse")
    assert {option for option in options if option.startswith("--")} <= known


def test_neither_runs_as_root() -> None:
    """
    The unit and the container name a user of their own, and keep its files to it.
    """
    unit = _unit()
    users = [said for name, said in _container() if name == "USER"]

    assert unit["User"] == ["askhouse"] == users
    assert (unit["UMask"], unit["NoNewPrivileges"]) == (["0077"], ["yes"])


def test_container_asks_for_health_where_it_is_told(settings: ServiceSettings) -> None:
    """
    The address of its health check is one that the service answers.
    """
    (check,) = [said for name, said in _container() if name == "HEALTHCHECK"]
    found = re.search(r"http://127\.0\.0\.1:8321(/[a-z/]+)", check)
    paths = create_app(settings).openapi()["paths"]

    assert found is not None
    assert found[1] in paths


def test_both_set_the_same_variables() -> None:
    """
    Houses and database are set in both, since both keep them in one place.
    """
    unit = {value.partition("=")[0] for value in _unit()["Environment"]}
    (said,) = [said for name, said in _container() if name == "ENV"]

    assert unit == {word.partition("=")[0] for word in said.split()}


@pytest.mark.skipif(not shutil.which("systemd-analyze"), reason="no systemd here")
def test_unit_is_read_by_systemd(tmp_path: Path) -> None:
    """
    systemd itself finds nothing wrong with the unit's directives.
    """
    unit = tmp_path / "askhouse.service"
    text = (SAMPLES / "askhouse.service").read_text(encoding="utf-8")
    unit.write_text(re.sub("ExecStart=.*", "ExecStart=/bin/true", text))
    checked = subprocess.run(
        ["systemd-analyze", "verify", str(unit)], capture_output=True, text=True, check=False
    )

    assert "Unknown" not in checked.stderr
