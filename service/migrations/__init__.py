"""The database's shape, step by step: Alembic, configured here and in `env.py`, without a file.

A service brings its database up to date when it starts. Several may start at once: one does the
work while the others wait, and then find nothing to do.
"""

from __future__ import annotations

from pathlib import Path

from alembic import command
from alembic.config import Config
from sqlalchemy import Connection, Engine, text

__all__ = ["migrate", "settings_of"]

_PLACE = Path(__file__).parent
# Any number that no other program on the same PostgreSQL database locks: "askhouse" in ASCII.
_LOCK = int.from_bytes(b"askhouse") >> 1


def migrate(engine: Engine) -> None:
    """Brings the database up to the newest shape, in one transaction."""
    with engine.begin() as connection:
        # SQLite needs no lock of its own: every transaction of ours begins as the writer.
        if connection.dialect.name == "postgresql":
            connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": _LOCK})
        command.upgrade(settings_of(connection), "head")


def settings_of(connection: Connection) -> Config:
    """Alembic's settings for one connection, whose transaction stays the caller's."""
    config = Config()
    config.set_main_option("script_location", str(_PLACE).replace("%", "%%"))
    config.attributes["connection"] = connection
    return config
