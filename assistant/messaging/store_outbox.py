"""Messages that go out: claimed, sent, tried again, given up, and what the carrier reports."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from sqlalchemy import literal, or_, select, update

from assistant.casebook.tables import OUTBOX, THREADS
from assistant.messaging.store_base import StoreBase
from assistant.messaging.store_common import FINAL_REPORTS, instant, not_dead, plain

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from sqlalchemy import Connection, Row

    from assistant.messaging.records import Sending

__all__ = ["SqlOutbox"]

_TRIES: Final = 8


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
        earlier = OUTBOX.alias()
        waits = select(earlier.c.sending_id).where(
            earlier.c.number_id == OUTBOX.c.number_id,
            earlier.c.sending_id < OUTBOX.c.sending_id,
            earlier.c.due.is_not(None),
        )
        candidates = (
            select(OUTBOX.c.number_id)
            .where(OUTBOX.c.due <= at, ~waits.exists())
            .order_by(OUTBOX.c.sending_id + 0)  # an expression: SQLite would walk all ids in order
            .limit(count)
        )
        for _ in range(_TRIES):
            with self._database.read() as connection:  # searching holds up nobody
                numbers = list(connection.execute(candidates).scalars())
            if not numbers:
                return ()
            with self._database.write() as connection:
                rows = connection.execute(
                    select(THREADS)
                    .where(THREADS.c.number_id.in_(numbers))
                    .with_for_update(skip_locked=True)
                ).all()
                # Looked up anew under the lock: another sender may have been there meanwhile.
                rows = sorted(rows, key=lambda row: numbers.index(row.number_id))
                taken = self._take(connection, rows, at, count, {"sender": sender, "due": ends})
            if taken or not rows:
                return tuple(taken)
        return ()

    def _take(
        self,
        connection: Connection,
        threads: Sequence[Row[Any]],
        at: int,
        count: int,
        claim: dict[str, Any],
    ) -> list[Sending]:
        """Claim what is due of locked numbers."""
        taken: list[Sending] = []
        for thread in threads:
            number = self._number(thread)
            for row in self._due(connection, thread, at):
                if len(taken) == count:
                    break
                values = {
                    **claim,
                    "state": "sending",
                    "attempts": row.attempts + 1,
                    "interrupted": row.interrupted or row.state == "sending",
                }
                after = connection.execute(_update(row.sending_id, values).returning(OUTBOX)).one()
                taken.append(self._sending(after, number, tries=row.attempts))
        return taken

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
        values = {"delivery": plain(status, 40), "delivery_error": plain(error)}
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
