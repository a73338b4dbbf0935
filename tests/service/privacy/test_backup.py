"""Backup and restore: what comes back is what was there, and nothing is lost by mistake."""

from __future__ import annotations

import datetime as dt
import json
import sqlite3
import stat
import threading
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import inspect, select, text
from sqlalchemy.orm import Session

from service.database import Database, open_engine
from service.errors import BackupError
from service.privacy.archive import Manifest, unpack
from service.privacy.backup import back_up, restore
from service.privacy.trail import record
from service.tables import Table, Trail
from tests.service.databases import own_postgres
from tests.service.privacy.filling import NOW, ROWAN, WREN, add_guest

AGO = dt.timedelta(days=2)


@pytest.fixture
def knowledge(tmp_path: Path) -> Path:
    """The houses' files of a host: any bytes, in any depth."""
    folder = tmp_path / "houses"
    (folder / "barn" / "facts").mkdir(parents=True)
    (folder / "barn" / "house.yaml").write_bytes(b"slug: barn\r\n# \xff as the host left it\n")
    (folder / "barn" / "facts" / "kitchen.yaml").write_text("- id: oven\n")
    (folder / "flat.yaml").write_text("slug: flat\n")
    (folder / ".askhouse").mkdir()
    (folder / ".askhouse" / "decision.json").write_text("{}")
    return folder


@pytest.fixture
def elsewhere(database: Database, tmp_path: Path) -> Iterator[str]:
    """The URL of another, empty database of the same kind."""
    if database.engine.dialect.name == "sqlite":
        yield f"sqlite:///{tmp_path / 'elsewhere' / 'askhouse.db'}"
    else:
        with own_postgres() as url:
            yield url


def _fill(database: Database) -> None:
    with database.writing() as session:
        add_guest(session, WREN, AGO)
        add_guest(session, ROWAN, AGO)
        record(session, "person:1", "stay.add", "stay:1", {"by": "hand"}, NOW)


def _rows(url: str) -> dict[str, list[tuple[object, ...]]]:
    """All rows of all tables as the driver gives them, and the shape."""
    engine = open_engine(url)
    with Session(engine) as session:
        tables = {
            table.name: sorted((tuple(row) for row in session.execute(select(table))), key=repr)
            for table in Table.metadata.sorted_tables
        }
        shape = session.execute(text("SELECT * FROM alembic_version")).all()
        tables["alembic_version"] = [tuple(row) for row in shape]
    engine.dispose()
    return tables


def _files(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


def _url(database: Database) -> str:
    return database.engine.url.render_as_string(hide_password=False)


def test_what_comes_back_is_what_was_there(
    database: Database, elsewhere: str, knowledge: Path, tmp_path: Path
) -> None:
    """
    Restored elsewhere, every row of every table and every byte of the houses is the same.
    """
    _fill(database)
    path, manifest = back_up(database, knowledge, tmp_path / "b" / "today.zip", NOW)
    restored = restore(path, elsewhere, tmp_path / "restored")

    rows = _rows(elsewhere)
    assert rows == _rows(_url(database))
    assert len(rows["messages"]) == 2
    assert len(rows["trail"]) == 1
    assert _files(tmp_path / "restored") == _files(knowledge)
    assert restored == manifest


def test_a_later_shape_is_replaced_whole_or_not_at_all(
    database: Database, elsewhere: str, knowledge: Path, tmp_path: Path
) -> None:
    """
    Over a database of a later version, with a table more, nothing of both is mixed: a file becomes
    what it was; PostgreSQL refuses, names the table, and leaves all as it is.
    """
    _fill(database)
    path, _ = back_up(database, knowledge, tmp_path / "today.zip", NOW)
    restore(path, elsewhere, tmp_path / "restored")
    engine = open_engine(elsewhere)
    with engine.begin() as connection:
        connection.execute(text("CREATE TABLE later (stay INTEGER REFERENCES stays (id))"))
        connection.execute(text("UPDATE stays SET uid = 'changed since ' || id"))
    engine.dispose()
    since = _rows(elsewhere)

    if database.engine.dialect.name == "sqlite":
        restore(path, elsewhere, tmp_path / "restored", force=True)
        assert _rows(elsewhere) == _rows(_url(database))
    else:
        with pytest.raises(BackupError, match=r"later version of Askhouse \(later\)"):
            restore(path, elsewhere, tmp_path / "restored", force=True)
        assert _rows(elsewhere) == since
    engine = open_engine(elsewhere)
    there = "later" in inspect(engine).get_table_names()
    engine.dispose()
    assert there == (database.engine.dialect.name == "postgresql")


def test_file_is_for_its_owner_alone_and_named_by_time(
    database: Database, knowledge: Path, tmp_path: Path
) -> None:
    """
    In a folder a backup is named by its time; nobody else may read it, and nothing lies beside it.
    """
    target = tmp_path / "backups"
    target.mkdir()
    path, _ = back_up(database, knowledge, target, NOW)

    assert path.name == "20260701T123456Z.askhouse.zip"
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert list(target.iterdir()) == [path]


def test_backup_while_the_service_writes(
    database: Database, elsewhere: str, knowledge: Path, tmp_path: Path
) -> None:
    """
    Taken while another thread goes on writing, a backup is one moment: its trail is whole, as
    long as its manifest says, and between what was there before and after.
    """
    stop = threading.Event()
    written = 0

    def write() -> None:
        nonlocal written
        while not stop.is_set():
            with database.writing() as session:
                record(session, "askhouse", "test.write", f"line:{written}", {}, NOW)
            written += 1

    writer = threading.Thread(target=write)
    writer.start()
    try:
        while written < 3 and writer.is_alive():
            pass
        before = written
        path, manifest = back_up(database, knowledge, tmp_path / "b.zip", NOW)
        after = written
    finally:
        stop.set()
        writer.join()
    restore(path, elsewhere, tmp_path / "restored")

    assert before <= manifest.trail_lines <= after + 1
    assert len(_rows(elsewhere)["trail"]) == manifest.trail_lines


def test_nothing_is_overwritten_without_force(
    database: Database, elsewhere: str, knowledge: Path, tmp_path: Path
) -> None:
    """
    A database or houses that are there are kept, and told; with force they are replaced whole.
    """
    _fill(database)
    path, _ = back_up(database, knowledge, tmp_path / "b.zip", NOW)
    restore(path, elsewhere, tmp_path / "restored")
    (tmp_path / "restored" / "new.yaml").write_text("slug: new\n")
    there = Database(open_engine(elsewhere))
    with there.writing() as session:
        record(session, "person:1", "stay.add", "stay:2", {}, NOW)
    there.close()

    with pytest.raises(BackupError, match=r"the database and the houses in .* --force"):
        restore(path, elsewhere, tmp_path / "restored")
    assert len(_rows(elsewhere)["trail"]) == 2
    assert (tmp_path / "restored" / "new.yaml").exists()

    restore(path, elsewhere, tmp_path / "restored", force=True)
    assert len(_rows(elsewhere)["trail"]) == 1
    assert _files(tmp_path / "restored") == _files(knowledge)


def test_database_in_use_is_not_replaced(
    database: Database, knowledge: Path, tmp_path: Path
) -> None:
    """
    While a process holds the database open, restoring is refused, and all is as it was.
    """
    _fill(database)
    path, _ = back_up(database, knowledge, tmp_path / "b.zip", NOW)
    (knowledge / "flat.yaml").write_text("slug: changed\n")
    with database.reading() as session:
        session.execute(select(Trail))
        with pytest.raises(BackupError, match="in use: stop"):
            restore(path, _url(database), knowledge, force=True)

    assert (knowledge / "flat.yaml").read_text() == "slug: changed\n"
    assert len(_rows(_url(database))["trail"]) == 1


def _rewrite(path: Path, name: str, content: bytes) -> None:
    """The same archive with one member's bytes replaced, its own checksum right."""
    with zipfile.ZipFile(path) as old:
        members = {info.filename: old.read(info) for info in old.infolist()}
    members[name] = content
    with zipfile.ZipFile(path, "w") as new:
        for member, held in members.items():
            new.writestr(member, held)


def test_changed_backup_replaces_nothing(
    database: Database, elsewhere: str, knowledge: Path, tmp_path: Path
) -> None:
    """
    One byte of one file changed: the hashes tell, before anything is written anywhere.
    """
    path, _ = back_up(database, knowledge, tmp_path / "b.zip", NOW)
    _rewrite(path, "houses/flat.yaml", b"slug: Flat\n")

    with pytest.raises(BackupError, match=r"houses/flat\.yaml is damaged"):
        restore(path, elsewhere, tmp_path / "restored")
    assert not (tmp_path / "restored").exists()


def test_cut_off_backup_is_told(database: Database, knowledge: Path, tmp_path: Path) -> None:
    """
    A file that was not copied to its end is no backup.
    """
    path, _ = back_up(database, knowledge, tmp_path / "b.zip", NOW)
    path.write_bytes(path.read_bytes()[:-100])

    with pytest.raises(BackupError, match="is damaged"):
        restore(path, f"sqlite:///{tmp_path / 'new.db'}", tmp_path / "restored")


def test_backup_of_the_other_kind_is_told(
    database: Database, knowledge: Path, tmp_path: Path
) -> None:
    """
    A SQLite backup is not restored into PostgreSQL, nor the other way.
    """
    path, manifest = back_up(database, knowledge, tmp_path / "b.zip", NOW)
    other = (
        "postgresql+psycopg://127.0.0.1:1/none"
        if manifest.kind == "sqlite"
        else f"sqlite:///{tmp_path / 'new.db'}"
    )

    with pytest.raises(BackupError, match="into one of its own kind"):
        restore(path, other, tmp_path / "restored", force=True)
    assert not (tmp_path / "restored").exists()


@pytest.mark.parametrize("name", ["../outside.yaml", "/outside.yaml", "houses/../../outside.yaml"])
def test_backup_cannot_write_outside(tmp_path: Path, name: str) -> None:
    """
    A name that leads out of the folder is refused, whatever its hash.
    """
    path = tmp_path / "b.zip"
    about = {
        "made_at": "",
        "kind": "sqlite",
        "shape": "",
        "rows": {},
        "trail_lines": 0,
        "trail_hash": "",
        "form": 1,
    }
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr(name, "x")
        archive.writestr("manifest.json", json.dumps({**about, "files": {name: "0"}}))
    folder = tmp_path / "a" / "b"
    folder.mkdir(parents=True)

    with pytest.raises(BackupError, match="a name in it is damaged"):
        unpack(path, folder)
    assert not list(tmp_path.rglob("outside.yaml"))


def test_damaged_sqlite_makes_no_backup(tmp_path: Path, knowledge: Path) -> None:
    """
    A database that fails its own integrity check is told, and an older backup is not replaced.
    """
    path = tmp_path / "damaged.db"
    with sqlite3.connect(path) as made:
        made.execute("CREATE TABLE t (a TEXT)")
        made.execute("CREATE INDEX i ON t (a)")
        made.executemany("INSERT INTO t VALUES (?)", [(f"{n:0400}",) for n in range(200)])
    made.close()
    content = bytearray(path.read_bytes())
    place = content.rindex(b"0199")
    content[place : place + 4] = b"0198"
    path.write_bytes(content)
    older = tmp_path / "b.zip"
    older.write_bytes(b"older")
    damaged = Database(open_engine(f"sqlite:///{path}"))

    with pytest.raises(BackupError, match="is damaged"):
        back_up(damaged, knowledge, older, NOW)
    damaged.close()
    assert older.read_bytes() == b"older"


def test_manifest_tells_what_is_inside(database: Database, knowledge: Path, tmp_path: Path) -> None:
    """
    Anyone can read what a backup holds without restoring it: rows, trail, hashes; no index.

    """
    _fill(database)
    (knowledge / ".askhouse" / "index.npz").write_bytes(b"made again from the houses")
    path, manifest = back_up(database, knowledge, tmp_path / "b.zip", NOW)
    with zipfile.ZipFile(path) as archive:
        told = Manifest(**json.loads(archive.read("manifest.json")))

    assert told == manifest
    assert (told.rows["stays"], told.trail_lines) == (2, 1)
    assert sorted(told.files)[1:] == [
        "houses/.askhouse/decision.json",
        "houses/barn/facts/kitchen.yaml",
        "houses/barn/house.yaml",
        "houses/flat.yaml",
    ]
