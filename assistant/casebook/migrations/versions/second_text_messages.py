"""Telephone numbers, the messages that came in and the messages that go out."""

import sqlalchemy as sa
from alembic import op

revision = "0002_text_messages"
down_revision = "0001_cases"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables of the text messages beside those of the casebook."""
    _threads()
    _inbox()
    _outbox()
    op.create_table(
        "key_marks",
        sa.Column("name", sa.String(40), primary_key=True),
        sa.Column("mark", sa.String(64), nullable=False),
    )


def _partial_index(name: str, table: str, columns: list[str], condition: str) -> None:
    where = sa.text(condition)
    op.create_index(name, table, columns, sqlite_where=where, postgresql_where=where)


def _number() -> sa.Column[str]:
    return sa.Column("number_id", sa.String(64), sa.ForeignKey("threads.number_id"), nullable=False)


def _threads() -> None:
    op.create_table(
        "threads",
        sa.Column("number_id", sa.String(64), primary_key=True),
        sa.Column("sealed", sa.LargeBinary, nullable=False),
        sa.Column("opted_out", sa.Boolean, nullable=False),
        sa.Column("case_id", sa.String(120)),
        sa.Column("memory", sa.LargeBinary, nullable=False),
        sa.Column("held_by", sa.String(200), nullable=False),
        sa.Column("heard", sa.BigInteger, nullable=False),
        sa.Column("last", sa.BigInteger, nullable=False),
        sa.Column("last_at", sa.String(40), nullable=False),
        sa.Column("worker", sa.String(120)),
        sa.Column("until", sa.BigInteger),
        sa.Column("ticket", sa.Integer, nullable=False),
    )
    op.create_index("threads_heard", "threads", ["heard"])
    op.create_index("threads_last", "threads", ["last"])
    _partial_index("threads_claimed", "threads", ["worker"], "worker IS NOT NULL")
    op.create_table(
        "thread_cases",
        sa.Column("number_id", sa.String(64), sa.ForeignKey("threads.number_id"), primary_key=True),
        sa.Column("position", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("case_id", sa.String(120), nullable=False),
    )
    op.create_index("thread_cases_case", "thread_cases", ["case_id"])


def _inbox() -> None:
    op.create_table(
        "inbox",
        sa.Column("arrival", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("message_id", sa.String(120), nullable=False, unique=True),
        _number(),
        sa.Column("text", sa.LargeBinary, nullable=False),
        sa.Column("received", sa.String(40), nullable=False),
        sa.Column("media", sa.Integer, nullable=False),
        sa.Column("place", sa.Boolean, nullable=False),
        sa.Column("answered", sa.String(40)),
        sqlite_autoincrement=True,
    )
    op.create_index("inbox_number", "inbox", ["number_id", "arrival"])
    _partial_index("inbox_waiting", "inbox", ["arrival"], "answered IS NULL")
    _partial_index("inbox_queue", "inbox", ["number_id", "arrival"], "answered IS NULL")


def _outbox() -> None:
    op.create_table(
        "outbox",
        sa.Column("sending_id", sa.Integer, primary_key=True, autoincrement=True),
        _number(),
        sa.Column("arrival", sa.Integer, nullable=False),
        sa.Column("answers", sa.Boolean, nullable=False),
        sa.Column("body", sa.LargeBinary, nullable=False),
        sa.Column("person", sa.String(200), nullable=False),
        sa.Column("state", sa.String(10), nullable=False),
        sa.Column("confirms", sa.Boolean, nullable=False),
        sa.Column("attempts", sa.Integer, nullable=False),
        sa.Column("created", sa.String(40), nullable=False),
        sa.Column("due", sa.BigInteger),
        sa.Column("sender", sa.String(120)),
        sa.Column("interrupted", sa.Boolean, nullable=False),
        sa.Column("carrier_id", sa.String(120)),
        sa.Column("why", sa.Text, nullable=False),
        sa.Column("delivery", sa.String(40), nullable=False),
        sa.Column("delivery_error", sa.Text, nullable=False),
        sqlite_autoincrement=True,
    )
    op.create_index("outbox_number", "outbox", ["number_id", "sending_id"])
    op.create_index("outbox_arrival", "outbox", ["arrival"])
    op.create_index("outbox_carrier", "outbox", ["carrier_id"])
    op.create_index("outbox_state", "outbox", ["state"])
    _partial_index("outbox_open", "outbox", ["due"], "due IS NOT NULL")
    _partial_index("outbox_queue", "outbox", ["number_id", "sending_id"], "due IS NOT NULL")
