"""The database: SQLite beside the data, or PostgreSQL by URL. The only module that opens one."""

from __future__ import annotations

import sqlite3
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, make_url
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.engine.interfaces import DBAPIConnection, DBAPICursor
from sqlalchemy.exc import ArgumentError
from sqlalchemy.orm import DeclarativeBase, Session, sessionmaker
from sqlalchemy.pool import ConnectionPoolEntry

from askhouse.errors import SettingsError

__all__ = ["Database", "add_new", "open_engine"]

# A writer waits for another process's transaction; ours last milliseconds.
SQLITE_WAIT_MS = 15_000


def open_engine(url: str) -> Engine:
    """An engine for a URL of SQLAlchemy's form: `sqlite:///FILE` or `postgresql+psycopg://…`.

    Raises:
        SettingsError: The URL cannot be read, or names another database.
    """
    try:
        parsed = make_url(url)
    except ArgumentError as error:
        # The URL is not repeated: it may hold a password.
        raise SettingsError(
            "ASKHOUSE_DATABASE: not a database URL; write sqlite:///FILE or "
            "postgresql+psycopg://USER@HOST/NAME"
        ) from error
    # An error that quotes its parameters would quote a guest.
    if parsed.get_backend_name() == "postgresql":
        return create_engine(
            parsed.set(drivername="postgresql+psycopg"),
            pool_pre_ping=True,
            pool_size=10,
            hide_parameters=True,
        )
    if parsed.get_backend_name() != "sqlite" or parsed.database in (None, "", ":memory:"):
        raise SettingsError(
            "ASKHOUSE_DATABASE: only SQLite in a file and PostgreSQL can be used; write "
            "sqlite:///FILE or postgresql+psycopg://USER@HOST/NAME"
        )
    folder = Path(str(parsed.database)).parent
    engine = create_engine(
        parsed, connect_args={"timeout": SQLITE_WAIT_MS / 1000}, hide_parameters=True
    )
    event.listen(engine, "do_connect", lambda *_: folder.mkdir(parents=True, exist_ok=True))
    event.listen(engine, "connect", _set_up_sqlite)
    event.listen(engine, "begin", _begin_immediate)
    return engine


def _set_up_sqlite(connection: DBAPIConnection, _: ConnectionPoolEntry) -> None:
    # The driver would begin transactions of its own, and late; see _begin_immediate.
    connection.isolation_level = None
    cursor = connection.cursor()
    _write_ahead(cursor)
    # An acknowledged message survives a power cut.
    cursor.execute("PRAGMA synchronous=FULL")
    cursor.execute("PRAGMA foreign_keys=ON")
    cursor.close()


def _write_ahead(cursor: DBAPICursor) -> None:
    """WAL, so that readers never wait for the writer.

    Where several processes open a new file at once, SQLite refuses all but one of them
    without the wait that it keeps for a busy database.
    """
    until = time.monotonic() + SQLITE_WAIT_MS / 1000
    while True:
        try:
            cursor.execute("PRAGMA journal_mode=WAL")
            return
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode != sqlite3.SQLITE_BUSY or time.monotonic() > until:
                raise
        time.sleep(0.01)


def _begin_immediate(connection: Connection) -> None:
    # A transaction that reads and then writes would fail at once, without waiting, if another
    # process wrote in between; taking the writer's place at the start makes it wait instead.
    # A reading one says so in its options and takes no place.
    reading = connection.get_execution_options().get("reading", False)
    connection.exec_driver_sql("BEGIN" if reading else "BEGIN IMMEDIATE")


class Database:
    """Transactions on one engine: leaving the block commits, an exception rolls back."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        self._writing = sessionmaker(engine, expire_on_commit=False)
        self._reading = sessionmaker(engine.execution_options(reading=True), expire_on_commit=False)
        self._writers = threading.RLock() if engine.dialect.name == "sqlite" else None

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """A transaction that may change rows."""
        with self._turn(), self._writing.begin() as session:
            yield session

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """A transaction that only reads, and so waits for nobody."""
        with self._reading.begin() as session:
            yield session

    @contextmanager
    def _turn(self) -> Iterator[None]:
        """This thread's turn to write.

        SQLite lets a writer wait by looking again after ever longer sleeps, so that one among
        many is late by a second; threads of one process hand the turn on at once instead.
        """
        if self._writers is None:
            yield
            return
        # After that long SQLite itself decides; whoever holds the turn may wait for this thread.
        taken = self._writers.acquire(timeout=SQLITE_WAIT_MS / 1000)
        try:
            yield
        finally:
            if taken:
                self._writers.release()

    def close(self) -> None:
        """Closes every connection."""
        self.engine.dispose()


def add_new(session: Session, table: type[DeclarativeBase], **values: Any) -> bool:
    """Adds a row unless one with the same key is there; whether it was added.

    Another process may add the same row meanwhile, which a look beforehand would not see.
    """
    insert = postgresql.insert if session.get_bind().dialect.name == "postgresql" else sqlite.insert
    adding = insert(table).values(**values).on_conflict_do_nothing()
    return session.execute(adding.returning(*table.__mapper__.primary_key)).first() is not None
