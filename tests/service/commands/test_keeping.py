"""askhouse back-up, restore and trail."""

from __future__ import annotations

from pathlib import Path

import pytest
from sqlalchemy import delete, select

from service.database import Database
from service.errors import BackupError
from service.privacy.trail import record
from service.tables import Trail
from tests.service.commands.running import run, url_of
from tests.service.privacy.filling import NOW


@pytest.fixture
def knowledge(tmp_path: Path) -> tuple[str, str]:
    """A folder with one house, as an option."""
    (tmp_path / "houses").mkdir()
    (tmp_path / "houses" / "flat.yaml").write_text("slug: flat\n")
    return ("--knowledge", str(tmp_path / "houses"))


@pytest.fixture(autouse=True)
def _lines(database: Database) -> None:
    """Three lines of a trail."""
    with database.writing() as session:
        for number in range(3):
            record(session, "person:1", "stay.add", f"stay:{number}", {}, NOW)


def test_backup_and_back(database: Database, knowledge: tuple[str, str], tmp_path: Path) -> None:
    """
    Saved, a line added, restored with --force: the line is gone and the houses are as they were.
    """
    saved = run(database, "back-up", str(tmp_path / "b.zip"), *knowledge)
    with database.writing() as session:
        record(session, "person:1", "stay.add", "stay:9", {}, NOW)
    (tmp_path / "houses" / "flat.yaml").write_text("slug: changed\n")
    url = url_of(database)
    database.close()
    refused = run(url, "restore", str(tmp_path / "b.zip"), *knowledge)
    restored = run(url, "restore", str(tmp_path / "b.zip"), *knowledge, "--force")

    assert saved.stdout.splitlines()[-1] == str(tmp_path / "b.zip")
    assert isinstance(refused.exception, BackupError)
    assert restored.exit_code == 0
    assert (tmp_path / "houses" / "flat.yaml").read_text() == "slug: flat\n"
    with database.reading() as session:
        assert len(session.scalars(select(Trail.id)).all()) == 3


def test_whole_trail_is_told(database: Database) -> None:
    """
    Exit code 0, how many lines there are, and the last hash, to be noted elsewhere.
    """
    result = run(database, "trail", "verify")
    with database.reading() as session:
        last = session.scalars(select(Trail.hash).order_by(Trail.id.desc())).first()

    assert (result.exit_code, result.stdout.split("\n")) == (0, ["whole: 3 lines", last, ""])


def test_changed_trail_is_told(database: Database) -> None:
    """
    Exit code 1 and the line from which on the chain does not fit.
    """
    with database.writing() as session:
        second = session.scalars(select(Trail).order_by(Trail.id)).all()[1]
        second.subject = "stay:7"
    result = run(database, "trail", "verify")

    assert result.exit_code == 1
    assert f"broken at line {second.id}" in result.stderr


def test_shortened_trail_is_told_by_a_backup(
    database: Database, knowledge: tuple[str, str], tmp_path: Path
) -> None:
    """
    Without its last line the chain is whole; held against a backup, the missing line shows.
    """
    backup = tmp_path / "b.zip"
    run(database, "back-up", str(backup), *knowledge)
    good = run(database, "trail", "verify", "--backup", str(backup))
    with database.writing() as session:
        last = session.scalars(select(Trail.id).order_by(Trail.id.desc())).first()
        session.execute(delete(Trail).where(Trail.id == last))

    assert good.exit_code == 0
    assert run(database, "trail", "verify").exit_code == 0
    cut = run(database, "trail", "verify", "--backup", str(backup))
    assert cut.exit_code == 1
    assert "missing or changed" in cut.stderr
