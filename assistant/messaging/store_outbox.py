"""Messages that go out: claimed, sent, tried again, given up, and what the carrier reports."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from sqlalchemy import func, literal, or_, select, update

from assistant.casebook.tables import OUTBOX, THREADS, instant
from assistant.errors import MisuseError
from assistant.messaging.store_base import StoreBase, plain

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from sqlalchemy import Connection, Row

    from assistant.messaging.records import Sending

__all__ = ["FINAL_REPORTS", "SqlOutbox", "not_dead"]

FINAL_REPORTS: Final = frozenset({"delivered", "undelivered", "failed", "canceled", "read"})
"""Reports that end a delivery: a report of an earlier stage that comes late says nothing more."""


def not_dead(sending_id: int) -> MisuseError:
    """Give the error for reviving what was not given up."""
    return MisuseError(
        f"No message {sending_id} was given up.", next_step="List the messages that were given up."
    )


class SqlOutbox(StoreBase):
    """The messages to be sent."""

    def take_sendings(self, sender: str, *, now: str, until: str, count: int) -> Sequence[Sending]:
        """Claim sendings that are due, in order within each number.

        A number is passed over while an earlier message to it is with another sender or waits
        for its next try. What is left for a number that opted out is kept back.
        """
        if count <= 0:
            return ()
        at, ends = instant(now), instant(until)
        heads = (
            select(OUTBOX.c.number_id, func.min(OUTBOX.c.sending_id).label("head"))
            .where(OUTBOX.c.due.is_not(None), OUTBOX.c.due <= at)
            .group_by(OUTBOX.c.number_id)
            .subquery()
        )
        numbers = (
            select(THREADS)
            .join(heads, heads.c.number_id == THREADS.c.number_id)
            .order_by(heads.c.head)
            .limit(count)
        )
        with self._database.read() as connection:  # an idle sender writes nothing
            if connection.execute(numbers).first() is None:
                return ()
        taken: list[Sending] = []
        with self._database.write() as connection:
            rows = connection.execute(numbers.with_for_update(of=THREADS, skip_locked=True)).all()
            for thread in rows:
                number = self._number(thread)
                for row in self._due(connection, thread, at):
                    if len(taken) == count:
                        break
                    values = {
                        "state": "sending",
                        "due": ends,
                        "sender": sender,
                        "attempts": row.attempts + 1,
                        "interrupted": row.interrupted or row.state == "sending",
                    }
                    before = connection.execute(_update(row.sending_id, values).returning(OUTBOX))
                    taken.append(self._sending(before.one(), number, tries=row.attempts))
        return tuple(taken)

    def _due(self, connection: Connection, thread: Row[Any], at: int) -> Iterator[Row[Any]]:
        """Give the sendings of a locked number that may go now, up to the first that may not."""
        rows = connection.execute(
            select(OUTBOX)
            .where(OUTBOX.c.number_id == thread.number_id, OUTBOX.c.due.is_not(None))
            .order_by(OUTBOX.c.sending_id)
        ).all()
        for row in rows:
            if row.due > at:
                return
            if thread.opted_out and not row.confirms:
                connection.execute(_update(row.sending_id, {"state": "withheld", "due": None}))
            else:
                yield row

    def mark_sent(self, sending_id: int, *, carrier_id: str, now: str) -> None:
        """Note that the carrier has taken a sending; one that was erased meanwhile is let go."""
        instant(now)
        values = {"state": "sent", "due": None, "carrier_id": carrier_id, "interrupted": False}
        with self._database.write() as connection:
            connection.execute(_update(sending_id, {**values, "why": ""}))

    def mark_failed(self, sending_id: int, *, why: str, retry_at: str | None, now: str) -> None:
        """Note a failed try; without ``retry_at`` the sending is dead."""
        instant(now)
        again = None if retry_at is None else instant(retry_at)
        values = {
            "state": "dead" if again is None else "ready",
            "due": again,
            "sender": None,
            "why": plain(why, 1000),
        }
        with self._database.write() as connection:
            # Only while it is being sent: a sender whose claim ran out may come too late.
            connection.execute(_update(sending_id, values).where(OUTBOX.c.state == "sending"))

    def note_delivery(self, carrier_id: str, *, status: str, error: str, now: str) -> bool:
        """Keep a delivery report; False when no sending has this id."""
        instant(now)
        known = OUTBOX.c.carrier_id == carrier_id
        later = or_(OUTBOX.c.delivery.not_in(FINAL_REPORTS), literal(status in FINAL_REPORTS))
        values = {"delivery": plain(status, 40), "delivery_error": plain(error, 200)}
        with self._database.write() as connection:
            connection.execute(update(OUTBOX).where(known, later).values(values))
            return connection.execute(select(OUTBOX.c.sending_id).where(known)).first() is not None

    def dead(self) -> Sequence[Sending]:
        """Give the sendings that were given up, the oldest first."""
        with self._database.read() as connection:
            rows = connection.execute(
                select(OUTBOX, THREADS.c.sealed)
                .join_from(OUTBOX, THREADS)
                .where(OUTBOX.c.state == "dead")
                .order_by(OUTBOX.c.sending_id)
            ).all()
        return tuple(self._sending(row, self._number(row)) for row in rows)

    def revive(self, sending_id: int, *, now: str) -> None:
        """Put a dead sending back to ``ready``, with its tries counted from nothing."""
        values = {"state": "ready", "due": instant(now), "attempts": 0}
        with self._database.write() as connection:
            if not connection.execute(
                _update(sending_id, values).where(OUTBOX.c.state == "dead")
            ).rowcount:
                raise not_dead(sending_id)


def _update(sending_id: int, values: dict[str, Any]) -> Any:
    return update(OUTBOX).where(OUTBOX.c.sending_id == sending_id).values(values)
