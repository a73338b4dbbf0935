"""The databases that the same tests run on: SQLite in a file, and PostgreSQL where one answers."""

from __future__ import annotations

import os
import shutil
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from sqlalchemy import create_engine, make_url, text
from sqlalchemy.exc import OperationalError

from service.database import Database, open_engine
from service.migrations import migrate
from service.tables import Table

# Read here, since tests see no ASKHOUSE_* variable.
POSTGRES = os.environ.get(
    "ASKHOUSE_TEST_POSTGRES", "postgresql+psycopg://postgres@127.0.0.1:5432/test"
)
BACKENDS = ("sqlite", "postgresql")


@contextmanager
def own_postgres() -> Iterator[str]:
    """The URL of a new, empty database on the server; it is dropped afterwards."""
    url = make_url(POSTGRES)
    name = f"askhouse_{uuid.uuid4().hex[:12]}"
    server = create_engine(url, isolation_level="AUTOCOMMIT", connect_args={"connect_timeout": 5})
    try:
        with server.connect() as connection:
            connection.execute(text(f"CREATE DATABASE {name}"))
    except OperationalError:
        server.dispose()
        pytest.skip(f"no PostgreSQL answers at {url.host}:{url.port}: set ASKHOUSE_TEST_POSTGRES")
    try:
        yield url.set(database=name).render_as_string(hide_password=False)
    finally:
        with server.connect() as connection:
            connection.execute(text(f"DROP DATABASE {name} WITH (FORCE)"))
        server.dispose()


def migrated_sqlite(folder: Path) -> Path:
    """A SQLite file of the newest shape, to be copied: quicker than migrating one for each test."""
    path = folder / "template.db"
    engine = open_engine(f"sqlite:///{path}")
    migrate(engine)
    engine.dispose()
    return path


@contextmanager
def sqlite_copy(template: Path, folder: Path) -> Iterator[Database]:
    """An empty SQLite database."""
    path = folder / "askhouse.db"
    shutil.copy(template, path)
    database = Database(open_engine(f"sqlite:///{path}"))
    yield database
    database.close()


@contextmanager
def emptied_postgres(url: str) -> Iterator[Database]:
    """A migrated PostgreSQL database, emptied."""
    database = Database(open_engine(url))
    with database.writing() as session:
        # TRUNCATE would take half a second for nothing.
        for table in reversed(Table.metadata.sorted_tables):
            session.execute(table.delete())
    yield database
    database.close()
