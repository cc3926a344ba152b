"""What the parts of the SQL store share: rows to records and back, and the lock on a number.

Every transaction that writes to the messages of a number locks the number's row first. So there
is one order of locks, and whatever a transaction reads after that lock stays as it is.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from sqlalchemy import insert, select

from assistant.casebook.tables import INBOX, KEY_MARKS, THREAD_CASES, THREADS
from assistant.errors import GivenError
from assistant.messaging.records import IncomingText, Sending, Thread

if TYPE_CHECKING:
    from collections.abc import Iterable

    from sqlalchemy import Connection, Row

    from assistant.casebook.sql import SqlCasebook
    from assistant.messaging.numbers import Numbers

__all__ = ["StoreBase", "waiting_of"]


class StoreBase:
    """Holds the casebook's database and the keys; raises ``GivenError`` for a wrong key."""

    def __init__(self, casebook: SqlCasebook, numbers: Numbers) -> None:
        self.casebook: Final = casebook
        self._database: Final = casebook.database
        self._numbers: Final = numbers
        with self._database.read() as connection:
            mark = _mark(connection)
        if mark is None:
            with self._database.write() as connection:
                if (mark := _mark(connection)) is None:
                    mark = numbers.mark
                    connection.execute(insert(KEY_MARKS).values(name="numbers", mark=mark))
        if mark != numbers.mark:
            raise GivenError(
                "The key for telephone numbers is not the one that the database was begun with.",
                next_step="Put back the key file, or the secret of the settings.",
            )

    def _locked(self, connection: Connection, number_id: str) -> Row[Any] | None:
        """Lock a number until the transaction ends; give its row, None when it is unknown."""
        return connection.execute(
            select(THREADS).where(THREADS.c.number_id == number_id).with_for_update()
        ).first()

    def _number(self, row: Row[Any]) -> str:
        return self._numbers.open(row.sealed, f"number {row.number_id}")

    def _text(self, number_id: str, sealed: bytes) -> str:
        return self._numbers.open(sealed, f"text {number_id}")

    def _sealed(self, number_id: str, text: str) -> bytes:
        return self._numbers.seal(text, f"text {number_id}")

    def _thread(self, connection: Connection, row: Row[Any]) -> Thread:
        cases = connection.execute(
            select(THREAD_CASES.c.case_id)
            .where(THREAD_CASES.c.number_id == row.number_id)
            .order_by(THREAD_CASES.c.position)
        ).scalars()
        return self._thread_of(row, cases)

    def _thread_of(self, row: Row[Any], cases: Iterable[str]) -> Thread:
        return Thread(
            number_id=row.number_id,
            opted_out=row.opted_out,
            case_id=row.case_id,
            cases=tuple(cases),
            memory=self._text(row.number_id, row.memory),
            held_by=row.held_by,
        )

    def _to_send(self, number_id: str, body: str, **values: Any) -> dict[str, Any]:
        """Give the row of a message that was never tried."""
        blank = {"person": "", "attempts": 0, "interrupted": False, "why": "", "delivery": ""}
        sealed = self._sealed(number_id, body)
        return {"number_id": number_id, "body": sealed, "delivery_error": "", **blank, **values}

    def _message(self, row: Row[Any], number: str) -> IncomingText:
        return IncomingText(
            message_id=row.message_id,
            number=number,
            text=self._text(row.number_id, row.text),
            received=row.received,
            media=row.media,
            place=row.place,
        )

    def _sending(self, row: Row[Any], number: str, *, tries: int | None = None) -> Sending:
        return Sending(
            sending_id=row.sending_id,
            number=number,
            body=self._text(row.number_id, row.body),
            attempts=row.attempts if tries is None else tries,
            created=row.created,
            interrupted=row.interrupted,
            why=row.why,
        )


def _mark(connection: Connection) -> str | None:
    return connection.execute(
        select(KEY_MARKS.c.mark).where(KEY_MARKS.c.name == "numbers")
    ).scalar_one_or_none()


def waiting_of(number_id: str) -> Any:
    """Select the unanswered messages of a number, in the order they came."""
    return (
        select(INBOX)
        .where(INBOX.c.number_id == number_id, INBOX.c.answered.is_(None))
        .order_by(INBOX.c.arrival)
    )
