"""Messages that come in: accepted, claimed by one worker a number, answered in one transaction."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from sqlalchemy import delete, func, insert, literal, or_, select, update
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.exc import IntegrityError

from assistant.casebook.tables import (
    CASES,
    INBOX,
    OUTBOX,
    THREAD_CASES,
    THREADS,
)
from assistant.errors import MisuseError
from assistant.messaging.records import Acceptance, Work
from assistant.messaging.store_base import StoreBase, waiting_of
from assistant.messaging.store_common import (
    check_id,
    check_outcome,
    claim_lost,
    instant,
    message_unknown,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlalchemy import Connection, Row

    from assistant.casebook.records import StoredEvent
    from assistant.messaging.records import IncomingText, Outcome, Thread

__all__ = ["SqlInbox"]

_TRIES = 8


class SqlInbox(StoreBase):
    """The messages that came in."""

    def accept(self, message: IncomingText) -> Acceptance:
        """Keep a message; a message id that was accepted before gives what became of it."""
        check_id(message.message_id)
        number_id = self._numbers.look_up(message.number)
        try:
            with self._database.write() as connection:
                before = self._acceptance(connection, message.message_id)
                if before is None:
                    self._hear(connection, message, number_id)
                    connection.execute(
                        insert(INBOX).values(
                            message_id=message.message_id,
                            number_id=number_id,
                            text=self._sealed(number_id, message.text),
                            received=message.received,
                            media=message.media,
                            place=message.place,
                        )
                    )
        except IntegrityError:  # the same message came in twice at one time
            with self._database.read() as connection:
                before = self._acceptance(connection, message.message_id)
            if before is None:
                raise
        return before or Acceptance(fresh=True, answered=False)

    def _hear(self, connection: Connection, message: IncomingText, number_id: str) -> None:
        """Make or renew the row of a number, and lock it."""
        heard = instant(message.received)
        news = {"heard": heard, "last": heard, "last_at": message.received}
        # Both dialects write ON CONFLICT alike; neither is in the common part of SQLAlchemy.
        dialect: Any = sqlite if self._database.is_sqlite else postgresql
        connection.execute(
            dialect.insert(THREADS)
            .values(
                number_id=number_id,
                sealed=self._numbers.seal(message.number, f"number {number_id}"),
                opted_out=False,
                memory=self._sealed(number_id, ""),
                held_by="",
                ticket=0,
                **news,
            )
            .on_conflict_do_update(index_elements=[THREADS.c.number_id], set_=news)
        )

    def _acceptance(self, connection: Connection, message_id: str) -> Acceptance | None:
        """Give what became of a message; to a number that opted out, no more than that it did."""
        row = connection.execute(
            select(INBOX.c.arrival, INBOX.c.answered, INBOX.c.number_id, THREADS.c.opted_out)
            .join_from(INBOX, THREADS)
            .where(INBOX.c.message_id == message_id)
        ).first()
        if row is None:
            return None
        bodies = connection.execute(
            select(OUTBOX.c.body)
            .where(
                OUTBOX.c.arrival == row.arrival,
                OUTBOX.c.answers,
                OUTBOX.c.state == "inline",
                or_(OUTBOX.c.confirms, literal(not row.opted_out)),
            )
            .order_by(OUTBOX.c.sending_id)
        ).scalars()
        return Acceptance(
            fresh=False,
            answered=row.answered is not None,
            inline=tuple(self._text(row.number_id, body) for body in bodies),
        )

    def answer_inline(self, message_id: str) -> Acceptance:
        """Give what became of a message; what was ready belongs to the webhook from now on."""
        mine = INBOX.c.message_id == message_id
        with self._database.read() as connection:
            row = connection.execute(select(INBOX.c.number_id, INBOX.c.arrival).where(mine)).first()
            found = self._acceptance(connection, message_id)
            if row is None or found is None:
                raise message_unknown(message_id)
            ready = (
                OUTBOX.c.arrival == row.arrival,
                OUTBOX.c.answers,
                OUTBOX.c.state == "ready",
            )
            if connection.execute(select(OUTBOX.c.sending_id).where(*ready)).first() is None:
                return found
        with self._database.write() as connection:
            if self._locked(connection, row.number_id) is not None:
                connection.execute(
                    update(OUTBOX).where(*ready).values(state="inline", due=None, sender=None)
                )
            return self._acceptance(connection, message_id) or found

    def claim(self, worker: str, *, now: str, until: str) -> Work | None:
        """Claim the oldest unanswered message of a number that no other worker is busy with."""
        oldest = (
            select(THREADS)
            .join_from(INBOX, THREADS)
            .where(
                INBOX.c.answered.is_(None),
                or_(THREADS.c.worker.is_(None), THREADS.c.until <= instant(now)),
            )
            .order_by(INBOX.c.arrival)
            .limit(1)
        )
        ends = instant(until)
        for _ in range(_TRIES):
            with self._database.read() as connection:  # an idle worker writes nothing
                if connection.execute(oldest).first() is None:
                    return None
            with self._database.write() as connection:
                row = connection.execute(
                    oldest.with_for_update(of=THREADS, skip_locked=True)
                ).first()
                if row is None:
                    continue
                # Looked up anew under the lock: the row above may tell of an earlier state.
                waiting = connection.execute(waiting_of(row.number_id).limit(2)).all()
                if not waiting:
                    continue
                connection.execute(
                    update(THREADS)
                    .where(THREADS.c.number_id == row.number_id)
                    .values(worker=worker, until=ends, ticket=row.ticket + 1)
                )
                return Work(
                    message=self._message(waiting[0], self._number(row)),
                    thread=self._thread(connection, row),
                    worker=worker,
                    until=until,
                    later=len(waiting) > 1,
                    ticket=row.ticket + 1,
                )
        return None

    def release(self, worker: str) -> int:
        """Free what a worker had claimed of messages and sendings; give how many there were."""
        with self._database.write() as connection:
            claims = connection.execute(
                update(THREADS)
                .where(THREADS.c.worker == worker)
                .values(worker=None, until=None, ticket=THREADS.c.ticket + 1)
            ).rowcount
            sendings = connection.execute(
                update(OUTBOX)
                .where(OUTBOX.c.state == "sending", OUTBOX.c.sender == worker)
                .values(due=0, sender=None)
            ).rowcount
        return claims + sendings

    def waiting(self) -> int:
        """Count the messages that no worker has answered."""
        with self._database.read() as connection:
            return connection.execute(
                select(func.count()).select_from(INBOX).where(INBOX.c.answered.is_(None))
            ).scalar_one()

    def case_events(self, case_id: str) -> Sequence[StoredEvent]:
        """Give the events of a case in order; raise ``MisuseError`` when it is unknown."""
        return self.casebook.events(case_id)

    def commit(self, work: Work, outcome: Outcome, *, now: str, due: str | None = None) -> None:
        """Keep events, thread and replies and mark the message as answered: one transaction."""
        message_id = work.message.message_id
        check_outcome(work, outcome)
        try:
            with self._database.write() as connection:
                row = self._locked(connection, work.thread.number_id)
                if row is None or (row.worker, row.ticket) != (work.worker, work.ticket):
                    raise claim_lost(message_id)
                arrival = connection.execute(
                    select(INBOX.c.arrival).where(
                        INBOX.c.message_id == message_id, INBOX.c.answered.is_(None)
                    )
                ).scalar_one_or_none()
                if arrival is None:
                    raise claim_lost(message_id)
                self._keep_events(connection, outcome, message_id, now)
                self._keep_thread(connection, work.thread, outcome.thread, now)
                self._keep_replies(connection, row, outcome, arrival=arrival, now=now, due=due)
                connection.execute(
                    update(INBOX).where(INBOX.c.arrival == arrival).values(answered=now)
                )
        except IntegrityError as error:  # the case was gone on with by another transaction
            raise claim_lost(message_id) from error

    def _keep_events(
        self, connection: Connection, outcome: Outcome, message_id: str, now: str
    ) -> None:
        for event in outcome.events:
            try:
                self.casebook.keep(connection, event.case_id, event.entry)
            except MisuseError as error:
                raise claim_lost(message_id) from error
        for case_id in outcome.closed:
            connection.execute(update(CASES).where(CASES.c.case_id == case_id).values(closed=now))

    def _keep_thread(self, connection: Connection, before: Thread, after: Thread, now: str) -> None:
        mine = THREADS.c.number_id == after.number_id
        values: dict[str, Any] = {
            "worker": None,
            "until": None,
            "opted_out": after.opted_out,
            "case_id": after.case_id,
            "held_by": after.held_by,
            "last": instant(now),
            "last_at": now,
        }
        if after.memory != before.memory:
            values["memory"] = self._sealed(after.number_id, after.memory)
        connection.execute(update(THREADS).where(mine).values(values))
        if after.cases == before.cases:
            return
        number_id = after.number_id
        connection.execute(delete(THREAD_CASES).where(THREAD_CASES.c.number_id == number_id))
        for position, case_id in enumerate(after.cases):
            row = {"number_id": number_id, "position": position, "case_id": case_id}
            connection.execute(insert(THREAD_CASES).values(row))

    def _keep_replies(
        self,
        connection: Connection,
        row: Row[Any],
        outcome: Outcome,
        *,
        arrival: int,
        now: str,
        due: str | None,
    ) -> None:
        """Put replies into the outbox; an opt-out keeps back all but its own confirmation."""
        confirms = outcome.thread.opted_out and not row.opted_out
        if confirms:
            connection.execute(
                update(OUTBOX)
                .where(
                    OUTBOX.c.number_id == row.number_id,
                    OUTBOX.c.due.is_not(None),
                    OUTBOX.c.state == "ready",
                )
                .values(state="withheld", due=None)
            )
        wanted = confirms or not outcome.thread.opted_out
        if not outcome.replies:
            return
        connection.execute(
            insert(OUTBOX),
            [
                self._to_send(
                    row.number_id,
                    body,
                    arrival=arrival,
                    answers=True,
                    state="ready" if wanted else "withheld",
                    confirms=confirms,
                    created=now,
                    due=instant(due or now) if wanted else None,
                )
                for body in outcome.replies
            ],
        )
