"""A database's content as one file, taken while the service goes on writing, and put back.

SQLite: its own online backup, which is one moment of the database however long it takes.
PostgreSQL: `pg_dump` and `pg_restore`, in the snapshot in which the rows are counted.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
from collections.abc import Collection, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Engine, func, inspect, make_url, select, text
from sqlalchemy.orm import Session

from service.database import open_engine
from service.errors import BackupError
from service.privacy.trail import Head, head, holds, verify
from service.tables import Table

__all__ = ["Counted", "check", "is_empty", "put_back", "snapshot"]

_TOOLS = "the client programs of PostgreSQL (pg_dump, pg_restore), of the server's version or later"


@dataclass(frozen=True, slots=True)
class Counted:
    """What a snapshot holds: its shape, rows of each table, and how far the trail reaches."""

    shape: str
    rows: dict[str, int]
    trail: Head


def snapshot(engine: Engine, target: Path) -> Counted:
    """Writes the database as it is at one moment.

    Raises:
        BackupError: The copy is not sound, or a program that is needed is missing or fails.
    """
    if engine.dialect.name == "sqlite":
        return _copy_sqlite(engine, target)
    return _dump_postgres(engine, target)


def put_back(url: str, source: Path, tables: Collection[str]) -> None:
    """Makes the database what the snapshot holds; all of it or nothing.

    Args:
        tables: Names of those that the snapshot holds.

    Raises:
        BackupError: The service still runs on it, it has tables that the snapshot does not, or a
            program that is needed is missing or fails.
    """
    parsed = make_url(url)
    if parsed.get_backend_name() == "sqlite":
        _replace_sqlite(Path(parsed.database or ""), source)
    else:
        _load_postgres(parsed, source, tables)


def is_empty(url: str) -> bool:
    """Whether there is nothing at that URL that could be lost."""
    parsed = make_url(url)
    if parsed.get_backend_name() == "sqlite" and not Path(parsed.database or "").exists():
        return True
    engine = open_engine(url)
    try:
        return not inspect(engine).get_table_names()
    finally:
        engine.dispose()


def check(url: str, expected: Counted) -> None:
    """Compares a restored database with what was counted when it was saved.

    Raises:
        BackupError: Rows are missing, or the trail is not what it was.
    """
    engine = open_engine(url)
    try:
        with Session(engine) as session:
            found = _count(session)
            broken = verify(session) is not None or not holds(session, expected.trail)
    finally:
        engine.dispose()
    differing = sorted(n for n, count in expected.rows.items() if found.rows.get(n) != count)
    if differing:
        raise BackupError(f"rows are missing after restoring, of: {', '.join(differing)}")
    if broken:
        raise BackupError(
            "the database is restored, but its trail was changed before or since the backup: "
            "`askhouse trail verify` tells where"
        )


def _count(session: Session) -> Counted:
    """Of the tables that are there: an older shape has fewer."""
    there = set(inspect(session.connection()).get_table_names())
    rows = {
        table.name: session.scalar(select(func.count()).select_from(table)) or 0
        for table in Table.metadata.sorted_tables
        if table.name in there
    }
    shape = session.scalar(text("SELECT version_num FROM alembic_version"))
    return Counted(str(shape), rows, head(session))


def _copy_sqlite(engine: Engine, target: Path) -> Counted:
    raw = engine.raw_connection()
    try:
        source: Any = raw.driver_connection
        with closing(sqlite3.connect(target)) as copy:
            source.backup(copy)
            # One file by itself, which needs no journal beside it to be read.
            copy.execute("PRAGMA journal_mode=DELETE")
            (sound,) = copy.execute("PRAGMA integrity_check").fetchone()
    finally:
        raw.close()
    if sound != "ok":
        raise BackupError("the database is damaged (PRAGMA integrity_check): use an older backup")
    copied = open_engine(f"sqlite:///{target}")
    try:
        with Session(copied) as session:
            return _count(session)
    finally:
        copied.dispose()


def _replace_sqlite(path: Path, source: Path) -> None:
    if path.exists():
        # Only who is alone with a database may take it out of WAL; its journal is then in it.
        with closing(sqlite3.connect(path, timeout=1)) as old:
            try:
                old.execute("PRAGMA journal_mode=DELETE")
            except sqlite3.OperationalError as error:
                raise BackupError(
                    f"{path} is in use: stop the service, then restore again"
                ) from error
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f".{path.name}.restoring")
    shutil.copyfile(source, part)
    part.chmod(0o600)
    part.replace(path)


def _dump_postgres(engine: Engine, target: Path) -> Counted:
    with engine.connect().execution_options(isolation_level="REPEATABLE READ") as connection:
        shared = connection.scalar(text("SELECT pg_export_snapshot()"))
        with Session(connection) as session:
            counted = _count(session)
        options = ["--format=custom", "--no-owner", "--no-privileges", f"--snapshot={shared}"]
        _run("pg_dump", engine.url, [*options, f"--file={target}"])
    return counted


def _load_postgres(url: URL, source: Path, tables: Collection[str]) -> None:
    engine = open_engine(url.render_as_string(hide_password=False))
    try:
        with engine.connect() as connection:
            others = connection.scalar(
                text(
                    "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() "
                    "AND pid <> pg_backend_pid() AND backend_type = 'client backend'"
                )
            )
            there = set(inspect(connection).get_table_names())
    finally:
        engine.dispose()
    if others:
        raise BackupError(
            f"the database {url.database} is in use: stop every process of the service, then "
            "restore again"
        )
    # `--clean` drops what the dump holds, and nothing else: what a later shape has would stay.
    later = sorted(there - {*tables, "alembic_version"})
    if later:
        raise BackupError(
            f"the database {url.database} has tables that the backup does not, as of a later "
            f"version of Askhouse ({', '.join(later)}): create an empty database, and restore into "
            "that one"
        )
    options = ["--clean", "--if-exists", "--no-owner", "--no-privileges"]
    _run("pg_restore", url, [*options, "--single-transaction", "--exit-on-error", str(source)])


def _run(program: str, url: URL, options: Sequence[str]) -> None:
    """Runs a program of PostgreSQL on that database; the password is not among its arguments."""
    found = shutil.which(program)
    if found is None:
        raise BackupError(f"{program} is not on the path: install {_TOOLS}")
    plain = URL.create(
        "postgresql",
        username=url.username,
        host=url.host,
        port=url.port,
        database=url.database,
        query=url.query,
    )
    environment = dict(os.environ) | ({"PGPASSWORD": str(url.password)} if url.password else {})
    # Nothing of what it says is passed on: an error of pg_restore quotes the row it stopped at.
    done = subprocess.run(
        [found, f"--dbname={plain.render_as_string(hide_password=False)}", *options],
        env=environment,
        capture_output=True,
        check=False,
    )
    if done.returncode:
        raise BackupError(
            f"{program} failed on the database {url.database} (exit code {done.returncode}): "
            f"run it by hand to see why; it takes {_TOOLS}"
        )
