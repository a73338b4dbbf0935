"""The database's shape: what the migrations make is what the tables say, on both databases."""

from __future__ import annotations

import multiprocessing
from pathlib import Path

import pytest
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import inspect

from service.database import Database, open_engine
from service.migrations import migrate, settings_of
from service.tables import Table
from tests.service.databases import own_postgres


def test_migrated_database_is_what_the_tables_say(database: Database) -> None:
    """
    Nothing is left to migrate: table, column, type, index and constraint are as in the code.
    """
    with database.engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})

        assert compare_metadata(context, Table.metadata) == []


def test_a_difference_would_be_seen(database: Database) -> None:
    """
    The check above is no empty one: a dropped index and a dropped column are told.
    """
    with database.engine.begin() as connection:
        connection.exec_driver_sql("DROP INDEX messages_to_work_on")
        connection.exec_driver_sql("ALTER TABLE feeds DROP COLUMN problem")
        context = MigrationContext.configure(connection)

        found = {difference[0] for difference in compare_metadata(context, Table.metadata)}
        connection.rollback()

    assert found == {"add_index", "add_column"}


def test_migrating_again_changes_nothing(database: Database) -> None:
    """
    A service that starts on an up-to-date database leaves it as it is.
    """
    before = inspect(database.engine).get_table_names()

    migrate(database.engine)

    assert inspect(database.engine).get_table_names() == before


def test_migrations_can_be_taken_back(tmp_path: Path) -> None:
    """
    Down to nothing and up again: each step knows its way back.
    """
    engine = open_engine(f"sqlite:///{tmp_path / 'askhouse.db'}")
    migrate(engine)

    with engine.begin() as connection:
        command.downgrade(settings_of(connection), "base")
    assert set(inspect(engine).get_table_names()) == {"alembic_version"}
    migrate(engine)

    assert set(inspect(engine).get_table_names()) == {"alembic_version", *Table.metadata.tables}
    engine.dispose()


def test_migrations_are_one_line() -> None:
    """
    Two branches of migrations would leave a start without a newest shape.
    """
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", "service/migrations")

    assert len(ScriptDirectory.from_config(config).get_heads()) == 1


def start(url: str) -> None:
    """What a service does first."""
    engine = open_engine(url)
    migrate(engine)
    engine.dispose()


@pytest.mark.parametrize("backend", ["sqlite", "postgresql"])
def test_several_processes_start_at_once(backend: str, tmp_path: Path) -> None:
    """
    Four services that start together on an empty database all come up, and it is whole.
    """
    if backend == "sqlite":
        _start_four(f"sqlite:///{tmp_path / 'askhouse.db'}")
    else:
        with own_postgres() as url:
            _start_four(url)


def _start_four(url: str) -> None:
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["service.migrations", "service.database"])
    processes = [context.Process(target=start, args=(url,)) for _ in range(4)]
    for process in processes:
        process.start()
    for process in processes:
        process.join(60)

    assert [process.exitcode for process in processes] == [0, 0, 0, 0]
    engine = open_engine(url)
    assert set(inspect(engine).get_table_names()) == {"alembic_version", *Table.metadata.tables}
    engine.dispose()
