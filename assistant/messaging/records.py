"""What passes between the webhook, the exchange of texts, the store and the delivery.

The webhook makes an ``IncomingText`` and has the store accept it. A worker claims the ``Work`` of
one number, lets the exchange answer it, and commits the ``Outcome``. What is to be sent then lies
in the outbox as ``Sending``, until the webhook's own answer or the carrier has taken it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal, Protocol, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.casebook.records import StoredEvent
    from assistant.conversation.dialogue import Dialogue

__all__ = [
    "Acceptance",
    "Carrier",
    "CaseEvent",
    "Dialogues",
    "IncomingText",
    "Line",
    "MessageStore",
    "Outcome",
    "Sending",
    "SendingState",
    "Thread",
    "ThreadView",
    "Work",
]

SendingState: TypeAlias = Literal["ready", "inline", "sending", "sent", "dead", "withheld"]
"""``ready``: nobody has it yet. ``inline``: went out as the webhook's own answer. ``sending``: a
delivery is at it. ``sent``: the carrier has it. ``dead``: given up after the last try.
``withheld``: the number opted out before it went out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class IncomingText:
    """One text message as the carrier handed it over.

    ``message_id`` is the carrier's own id, ``number`` the sender in E.164, ``received`` ISO 8601.
    ``media`` counts pictures and other attachments, ``place`` tells that a location came.
    """

    message_id: str
    number: str
    text: str
    received: str
    media: int = 0
    place: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Acceptance:
    """What became of a text that came in.

    ``fresh`` is False for a message id that was accepted before. ``answered`` tells whether a
    worker has dealt with it; ``inline`` holds the bodies that belong into the webhook's answer.
    """

    fresh: bool
    answered: bool
    inline: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Thread:
    """What is kept of one number between its messages.

    ``case_id`` is the case that texts go to now, ``cases`` all of the number's, oldest first.
    ``memory`` is JSON that only the exchange reads: the intake so far and the like. ``held_by``
    names the person at the shop who has taken over; empty when the program answers.
    """

    number_id: str
    opted_out: bool = False
    case_id: str | None = None
    cases: tuple[str, ...] = ()
    memory: str = ""
    held_by: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """One message that a worker has claimed, with the thread of its number as it stands.

    ``later`` tells whether more messages of the number wait behind it. ``worker`` holds the claim
    until ``until`` (ISO 8601); another may take the message after that. ``ticket`` is the store's:
    it tells this claim from an earlier or later one by a worker of the same name.
    """

    message: IncomingText
    thread: Thread
    worker: str
    until: str
    later: bool = False
    ticket: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseEvent:
    """An event that joins a case; sequence 0 opens the case."""

    case_id: str
    entry: StoredEvent


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What came of one message; the store keeps all of it in one transaction.

    ``replies`` are whole message bodies, in order, each of GSM 7-bit characters and at most two
    segments. ``closed`` names the cases that ended.
    """

    thread: Thread
    events: tuple[CaseEvent, ...] = ()
    replies: tuple[str, ...] = ()
    closed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Sending:
    """One message that waits to be sent; ``attempts`` counts the tries so far.

    ``interrupted`` tells that an earlier delivery died at it: whether the carrier took it has to
    be found out first. ``why`` is what the last try failed of.
    """

    sending_id: int
    number: str
    body: str
    attempts: int
    created: str
    interrupted: bool = False
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of a conversation as the shop's screen shows it; ``by`` is who wrote it.

    ``delivery`` is what the carrier last reported, ``error`` its word for what went wrong.
    """

    at: str
    by: Literal["customer", "program", "person"]
    text: str
    person: str = ""
    state: SendingState | None = None
    delivery: str = ""
    error: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ThreadView:
    """One number on the shop's screen; ``masked`` shows no more than its last two digits.

    ``last`` is the time of the last message, to or from it.
    """

    thread: Thread
    masked: str
    last: str
    lines: tuple[Line, ...] = field(default=())


class Dialogues(Protocol):
    """Gives the exchange the dialogues of cases; the worker keeps some of them in memory."""

    def stored(self, case_id: str) -> tuple[Dialogue, int]:
        """Give the dialogue of a case as far as it is stored, and how many events that is."""
        ...

    def fresh(self) -> Dialogue:
        """Give a dialogue whose case is not opened yet."""
        ...


class Carrier(Protocol):
    """Who takes messages to telephones."""

    def send(self, to: str, body: str) -> str:
        """Send one message and give the carrier's id of it.

        Raises ``CarrierRefusedError`` when trying again is of no use, ``CarrierBusyError`` when
        it may be.
        """
        ...

    def find(self, to: str, body: str, since: str) -> str | None:
        """Give the id of a message that the carrier already took, None when it has none."""
        ...


class MessageStore(Protocol):
    """A store of numbers, messages and sendings; times are ISO 8601 and given by the caller.

    Telephone numbers go in and out in E.164; at rest they are a keyed hash and an encrypted value.
    """

    def accept(self, message: IncomingText) -> Acceptance:
        """Claim the message id and keep the message, in one transaction; durable on return."""
        ...

    def answer_inline(self, message_id: str) -> Acceptance:
        """Give what became of a message, and turn its ``ready`` sendings into ``inline`` ones."""
        ...

    def claim(self, worker: str, *, now: str, until: str) -> Work | None:
        """Claim the oldest unanswered message of a number that no other worker is busy with."""
        ...

    def commit(self, work: Work, outcome: Outcome, *, now: str, due: str | None = None) -> None:
        """Keep events, thread and replies and mark the message as answered: one transaction.

        Until ``due`` the webhook may still put the replies into its own answer: no delivery takes
        them before (``now`` when it is None). Raises ``ClaimLostError`` when the claim has passed
        to another worker or the case has gone on; nothing is kept then.
        """
        ...

    def release(self, worker: str) -> int:
        """Free the claims of a worker that is gone; give how many there were."""
        ...

    def waiting(self) -> int:
        """Count the messages that no worker has answered."""
        ...

    def case_events(self, case_id: str) -> Sequence[StoredEvent]:
        """Give the events of a case in order."""
        ...

    def take_sendings(self, sender: str, *, now: str, until: str, count: int) -> Sequence[Sending]:
        """Claim sendings that are due; what another sender holds is passed over."""
        ...

    def mark_sent(self, sending_id: int, *, carrier_id: str, now: str) -> None:
        """Note that the carrier has taken a sending."""
        ...

    def mark_failed(self, sending_id: int, *, why: str, retry_at: str | None, now: str) -> None:
        """Note a failed try; without ``retry_at`` the sending is dead."""
        ...

    def note_delivery(self, carrier_id: str, *, status: str, error: str, now: str) -> bool:
        """Keep a delivery report; False when no sending has this id."""
        ...

    def dead(self) -> Sequence[Sending]:
        """Give the sendings that were given up."""
        ...

    def revive(self, sending_id: int, *, now: str) -> None:
        """Put a dead sending back to ``ready``."""
        ...

    def threads(self, *, count: int = 100) -> Sequence[ThreadView]:
        """Give the threads, the latest first, without their lines."""
        ...

    def thread(self, number_id: str) -> ThreadView:
        """Give one thread with its lines; raises ``MisuseError`` when it is unknown."""
        ...

    def take_over(self, number_id: str, *, person: str) -> None:
        """Let a person answer this number; the program keeps quiet until it is handed back."""
        ...

    def hand_back(self, number_id: str) -> None:
        """Let the program answer again."""
        ...

    def say(self, number_id: str, *, person: str, bodies: Sequence[str], now: str) -> None:
        """Put messages of a person into the outbox; raises ``GivenError`` after an opt-out."""
        ...

    def forget(self, number: str) -> int:
        """Erase a number, its messages and cases, from every file; give how many cases."""
        ...

    def expire(self, *, before: str) -> int:
        """Erase numbers that were last heard of before a time; give how many."""
        ...
