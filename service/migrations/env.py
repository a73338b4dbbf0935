"""What Alembic runs for every command: our tables, on the connection that was given."""

from __future__ import annotations

from typing import Any, Literal

from alembic import context
from alembic.autogenerate.api import AutogenContext

from service.tables import Table, Utc


def _rendered(kind: str, item: Any, _: AutogenContext) -> str | Literal[False]:
    # A migration is finished once it is written: it names no type of ours that may change.
    return "sa.DateTime(timezone=True)" if kind == "type" and isinstance(item, Utc) else False


context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Table.metadata,
    render_as_batch=True,  # SQLite changes a table by copying it
    render_item=_rendered,
)
with context.begin_transaction():
    context.run_migrations()
