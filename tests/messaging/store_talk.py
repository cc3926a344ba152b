"""Short words for what the tests of the stores say again and again."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from assistant.casebook.records import StoredEvent
from assistant.conversation.events import Opened, Typed
from assistant.knowledge.schema import Complaint, Installation
from assistant.messaging.records import CaseEvent, IncomingText, Outcome, Work

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.conversation.events import Given
    from assistant.messaging.records import MessageStore, Sending

# Reserved for fiction: 555-0100 to 555-0199 (North American Numbering Plan).
ANNA, BERT, CARA = "+12125550142", "+12125550143", "+12125550144"
OPENED = Opened(installation=Installation(), complaint=Complaint(symptom="protects"))


def at(seconds: int) -> str:
    """A time so many seconds into the test."""
    return f"2031-03-01T{9 + seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}+00:00"


def text(
    message_id: str, number: str = ANNA, words: str = "12.6", *, seconds: int = 0
) -> IncomingText:
    return IncomingText(message_id=message_id, number=number, text=words, received=at(seconds))


def event(
    case_id: str, sequence: int, given: Given | None = None, key: str | None = None
) -> CaseEvent:
    given = given or (OPENED if sequence == 0 else Typed(text=f"answer {sequence}"))
    return CaseEvent(
        case_id=case_id, entry=StoredEvent(sequence=sequence, at=at(0), event=given, key=key)
    )


def claim(store: MessageStore, worker: str = "w", *, seconds: int = 1, lease: int = 30) -> Work:
    work = store.claim(worker, now=at(seconds), until=at(seconds + lease))
    assert work is not None
    return work


def answer(
    store: MessageStore,
    work: Work,
    *replies: str,
    seconds: int = 2,
    due: int | None = None,
    events: Sequence[CaseEvent] = (),
    closed: Sequence[str] = (),
    **thread: object,
) -> None:
    """Commit an outcome; ``thread`` is what changes of the work's thread."""
    outcome = Outcome(
        thread=replace(work.thread, **thread),  # type: ignore[arg-type]
        events=tuple(events),
        replies=replies,
        closed=tuple(closed),
    )
    store.commit(work, outcome, now=at(seconds), due=None if due is None else at(due))


def converse(store: MessageStore, message: IncomingText, *replies: str, **thread: object) -> str:
    """Accept a message and answer it; give the id of its number."""
    store.accept(message)
    work = claim(store)
    assert work.message == message
    answer(store, work, *replies, **thread)  # type: ignore[arg-type]
    return work.thread.number_id


def take(
    store: MessageStore, sender: str = "d", *, seconds: int = 3, count: int = 10, lease: int = 60
) -> Sequence[Sending]:
    return store.take_sendings(sender, now=at(seconds), until=at(seconds + lease), count=count)


def bodies(sendings: Sequence[Sending]) -> list[str]:
    return [sending.body for sending in sendings]


def states(store: MessageStore, number_id: str) -> list[tuple[str, str | None]]:
    """What went out to a number, and how far it came."""
    lines = store.thread(number_id).lines
    return [(line.text, line.state) for line in lines if line.by != "customer"]
