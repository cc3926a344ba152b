"""What every store of text messages shares: times, what can be kept, and the errors."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Final

from assistant.errors import GivenError, MisuseError
from assistant.messaging.faults import ClaimLostError

if TYPE_CHECKING:
    from assistant.messaging.records import Outcome, Work

__all__ = [
    "FINAL_REPORTS",
    "check_id",
    "check_outcome",
    "claim_lost",
    "instant",
    "message_unknown",
    "not_dead",
    "number_unknown",
    "opted_out",
    "plain",
]

FINAL_REPORTS: Final = frozenset({"delivered", "undelivered", "failed", "canceled", "read"})
"""Reports that end a delivery: a report of an earlier stage that comes late says nothing more."""

_LONGEST_ID: Final = 120


def instant(text: str) -> int:
    """Give an ISO 8601 time as whole microseconds since 1970; without an offset it is UTC.

    Raises ``MisuseError`` for what is no time.
    """
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as error:
        raise MisuseError(
            f"{text!r} is no time.", next_step="Give ISO 8601, as in 2031-03-01T09:00:00+00:00."
        ) from error
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=UTC)
    elapsed = moment - datetime(1970, 1, 1, tzinfo=UTC)
    return (elapsed.days * 86_400 + elapsed.seconds) * 1_000_000 + elapsed.microseconds


def check_id(message_id: str) -> None:
    """Raise ``GivenError`` for a message id that not every database can keep."""
    if not (0 < len(message_id) <= _LONGEST_ID and message_id.isprintable()):
        raise GivenError(
            "The message has no usable id.",
            next_step=f"Give one of 1 to {_LONGEST_ID} printable characters.",
        )


def check_outcome(work: Work, outcome: Outcome) -> None:
    """Raise ``MisuseError`` when an outcome is of another number than the work."""
    if outcome.thread.number_id != work.thread.number_id:
        raise MisuseError(
            "The outcome is of another number than the work.",
            next_step="Commit the outcome of this work.",
        )


def plain(text: str, longest: int = 200) -> str:
    """Cut a remark to ``longest`` characters, all of which any database can keep."""
    return "".join(c if c.isprintable() else " " for c in text[:longest])


def claim_lost(message_id: str) -> ClaimLostError:
    """Give the error for an answer that comes too late."""
    return ClaimLostError(
        f"The message {message_id!r} is another worker's by now, or its case has gone on.",
        next_step="Drop the answer and claim the next message.",
    )


def message_unknown(message_id: str) -> MisuseError:
    """Give the error for a message id that was never accepted."""
    return MisuseError(
        f"The message {message_id!r} was not accepted before.", next_step="Accept it first."
    )


def number_unknown(number_id: str) -> MisuseError:
    """Give the error for a number that no message came from."""
    return MisuseError(
        f"There is no conversation {number_id!r}.", next_step="List the conversations anew."
    )


def not_dead(sending_id: int) -> MisuseError:
    """Give the error for reviving what was not given up."""
    return MisuseError(
        f"No message {sending_id} was given up.", next_step="List the messages that were given up."
    )


def opted_out() -> GivenError:
    """Give the error for writing to a number that wants nothing more."""
    return GivenError(
        "This number has asked for no more messages; nothing was sent.",
        next_step="Ring the customer, or wait until they text START.",
    )
