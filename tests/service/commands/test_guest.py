"""askhouse export-guest and erase-guest."""

from __future__ import annotations

import datetime as dt
import json
import shutil
import stat
from pathlib import Path

import pytest
from sqlalchemy import select

from askhouse.errors import SettingsError
from askhouse.knowledge.write import FactChange, read_fact, write_fact
from service.database import Database
from service.tables import Change, Delivery, Inbound, Lesson, PartRow, Thread, Trail
from tests.conftest import DEMO_HOUSES
from tests.house import SMALL
from tests.service.commands.running import run
from tests.service.privacy.filling import DOOR_CODE, ROWAN, WREN, add_guest, everything, found_of

WORDS = "where does the walrus rubbish go"
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


@pytest.fixture
def house_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Ferry Lodge's one file, in a folder of its own."""
    folder = tmp_path / "houses"
    folder.mkdir()
    monkeypatch.setenv("ASKHOUSE_KNOWLEDGE", str(folder))
    return Path(shutil.copy(SMALL, folder / "ferry-lodge.yaml"))


def teach(database: Database, house_file: Path, number: str, *, keep: bool = True) -> None:
    """A host makes a guest's words a way of asking for the bins, as the pages do."""
    at = dt.datetime(2026, 6, 29, 12, tzinfo=dt.UTC)
    asks = read_fact(house_file.parent, "ferry-lodge", "bins").fields["asks"]
    assert isinstance(asks, list)
    change = FactChange(fields={"asks": [*asks, WORDS]})
    with database.writing() as session:
        lesson = session.scalars(
            select(Lesson).join(PartRow).join(Inbound).join(Thread).where(Thread.sender == number)
        ).one()
        lesson.house, lesson.verdict, lesson.fact = "ferry-lodge", "answered-by", "bins"
        lesson.text, lesson.at = WORDS, at
        if not keep:
            return
        written = write_fact(house_file.parent, "ferry-lodge", "bins", change, None)
        session.add(
            Change(
                house="ferry-lodge",
                file=written.file,
                fact="bins",
                before=written.before,
                after=written.after,
                person="person:1",
                at=at,
            )
        )


def test_words_that_became_a_way_of_asking_are_taken_out(
    database: Database, house_file: Path
) -> None:
    """
    The house's file is what it was before they were taught, to the byte, and no change holds them.
    """
    before = house_file.read_bytes()
    teach(database, house_file, WREN)
    assert WORDS.encode() in house_file.read_bytes()

    result = run(database, "erase-guest", WREN, "--yes")

    assert house_file.read_bytes() == before
    assert "ferry-lodge.yaml, line " in result.stderr
    assert "bins: taken out" in result.stderr
    with database.reading() as session:
        assert "walrus" not in everything(session)
        assert "fact.write" in set(session.scalars(select(Trail.did)))


def test_words_that_another_guest_used_stay(database: Database, house_file: Path) -> None:
    """
    What another guest asked in the same words is not the erased guest's alone.
    """
    teach(database, house_file, WREN)
    teach(database, house_file, ROWAN, keep=False)
    taught = house_file.read_bytes()

    run(database, "erase-guest", WREN, "--yes")

    assert house_file.read_bytes() == taught


def test_words_that_were_edited_since_are_told(database: Database, house_file: Path) -> None:
    """
    What is not found as it was is the host's to look for: the file and the line are named.
    """
    teach(database, house_file, WREN)
    edited = house_file.read_text("utf-8").replace(WORDS, f"please {WORDS}")
    house_file.write_text(edited, "utf-8")

    result = run(database, "erase-guest", WREN, "--yes")

    assert "bins: not found as they were" in result.stderr
    assert house_file.read_text("utf-8") == edited


def test_a_digest_that_waits_loses_its_words(database: Database) -> None:
    """
    The week's e-mail may hold the guest's words: it goes out without any, and says where to look.
    """
    at = dt.datetime(2026, 6, 29, 8, tzinfo=dt.UTC)
    with database.writing() as session:
        session.add(
            Delivery(
                key="digest:2026-W27:anna",
                channel="email",
                target="anna",
                title="2 questions",
                text="is there a walrus dryer",
                blotted="2 questions: https://stay.example.org/gaps",
                blot_at=at + dt.timedelta(hours=2),
                due_at=at,
                created_at=at,
            )
        )

    run(database, "erase-guest", WREN, "--yes")

    with database.reading() as session:
        digest = session.scalars(
            select(Delivery)
            .where(Delivery.channel == "email")
            .where(Delivery.key.startswith("digest:"))
        ).one()
    assert (digest.state, digest.text) == ("due", "2 questions: https://stay.example.org/gaps")


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
