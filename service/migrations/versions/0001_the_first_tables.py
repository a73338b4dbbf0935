"""The first tables."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """To the new shape; the version before must still run on it."""
    op.create_table(
        "api_tokens",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=100), nullable=False),
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("scopes", sa.JSON(), nullable=False),
        sa.Column("houses", sa.JSON(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revoked_at", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("name"),
        sa.UniqueConstraint("token_hash"),
    )
    op.create_table(
        "changes",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("house", sa.String(length=100), nullable=False),
        sa.Column("file", sa.Text(), nullable=False),
        sa.Column("fact", sa.String(length=200), nullable=False),
        sa.Column("before", sa.Text(), nullable=True),
        sa.Column("after", sa.Text(), nullable=True),
        sa.Column("old_hash", sa.String(length=64), nullable=True),
        sa.Column("new_hash", sa.String(length=64), nullable=True),
        sa.Column("person", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("undoes", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("id"),
    )
    with op.batch_alter_table("changes", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_changes_house"), ["house"], unique=False)

    op.create_table(
        "feeds",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("house", sa.String(length=100), nullable=False),
        sa.Column("name", sa.String(length=100), nullable=False),
        sa.Column("url", sa.Text(), nullable=False),
        sa.Column("etag", sa.Text(), nullable=True),
        sa.Column("read_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("failed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("problem", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("name"),
    )
    op.create_table(
        "gaps",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("house", sa.String(length=100), nullable=False),
        sa.Column("topic", sa.String(length=100), nullable=True),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("state", sa.String(length=16), nullable=False),
        sa.Column("fact", sa.String(length=200), nullable=True),
        sa.Column("centre", sa.LargeBinary(), nullable=True),
        sa.Column("first_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("last_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    with op.batch_alter_table("gaps", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_gaps_house"), ["house"], unique=False)

    op.create_table(
        "opt_outs",
        sa.Column("line", sa.String(length=100), nullable=False),
        sa.Column("number", sa.String(length=64), nullable=False),
        sa.Column("since", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("line", "number"),
    )
    op.create_table(
        "people",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("email", sa.String(length=320), nullable=True),
        sa.Column("number", sa.String(length=20), nullable=True),
        sa.Column("role", sa.String(length=16), nullable=False),
        sa.Column("houses", sa.JSON(), nullable=False),
        sa.Column("password_hash", sa.Text(), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("left_at", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("email"),
        sa.UniqueConstraint("number"),
    )
    op.create_table(
        "stays",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("house", sa.String(length=100), nullable=False),
        sa.Column("guests", sa.JSON(), nullable=False),
        sa.Column("arrival", sa.Date(), nullable=False),
        sa.Column("departure", sa.Date(), nullable=False),
        sa.Column("door_code", sa.Text(), nullable=True),
        sa.Column("release_from", sa.DateTime(timezone=True), nullable=True),
        sa.Column("release_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("feed", sa.String(length=100), nullable=False),
        sa.Column("uid", sa.String(length=400), nullable=False),
        sa.Column("cancelled_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("last_seen_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("house", "feed", "uid"),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("stays", schema=None) as batch_op:
        batch_op.create_index("stays_of_a_house", ["house", "departure"], unique=False)

    op.create_table(
        "trail",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("did", sa.String(length=64), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("details", sa.JSON(), nullable=False),
        sa.Column("before", sa.String(length=64), nullable=False),
        sa.Column("hash", sa.String(length=64), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("hash"),
    )
    op.create_table(
        "sign_ins",
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("purpose", sa.String(length=16), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["people.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("token_hash"),
    )
    op.create_table(
        "stay_phones",
        sa.Column("stay_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.String(length=20), nullable=False),
        sa.ForeignKeyConstraint(["stay_id"], ["stays.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("stay_id", "number"),
    )
    with op.batch_alter_table("stay_phones", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_stay_phones_number"), ["number"], unique=False)

    op.create_table(
        "threads",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("line", sa.String(length=100), nullable=False),
        sa.Column("sender", sa.String(length=64), nullable=False),
        sa.Column("house", sa.String(length=100), nullable=True),
        sa.Column("stay_id", sa.Integer(), nullable=True),
        sa.Column("named", sa.String(length=100), nullable=True),
        sa.Column("named_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("language", sa.String(length=8), nullable=False),
        sa.Column("rest", sa.Text(), nullable=True),
        sa.Column("rest_secrets", sa.JSON(), nullable=False),
        sa.Column("rest_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("last_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["stay_id"], ["stays.id"], ondelete="SET NULL"),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("line", "sender"),
    )
    with op.batch_alter_table("threads", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_threads_house"), ["house"], unique=False)
        batch_op.create_index(batch_op.f("ix_threads_last_at"), ["last_at"], unique=False)
        batch_op.create_index(batch_op.f("ix_threads_sender"), ["sender"], unique=False)

    op.create_table(
        "messages",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("thread_id", sa.Integer(), nullable=False),
        sa.Column("line", sa.String(length=100), nullable=False),
        sa.Column("gateway_id", sa.String(length=200), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("urgent", sa.Boolean(), nullable=False),
        sa.Column("state", sa.String(length=16), nullable=False),
        sa.Column("claimed_by", sa.String(length=100), nullable=True),
        sa.Column("claimed_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("answered_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("house", sa.String(length=100), nullable=True),
        sa.Column("stay_id", sa.Integer(), nullable=True),
        sa.Column("verified", sa.Boolean(), nullable=False),
        sa.Column("draft", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["stay_id"], ["stays.id"], ondelete="SET NULL"),
        sa.ForeignKeyConstraint(["thread_id"], ["threads.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("line", "gateway_id"),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("messages", schema=None) as batch_op:
        batch_op.create_index("messages_of_a_house", ["house", "answered_at"], unique=False)
        batch_op.create_index("messages_of_a_thread", ["thread_id", "state"], unique=False)
        batch_op.create_index(
            "messages_to_work_on", ["state", "urgent", "received_at"], unique=False
        )

    op.create_table(
        "escalations",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("house", sa.String(length=100), nullable=True),
        sa.Column("thread_id", sa.Integer(), nullable=True),
        sa.Column("message_id", sa.Integer(), nullable=True),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.Column("level", sa.String(length=16), nullable=False),
        sa.Column("summary", sa.Text(), nullable=False),
        sa.Column("state", sa.String(length=16), nullable=False),
        sa.Column("take_hash", sa.String(length=64), nullable=True),
        sa.Column("rung", sa.Integer(), nullable=False),
        sa.Column("next_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("taken_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("taken_by", sa.Text(), nullable=True),
        sa.Column("answered_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closed_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["message_id"], ["messages.id"], ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["thread_id"], ["threads.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("message_id", "kind"),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("escalations", schema=None) as batch_op:
        batch_op.create_index("escalations_to_climb", ["state", "next_at"], unique=False)
        batch_op.create_index(batch_op.f("ix_escalations_thread_id"), ["thread_id"], unique=False)

    op.create_table(
        "parts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("message_id", sa.Integer(), nullable=False),
        sa.Column("house", sa.String(length=100), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("language", sa.String(length=8), nullable=False),
        sa.Column("outcome", sa.String(length=16), nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=True),
        sa.Column("level", sa.String(length=16), nullable=True),
        sa.Column("hazard", sa.String(length=32), nullable=True),
        sa.Column("topic", sa.String(length=100), nullable=True),
        sa.Column("confidence", sa.Double(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("said", sa.Text(), nullable=False),
        sa.Column("asked_back", sa.Boolean(), nullable=False),
        sa.Column("gap_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["gap_id"], ["gaps.id"], ondelete="SET NULL"),
        sa.ForeignKeyConstraint(["message_id"], ["messages.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id"),
    )
    with op.batch_alter_table("parts", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_parts_message_id"), ["message_id"], unique=False)
        batch_op.create_index("parts_by_outcome", ["outcome", "house"], unique=False)

    op.create_table(
        "pieces",
        sa.Column("line", sa.String(length=100), nullable=False),
        sa.Column("sender", sa.String(length=64), nullable=False),
        sa.Column("reference", sa.String(length=100), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("of", sa.Integer(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("message_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["message_id"], ["messages.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("line", "sender", "reference", "number"),
    )
    with op.batch_alter_table("pieces", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_pieces_message_id"), ["message_id"], unique=False)

    op.create_table(
        "citations",
        sa.Column("part_id", sa.Integer(), nullable=False),
        sa.Column("fact", sa.String(length=200), nullable=False),
        sa.Column("house", sa.String(length=100), nullable=False),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("content_hash", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(["part_id"], ["parts.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("part_id", "fact"),
    )
    with op.batch_alter_table("citations", schema=None) as batch_op:
        batch_op.create_index("citations_of_a_fact", ["house", "fact"], unique=False)

    op.create_table(
        "deliveries",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=200), nullable=False),
        sa.Column("channel", sa.String(length=16), nullable=False),
        sa.Column("target", sa.Text(), nullable=False),
        sa.Column("thread_id", sa.Integer(), nullable=True),
        sa.Column("message_id", sa.Integer(), nullable=True),
        sa.Column("escalation_id", sa.Integer(), nullable=True),
        sa.Column("stay_id", sa.Integer(), nullable=True),
        sa.Column("author", sa.String(length=32), nullable=False),
        sa.Column("to", sa.Text(), nullable=False),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("secrets", sa.JSON(), nullable=False),
        sa.Column("blotted", sa.Text(), nullable=True),
        sa.Column("blot_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("secret_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("emergency", sa.Boolean(), nullable=False),
        sa.Column("farewell", sa.Boolean(), nullable=False),
        sa.Column("urgent", sa.Boolean(), nullable=False),
        sa.Column("state", sa.String(length=16), nullable=False),
        sa.Column("due_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("claimed_by", sa.String(length=100), nullable=True),
        sa.Column("claimed_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("problem", sa.Text(), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("sent_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("segments", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["escalation_id"], ["escalations.id"], ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["message_id"], ["messages.id"], ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["stay_id"], ["stays.id"], ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["thread_id"], ["threads.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("key"),
    )
    with op.batch_alter_table("deliveries", schema=None) as batch_op:
        batch_op.create_index("deliveries_due", ["state", "urgent", "due_at"], unique=False)
        batch_op.create_index(batch_op.f("ix_deliveries_blot_at"), ["blot_at"], unique=False)
        batch_op.create_index(batch_op.f("ix_deliveries_message_id"), ["message_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_deliveries_thread_id"), ["thread_id"], unique=False)

    op.create_table(
        "lessons",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("house", sa.String(length=100), nullable=False),
        sa.Column("part_id", sa.Integer(), nullable=True),
        sa.Column("verdict", sa.String(length=16), nullable=False),
        sa.Column("fact", sa.String(length=200), nullable=True),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("person", sa.Text(), nullable=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["part_id"], ["parts.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id"),
    )


def downgrade() -> None:
    """Back to the shape before."""
    op.drop_table("lessons")
    with op.batch_alter_table("deliveries", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_deliveries_thread_id"))
        batch_op.drop_index(batch_op.f("ix_deliveries_message_id"))
        batch_op.drop_index(batch_op.f("ix_deliveries_blot_at"))
        batch_op.drop_index("deliveries_due")

    op.drop_table("deliveries")
    with op.batch_alter_table("citations", schema=None) as batch_op:
        batch_op.drop_index("citations_of_a_fact")

    op.drop_table("citations")
    with op.batch_alter_table("pieces", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_pieces_message_id"))

    op.drop_table("pieces")
    with op.batch_alter_table("parts", schema=None) as batch_op:
        batch_op.drop_index("parts_by_outcome")
        batch_op.drop_index(batch_op.f("ix_parts_message_id"))

    op.drop_table("parts")
    with op.batch_alter_table("escalations", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_escalations_thread_id"))
        batch_op.drop_index("escalations_to_climb")

    op.drop_table("escalations")
    with op.batch_alter_table("messages", schema=None) as batch_op:
        batch_op.drop_index("messages_to_work_on")
        batch_op.drop_index("messages_of_a_thread")
        batch_op.drop_index("messages_of_a_house")

    op.drop_table("messages")
    with op.batch_alter_table("threads", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_threads_sender"))
        batch_op.drop_index(batch_op.f("ix_threads_last_at"))
        batch_op.drop_index(batch_op.f("ix_threads_house"))

    op.drop_table("threads")
    with op.batch_alter_table("stay_phones", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_stay_phones_number"))

    op.drop_table("stay_phones")
    op.drop_table("sign_ins")
    op.drop_table("trail")
    with op.batch_alter_table("stays", schema=None) as batch_op:
        batch_op.drop_index("stays_of_a_house")

    op.drop_table("stays")
    op.drop_table("people")
    op.drop_table("opt_outs")
    with op.batch_alter_table("gaps", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_gaps_house"))

    op.drop_table("gaps")
    op.drop_table("feeds")
    with op.batch_alter_table("changes", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_changes_house"))

    op.drop_table("changes")
    op.drop_table("api_tokens")
