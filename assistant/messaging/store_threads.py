"""What the people at the shop see and do: conversations, taking over, writing themselves."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from sqlalchemy import func, insert, select, update

from assistant.casebook.tables import INBOX, OUTBOX, THREAD_CASES, THREADS
from assistant.messaging.numbers import masked
from assistant.messaging.records import Line, ThreadView
from assistant.messaging.store_base import StoreBase
from assistant.messaging.store_common import instant, number_unknown, opted_out, plain

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlalchemy import Connection, Row

__all__ = ["SqlThreads"]


class SqlThreads(StoreBase):
    """The conversations, one a number."""

    def threads(self, *, count: int = 100) -> Sequence[ThreadView]:
        """Give the threads, the latest first, without their lines."""
        cases: dict[str, list[str]] = {}
        latest = select(THREADS).order_by(THREADS.c.last.desc(), THREADS.c.number_id).limit(count)
        with self._database.read() as connection:
            rows = connection.execute(latest).all()
            chosen = latest.subquery()
            for case in connection.execute(
                select(THREAD_CASES.c.number_id, THREAD_CASES.c.case_id)
                .join(chosen, chosen.c.number_id == THREAD_CASES.c.number_id)
                .order_by(THREAD_CASES.c.position)
            ):
                cases.setdefault(case.number_id, []).append(case.case_id)
        return tuple(
            ThreadView(
                thread=self._thread_of(row, cases.get(row.number_id, ())),
                masked=masked(self._number(row)),
                last=row.last_at,
            )
            for row in rows
        )

    def thread(self, number_id: str) -> ThreadView:
        """Give one thread with its lines: what came in, each followed by its answers."""
        with self._database.read() as connection:
            row = connection.execute(
                select(THREADS).where(THREADS.c.number_id == number_id)
            ).first()
            if row is None:
                raise number_unknown(number_id)
            incoming = connection.execute(
                select(INBOX).where(INBOX.c.number_id == number_id).order_by(INBOX.c.arrival)
            ).all()
            outgoing = connection.execute(
                select(OUTBOX).where(OUTBOX.c.number_id == number_id).order_by(OUTBOX.c.sending_id)
            ).all()
            thread = self._thread(connection, row)
        placed = [(came.arrival, 0, self._came(came)) for came in incoming]
        placed += [(went.arrival, 1, self._went(went)) for went in outgoing]
        placed.sort(key=lambda item: item[:2])  # stable: answers stay in their order
        return ThreadView(
            thread=thread,
            masked=masked(self._number(row)),
            last=row.last_at,
            lines=tuple(line for _, _, line in placed),
        )

    def _came(self, row: Row[Any]) -> Line:
        return Line(at=row.received, by="customer", text=self._text(row.number_id, row.text))

    def _went(self, row: Row[Any]) -> Line:
        return Line(
            at=row.created,
            by="program" if row.answers else "person",
            text=self._text(row.number_id, row.body),
            person=row.person,
            state=row.state,
            delivery=row.delivery,
            error=row.delivery_error,
        )

    def take_over(self, number_id: str, *, person: str) -> None:
        """Let a person answer this number; a worker's answer in the making is dropped."""
        self._hold(number_id, plain(person))

    def hand_back(self, number_id: str) -> None:
        """Let the program answer again."""
        self._hold(number_id, "")

    def _hold(self, number_id: str, person: str) -> None:
        with self._database.write() as connection:
            row = self._known(connection, number_id)
            if row.held_by == person:
                return
            # The claim is taken from the worker, so that it comes back with the thread as it is.
            connection.execute(
                update(THREADS)
                .where(THREADS.c.number_id == number_id)
                .values(held_by=person, worker=None, until=None, ticket=row.ticket + 1)
            )

    def say(self, number_id: str, *, person: str, bodies: Sequence[str], now: str) -> None:
        """Put messages of a person into the outbox; raises ``GivenError`` after an opt-out."""
        at = instant(now)
        with self._database.write() as connection:
            if self._known(connection, number_id).opted_out:
                raise opted_out()
            newest = connection.execute(
                select(func.coalesce(func.max(INBOX.c.arrival), 0)).where(
                    INBOX.c.number_id == number_id
                )
            ).scalar_one()
            for body in bodies:
                row = self._to_send(
                    number_id,
                    body,
                    arrival=newest,
                    answers=False,
                    person=plain(person),
                    state="ready",
                    confirms=False,
                    created=now,
                    due=at,
                )
                connection.execute(insert(OUTBOX).values(row))
            connection.execute(
                update(THREADS).where(THREADS.c.number_id == number_id).values(last=at, last_at=now)
            )

    def _known(self, connection: Connection, number_id: str) -> Row[Any]:
        row = self._locked(connection, number_id)
        if row is None:
            raise number_unknown(number_id)
        return row
