"""The casebook in an SQL database: SQLite by default, any other that SQLAlchemy reaches.

SQLite runs with a write-ahead log and ``synchronous = FULL``: when ``append`` returns, the event
is on the disk. Every write is one transaction that begins by taking the write lock, so two
processes that go on with one case cannot both count themselves first.
"""

from __future__ import annotations

import json
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from sqlalchemy import (
    Column,
    Connection,
    ForeignKey,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
    create_engine,
    event,
    func,
    insert,
    select,
    update,
)
from sqlalchemy.engine import make_url
from sqlalchemy.exc import IntegrityError, SQLAlchemyError

from assistant.casebook.faults import case_taken, case_unknown, key_kept, out_of_order
from assistant.casebook.records import CaseRow, StoredEvent
from assistant.conversation.codec import event_from_json, event_to_json
from assistant.errors import GivenError

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from assistant.conversation.events import Given

__all__ = ["SqlCasebook"]

_METADATA = MetaData()
_CASES = Table(
    "cases",
    _METADATA,
    Column("number", Integer, primary_key=True, autoincrement=True),
    Column("case_id", String(120), nullable=False, unique=True),
    Column("opened", String(40), nullable=False),
    Column("closed", String(40)),
)
_EVENTS = Table(
    "events",
    _METADATA,
    Column("case_id", String(120), ForeignKey("cases.case_id"), primary_key=True),
    Column("sequence", Integer, primary_key=True, autoincrement=False),
    Column("at", String(40), nullable=False),
    Column("event", Text, nullable=False),
    Column("meaning", Text, nullable=False),
    Column("key", String(200)),
    UniqueConstraint("case_id", "key"),
)


def _readable(event_json: dict[str, Any]) -> str:
    text = json.dumps(event_json, ensure_ascii=False)
    try:
        text.encode()
    except UnicodeEncodeError:  # a lone surrogate, which no database takes
        return json.dumps(event_json)
    return text


def _decoded(text: str) -> Given:
    try:
        raw = json.loads(text)
    except ValueError:
        raw = {}
    return event_from_json(raw if isinstance(raw, dict) else {})


class SqlCasebook:
    """A ``Casebook`` behind a database URL such as ``sqlite:///casebook.sqlite``."""

    def __init__(self, url: str) -> None:
        try:
            self._where = make_url(url).render_as_string(hide_password=True)
            self._engine = create_engine(url)
        except (SQLAlchemyError, ImportError) as error:
            raise GivenError(
                f"The casebook's database URL cannot be used: {error}.",
                next_step="Set PROBETELL_DATABASE to a URL such as sqlite:////path/casebook.sqlite.",
            ) from error
        if self._engine.dialect.name == "sqlite":
            event.listen(self._engine, "connect", _prepare_sqlite)
            event.listen(self._engine, "begin", _take_write_lock)
        with self._transaction() as connection:
            _METADATA.create_all(connection)

    def dispose(self) -> None:
        """Close every connection."""
        self._engine.dispose()

    @contextmanager
    def _transaction(self) -> Iterator[Connection]:
        try:
            with self._engine.begin() as connection:
                yield connection
        except IntegrityError:
            raise
        except SQLAlchemyError as error:
            cause = getattr(error, "orig", None) or error
            raise GivenError(
                f"The casebook {self._where} cannot be used: {' '.join(str(cause).split())}.",
                next_step="Check that the disk has room and that you may write there, or set "
                "PROBETELL_HOME to another directory.",
            ) from error

    def open_case(self, case_id: str, first: StoredEvent) -> None:
        """Begin a case with its first event, in one transaction."""
        if first.sequence != 0:
            raise out_of_order(case_id, first.sequence)
        try:
            with self._transaction() as connection:
                connection.execute(insert(_CASES).values(case_id=case_id, opened=first.at))
                connection.execute(insert(_EVENTS).values(_row(case_id, first)))
        except IntegrityError as error:
            raise case_taken(case_id) from error

    def append(self, case_id: str, entry: StoredEvent) -> None:
        """Keep one event; it is on the disk on return."""
        mine = _EVENTS.c.case_id == case_id
        try:
            with self._transaction() as connection:
                self._require(connection, case_id)
                if (
                    entry.key is not None
                    and connection.execute(
                        select(_EVENTS.c.sequence).where(mine, _EVENTS.c.key == entry.key)
                    ).first()
                ):
                    raise key_kept(case_id, entry.key)
                count = connection.execute(
                    select(func.count()).select_from(_EVENTS).where(mine)
                ).scalar_one()
                if entry.sequence != count:
                    raise out_of_order(case_id, entry.sequence)
                connection.execute(insert(_EVENTS).values(_row(case_id, entry)))
        except IntegrityError as error:  # two writers, where the database has no lock up front
            raise out_of_order(case_id, entry.sequence) from error

    def events(self, case_id: str) -> Sequence[StoredEvent]:
        """Give the events of a case in order."""
        with self._transaction() as connection:
            self._require(connection, case_id)
            rows = connection.execute(
                select(_EVENTS).where(_EVENTS.c.case_id == case_id).order_by(_EVENTS.c.sequence)
            ).all()
        return tuple(
            StoredEvent(
                sequence=row.sequence,
                at=row.at,
                event=_decoded(row.event),
                meaning=row.meaning,
                key=row.key,
            )
            for row in rows
        )

    def close_case(self, case_id: str, *, at: str) -> None:
        """Mark a case as closed."""
        with self._transaction() as connection:
            self._require(connection, case_id)
            connection.execute(update(_CASES).where(_CASES.c.case_id == case_id).values(closed=at))

    def cases(self) -> Sequence[CaseRow]:
        """Give all cases, the last to be opened first."""
        with self._transaction() as connection:
            rows = connection.execute(select(_CASES).order_by(_CASES.c.number.desc())).all()
        return tuple(CaseRow(case_id=r.case_id, opened=r.opened, closed=r.closed) for r in rows)

    @staticmethod
    def _require(connection: Connection, case_id: str) -> None:
        if not connection.execute(
            select(_CASES.c.case_id).where(_CASES.c.case_id == case_id)
        ).first():
            raise case_unknown(case_id)


def _row(case_id: str, entry: StoredEvent) -> dict[str, Any]:
    return {
        "case_id": case_id,
        "sequence": entry.sequence,
        "at": entry.at,
        "event": _readable(event_to_json(entry.event)),
        "meaning": entry.meaning,
        "key": entry.key,
    }


def _prepare_sqlite(connection: Any, _record: object) -> None:
    """Leave transactions to SQLAlchemy, and ask SQLite for durable commits."""
    connection.isolation_level = None
    cursor = connection.cursor()
    for pragma in (
        "journal_mode = WAL",
        "synchronous = FULL",
        "foreign_keys = ON",
        "busy_timeout = 10000",
    ):
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()


def _take_write_lock(connection: Connection) -> None:
    connection.exec_driver_sql("BEGIN IMMEDIATE")
