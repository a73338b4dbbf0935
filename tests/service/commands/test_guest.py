"""askhouse export-guest and erase-guest."""

from __future__ import annotations

import datetime as dt
import json
import stat
from pathlib import Path

import pytest

from askhouse.errors import SettingsError
from service.database import Database
from tests.conftest import DEMO_HOUSES
from tests.service.commands.running import run
from tests.service.privacy.filling import DOOR_CODE, ROWAN, WREN, add_guest, everything, found_of

KNOWLEDGE = ("--knowledge", str(DEMO_HOUSES))


@pytest.fixture(autouse=True)
def _guests(database: Database) -> None:
    """Two guests, one of whom the commands are about."""
    with database.writing() as session:
        add_guest(session, WREN, dt.timedelta(days=2))
        add_guest(session, ROWAN, dt.timedelta(days=2))


def test_export_is_json_on_standard_output(database: Database) -> None:
    """
    All about the guest, whose number may be written with spaces, and nothing else is printed.
    """
    result = run(database, "export-guest", "+44 7700 900123", *KNOWLEDGE)

    assert result.exit_code == 0
    assert json.loads(result.stdout)["number"] == WREN
    assert DOOR_CODE not in result.stdout
    assert found_of(ROWAN, result.stdout) == []


def test_export_into_a_file_is_for_its_owner_alone(database: Database, tmp_path: Path) -> None:
    """
    The file holds what would be printed, and nobody else may read it.
    """
    path = tmp_path / "wren.json"
    result = run(database, "export-guest", WREN, *KNOWLEDGE, "--out", str(path))

    assert (result.exit_code, result.stdout.strip()) == (0, str(path))
    assert json.loads(path.read_text(encoding="utf-8"))["messages"]
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_erasing_asks_first(database: Database) -> None:
    """
    Without a yes nothing is erased, and the exit code is not 0.
    """
    refused = run(database, "erase-guest", WREN, given="n\n")
    with database.reading() as session:
        kept = found_of(WREN, everything(session))

    assert refused.exit_code == 1
    assert len(kept) == 6
    assert run(database, "erase-guest", WREN, given="y\n").exit_code == 0


def test_erasing_tells_what_went_and_what_stays(database: Database) -> None:
    """
    Counts on standard output; what is kept, and what a feed may bring back, on standard error.
    """
    result = run(database, "erase-guest", WREN, "--yes")

    assert result.exit_code == 0
    assert result.stdout.startswith("1 messages, 3 deliveries and the guests of 1 stays erased")
    assert "no more messages on village" in result.stderr
    assert "the feed bookings listed their booking" in result.stderr
    with database.reading() as session:
        assert found_of(WREN, everything(session, but=("opt_outs",))) == []


def test_opt_out_can_be_forgotten_too(database: Database) -> None:
    """
    With --forget-opt-out nothing at all is left.
    """
    assert run(database, "erase-guest", WREN, "--yes", "--forget-opt-out").exit_code == 0
    with database.reading() as session:
        assert found_of(WREN, everything(session)) == []


def test_number_that_is_none_is_told_without_repeating_it(database: Database) -> None:
    """
    What is no number is refused, unless it is meant as it stands.
    """
    result = run(database, "export-guest", "Wren", *KNOWLEDGE)

    assert isinstance(result.exception, SettingsError)
    assert "Wren" not in str(result.exception)
    assert run(database, "export-guest", "Wren", "--as-sent", *KNOWLEDGE).exit_code == 0


def test_missing_database_is_told(tmp_path: Path) -> None:
    """
    A path where no database lies is a mistake in writing, and none is made there.
    """
    path = tmp_path / "none.db"
    result = run(f"sqlite:///{path}", "erase-guest", WREN, "--yes")

    assert isinstance(result.exception, SettingsError)
    assert not path.exists()
