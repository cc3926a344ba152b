"""What the store in memory keeps of each number, and how the shop's screen shows it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from assistant.messaging.numbers import masked
from assistant.messaging.records import (
    IncomingText,
    Line,
    Sending,
    SendingState,
    Thread,
    ThreadView,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["Came", "Number", "Went", "came_line", "due_of", "view", "went_line"]


@dataclass(slots=True, kw_only=True)
class Came:
    """A message that came in."""

    arrival: int
    message: IncomingText
    answered: bool = False


@dataclass(slots=True, kw_only=True)
class Went:
    """A message that goes out; ``due`` is None where nothing is left to do."""

    sending: Sending
    arrival: int
    answers: bool
    state: SendingState
    due: int | None
    confirms: bool = False
    person: str = ""
    sender: str = ""
    carrier_id: str = ""
    delivery: str = ""
    error: str = ""


@dataclass(slots=True, kw_only=True)
class Number:
    """A telephone number with its claim and its messages."""

    number: str
    thread: Thread
    heard: int
    last: str
    worker: str | None = None
    until: int = 0
    ticket: int = 0
    came: list[Came] = field(default_factory=list)
    went: list[Went] = field(default_factory=list)

    def queue(self) -> list[Went]:
        """Give what is still to be sent, in order."""
        return [went for went in self.went if went.due is not None]

    @property
    def waiting(self) -> list[Came]:
        """The messages that no worker has answered."""
        return [came for came in self.came if not came.answered]

    def unclaim(self) -> None:
        """Take the claim from whoever holds it."""
        self.worker = None
        self.ticket += 1


def due_of(known: Number, at: int) -> Iterator[Went]:
    """Give what may go to a number now, up to the first that may not."""
    for went in known.went:
        if went.due is None:
            continue
        if went.due > at:
            return
        if known.thread.opted_out and not went.confirms:
            went.state, went.due = "withheld", None
        else:
            yield went


def view(known: Number) -> ThreadView:
    """Give a number without its lines."""
    return ThreadView(thread=known.thread, masked=masked(known.number), last=known.last)


def came_line(came: Came) -> Line:
    """Give the line of a message that came in."""
    return Line(at=came.message.received, by="customer", text=came.message.text)


def went_line(went: Went) -> Line:
    """Give the line of a message that goes out."""
    return Line(
        at=went.sending.created,
        by="program" if went.answers else "person",
        text=went.sending.body,
        person=went.person,
        state=went.state,
        delivery=went.delivery,
        error=went.error,
    )
