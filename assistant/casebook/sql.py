"""The casebook in an SQL database: SQLite by default, PostgreSQL by URL."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Final

from sqlalchemy import Connection, func, insert, select, update
from sqlalchemy.exc import IntegrityError

from assistant.casebook.database import Database
from assistant.casebook.faults import case_taken, case_unknown, key_kept, out_of_order
from assistant.casebook.records import CaseRow, StoredEvent
from assistant.casebook.tables import CASES, EVENTS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.conversation.events import Given

__all__ = ["SqlCasebook"]


def _readable(event_json: dict[str, Any]) -> str:
    text = json.dumps(event_json, ensure_ascii=False)
    try:
        text.encode()
    except UnicodeEncodeError:  # a lone surrogate, which no database takes
        return json.dumps(event_json)
    return text


# The codec is loaded when an event is read or written: the web side of the message service
# keeps no engine in memory.


def _decoded(text: str) -> Given:
    from assistant.conversation.codec import event_from_json  # noqa: PLC0415 - see above

    try:
        raw = json.loads(text)
    except ValueError:
        raw = {}
    return event_from_json(raw if isinstance(raw, dict) else {})


class SqlCasebook:
    """A ``Casebook`` behind a database URL such as ``sqlite:///casebook.sqlite``."""

    def __init__(self, url: str) -> None:
        self.database: Final = Database(url)

    def dispose(self) -> None:
        """Close every connection."""
        self.database.dispose()

    def open_case(self, case_id: str, first: StoredEvent) -> None:
        """Begin a case with its first event, in one transaction."""
        if first.sequence != 0:
            raise out_of_order(case_id, first.sequence)
        try:
            with self.database.write() as connection:
                self.keep(connection, case_id, first)
        except IntegrityError as error:  # two writers, where the database has no lock up front
            raise case_taken(case_id) from error

    def append(self, case_id: str, entry: StoredEvent) -> None:
        """Keep one event; it is on the disk on return."""
        try:
            with self.database.write() as connection:
                _require(connection, case_id)
                if entry.sequence == 0:
                    raise out_of_order(case_id, 0)
                self.keep(connection, case_id, entry)
        except IntegrityError as error:
            raise out_of_order(case_id, entry.sequence) from error

    @staticmethod
    def keep(connection: Connection, case_id: str, entry: StoredEvent) -> None:
        """Keep one event within a transaction; sequence 0 opens the case.

        Raises what ``open_case`` and ``append`` raise, and ``IntegrityError`` when another
        transaction was faster.
        """
        if entry.sequence == 0:
            if _known(connection, case_id):
                raise case_taken(case_id)
            connection.execute(insert(CASES).values(case_id=case_id, opened=entry.at))
        else:
            mine = EVENTS.c.case_id == case_id
            if entry.key is not None:
                same = select(EVENTS.c.sequence).where(mine, EVENTS.c.key == entry.key)
                if connection.execute(same).first():
                    raise key_kept(case_id, entry.key)
            count = select(func.count()).select_from(EVENTS).where(mine)
            if entry.sequence != connection.execute(count).scalar_one():
                raise out_of_order(case_id, entry.sequence)
        connection.execute(insert(EVENTS).values(_row(case_id, entry)))

    def events(self, case_id: str) -> Sequence[StoredEvent]:
        """Give the events of a case in order."""
        with self.database.read() as connection:
            _require(connection, case_id)
            rows = connection.execute(
                select(EVENTS).where(EVENTS.c.case_id == case_id).order_by(EVENTS.c.sequence)
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

    def has_case(self, case_id: str) -> bool:
        """Tell whether a case is in the book."""
        with self.database.read() as connection:
            return _known(connection, case_id)

    def close_case(self, case_id: str, *, at: str) -> None:
        """Mark a case as closed."""
        with self.database.write() as connection:
            _require(connection, case_id)
            connection.execute(update(CASES).where(CASES.c.case_id == case_id).values(closed=at))

    def cases(self) -> Sequence[CaseRow]:
        """Give all cases, the last to be opened first."""
        with self.database.read() as connection:
            rows = connection.execute(select(CASES).order_by(CASES.c.number.desc())).all()
        return tuple(CaseRow(case_id=r.case_id, opened=r.opened, closed=r.closed) for r in rows)


def _known(connection: Connection, case_id: str) -> bool:
    found = connection.execute(select(CASES.c.case_id).where(CASES.c.case_id == case_id)).first()
    return found is not None


def _require(connection: Connection, case_id: str) -> None:
    if not _known(connection, case_id):
        raise case_unknown(case_id)


def _row(case_id: str, entry: StoredEvent) -> dict[str, Any]:
    from assistant.conversation.codec import event_to_json  # noqa: PLC0415 - see above

    return {
        "case_id": case_id,
        "sequence": entry.sequence,
        "at": entry.at,
        "event": _readable(event_to_json(entry.event)),
        "meaning": entry.meaning,
        "key": entry.key,
    }
