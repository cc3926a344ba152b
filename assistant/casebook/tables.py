"""The tables of the database: the casebook, and the text messages beside it.

The migrations make them; a test holds the two to each other. ``HEAD`` names the last migration.

Columns of times that are compared are whole microseconds since 1970, beside the ISO 8601 text
where a person reads it. Partial indexes hold only what is still to be done, so that
the queues stay as fast after a million messages as after ten.
"""

from __future__ import annotations

from typing import Any, Final

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    ColumnElement,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)

__all__ = [
    "CASES",
    "EVENTS",
    "HEAD",
    "INBOX",
    "KEY_MARKS",
    "METADATA",
    "OUTBOX",
    "THREADS",
    "THREAD_CASES",
]

HEAD: Final = "0002_text_messages"

METADATA: Final = MetaData()


def _partial(name: str, open_rows: ColumnElement[bool], *columns: Column[Any]) -> None:
    """Index ``columns`` of those rows only that are still to be dealt with."""
    Index(name, *columns, sqlite_where=open_rows, postgresql_where=open_rows)


CASES: Final = Table(
    "cases",
    METADATA,
    Column("number", Integer, primary_key=True, autoincrement=True),
    Column("case_id", String(120), nullable=False, unique=True),
    Column("opened", String(40), nullable=False),
    Column("closed", String(40)),
)

EVENTS: Final = Table(
    "events",
    METADATA,
    Column("case_id", String(120), ForeignKey("cases.case_id"), primary_key=True),
    Column("sequence", Integer, primary_key=True, autoincrement=False),
    Column("at", String(40), nullable=False),
    Column("event", Text, nullable=False),
    Column("meaning", Text, nullable=False),
    Column("key", String(200)),
    UniqueConstraint("case_id", "key"),
)

# One row a telephone number. ``worker``, ``until`` and ``ticket`` are the claim on its messages.
THREADS: Final = Table(
    "threads",
    METADATA,
    Column("number_id", String(64), primary_key=True),
    Column("sealed", LargeBinary, nullable=False),
    Column("opted_out", Boolean, nullable=False),
    Column("case_id", String(120)),
    Column("memory", LargeBinary, nullable=False),
    Column("held_by", String(200), nullable=False),
    Column("heard", BigInteger, nullable=False),
    Column("last", BigInteger, nullable=False),
    Column("last_at", String(40), nullable=False),
    Column("worker", String(120)),
    Column("until", BigInteger),
    Column("ticket", Integer, nullable=False),
    Index("threads_heard", "heard"),
    Index("threads_last", "last"),
)
_partial("threads_claimed", THREADS.c.worker.is_not(None), THREADS.c.worker)

THREAD_CASES: Final = Table(
    "thread_cases",
    METADATA,
    Column("number_id", String(64), ForeignKey("threads.number_id"), primary_key=True),
    Column("position", Integer, primary_key=True, autoincrement=False),
    Column("case_id", String(120), nullable=False),
    Index("thread_cases_case", "case_id"),
)

INBOX: Final = Table(
    "inbox",
    METADATA,
    Column("arrival", Integer, primary_key=True, autoincrement=True),
    Column("message_id", String(120), nullable=False, unique=True),
    Column("number_id", String(64), ForeignKey("threads.number_id"), nullable=False),
    Column("text", LargeBinary, nullable=False),
    Column("received", String(40), nullable=False),
    Column("media", Integer, nullable=False),
    Column("place", Boolean, nullable=False),
    Column("answered", String(40)),
    Index("inbox_number", "number_id", "arrival"),
    sqlite_autoincrement=True,
)
_partial("inbox_waiting", INBOX.c.answered.is_(None), INBOX.c.arrival)
_partial("inbox_queue", INBOX.c.answered.is_(None), INBOX.c.number_id, INBOX.c.arrival)

# ``due`` is when a row may be taken (again): the next try of a ``ready`` one, the end of the claim
# of a ``sending`` one. It is NULL where nothing is left to do. ``confirms`` marks the one message
# that may still go to a number that opted out.
OUTBOX: Final = Table(
    "outbox",
    METADATA,
    Column("sending_id", Integer, primary_key=True, autoincrement=True),
    Column("number_id", String(64), ForeignKey("threads.number_id"), nullable=False),
    Column("arrival", Integer, nullable=False),
    Column("answers", Boolean, nullable=False),
    Column("body", LargeBinary, nullable=False),
    Column("person", String(200), nullable=False),
    Column("state", String(10), nullable=False),
    Column("confirms", Boolean, nullable=False),
    Column("attempts", Integer, nullable=False),
    Column("created", String(40), nullable=False),
    Column("due", BigInteger),
    Column("sender", String(120)),
    Column("interrupted", Boolean, nullable=False),
    Column("carrier_id", String(120)),
    Column("why", Text, nullable=False),
    Column("delivery", String(40), nullable=False),
    Column("delivery_error", Text, nullable=False),
    Index("outbox_number", "number_id", "sending_id"),
    Index("outbox_arrival", "arrival"),
    Index("outbox_carrier", "carrier_id"),
    Index("outbox_state", "state"),
    sqlite_autoincrement=True,
)
_partial("outbox_open", OUTBOX.c.due.is_not(None), OUTBOX.c.due)
_partial("outbox_queue", OUTBOX.c.due.is_not(None), OUTBOX.c.number_id, OUTBOX.c.sending_id)

# Tells whether the key that numbers are hashed with is the one that the database was begun with.
KEY_MARKS: Final = Table(
    "key_marks",
    METADATA,
    Column("name", String(40), primary_key=True),
    Column("mark", String(64), nullable=False),
)
