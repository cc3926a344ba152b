"""The store of text messages in the casebook's own database, SQLite or PostgreSQL."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import delete, select

from assistant.casebook.tables import CASES, EVENTS, INBOX, OUTBOX, THREAD_CASES, THREADS
from assistant.messaging.store_common import instant
from assistant.messaging.store_inbox import SqlInbox
from assistant.messaging.store_outbox import SqlOutbox
from assistant.messaging.store_threads import SqlThreads

if TYPE_CHECKING:
    from sqlalchemy import Connection

__all__ = ["SqlMessageStore"]


class SqlMessageStore(SqlInbox, SqlOutbox, SqlThreads):
    """A ``MessageStore`` on the database of a casebook.

    Any number of processes may share one database. The texts, like the numbers, are encrypted at
    rest; the events of a case are not, so that a person can read the casebook.
    """

    def forget(self, number: str) -> int:
        """Erase a number, its messages and its cases; give how many cases.

        ``number`` is in E.164. Cases that belong to another number as well stay. What was deleted
        earlier is purged too, so that it can be called again after an interruption.
        """
        number_id = self._numbers.look_up(number)
        with self._database.write() as connection:
            known = self._locked(connection, number_id)
            cases = 0 if known is None else self._erase(connection, number_id)
        self._database.purge()
        return cases

    def expire(self, *, before: str) -> int:
        """Erase numbers that were last heard of before a time; give how many."""
        limit = instant(before)
        old = select(THREADS.c.number_id).where(THREADS.c.heard < limit)
        with self._database.write() as connection:
            found = connection.execute(
                old.order_by(THREADS.c.heard, THREADS.c.number_id).with_for_update()
            ).scalars()
            numbers = list(found)
            for number_id in numbers:
                self._erase(connection, number_id)
        if numbers:
            self._database.purge()
        return len(numbers)

    def _erase(self, connection: Connection, number_id: str) -> int:
        """Delete all rows of a locked number; give how many cases went with it."""
        other = THREAD_CASES.alias()
        shared = select(other.c.case_id).where(
            other.c.case_id == THREAD_CASES.c.case_id, other.c.number_id != number_id
        )
        own = (
            select(THREAD_CASES.c.case_id)
            .where(THREAD_CASES.c.number_id == number_id, ~shared.exists())
            .distinct()
        )
        cases = list(connection.execute(own).scalars())
        for table in (OUTBOX, INBOX, THREAD_CASES, THREADS):
            connection.execute(delete(table).where(table.c.number_id == number_id))
        for case_id in cases:
            # The lock keeps another process from adding an event in between.
            connection.execute(
                select(CASES.c.number).where(CASES.c.case_id == case_id).with_for_update()
            )
            connection.execute(delete(EVENTS).where(EVENTS.c.case_id == case_id))
            connection.execute(delete(CASES).where(CASES.c.case_id == case_id))
        return len(cases)
