"""What the shop's pages show of a conversation, in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assistant.messaging.records import Line, Sending, ThreadView
    from assistant.messaging.summary import Summary

__all__ = ["DeadLetter", "Row", "Spoken", "dead_letters", "row_of", "spoken_of"]

_STATES: Final[Mapping[str, str]] = {
    "waiting": "not opened yet",
    "cautioning": "waits until the caution is noted",
    "measuring": "waits for a reading",
    "confirming": "asks whether it read right",
    "contrasting": "asks which reading was meant",
    "concluded": "has a verdict",
    "proving": "tries whether the repair helped",
    "parked": "paused",
    "closed": "closed",
}
_SENDING: Final[Mapping[str, str]] = {
    "ready": "waits to be sent",
    "inline": "answered at once",
    "sending": "is being sent",
    "sent": "handed over",
    "dead": "could not be sent",
    "withheld": "kept back: opted out",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One conversation in the list; ``top`` holds repairs in words with their percentages."""

    number_id: str
    masked: str
    last: str
    state: str
    check: str
    top: tuple[tuple[str, int], ...]
    held_by: str
    opted_out: bool
    cases: tuple[str, ...]
    case_id: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Spoken:
    """One line of a conversation: who wrote it, and what became of it if we did."""

    by: str
    who: str
    at: str
    text: str
    fate: str
    failed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class DeadLetter:
    """A message that was given up; its number stays masked."""

    sending_id: int
    masked: str
    body: str
    why: str
    attempts: int
    created: str


def _words(name: str) -> str:
    return name.replace("_", " ").replace(".", " ")


def row_of(view: ThreadView, summary: Summary | None) -> Row:
    """Give what the list shows of a conversation; ``summary`` is of its present case."""
    thread = view.thread
    if thread.case_id is None:
        state = "tells what is wrong"
    elif summary is None:
        state = "case is open"
    else:
        state = _STATES.get(summary.state, _words(summary.state))
    return Row(
        number_id=thread.number_id,
        masked=view.masked,
        last=view.last,
        state=state,
        check="" if summary is None else summary.check,
        top=() if summary is None else tuple((_words(n), round(100 * p)) for n, p in summary.top),
        held_by=thread.held_by,
        opted_out=thread.opted_out,
        cases=thread.cases,
        case_id=thread.case_id or "",
    )


def spoken_of(line: Line) -> Spoken:
    """Give what a page shows of a line."""
    who = {"customer": "Customer", "program": "Program", "person": line.person or "Shop"}[line.by]
    fate = "" if line.state is None else _SENDING[line.state]
    if line.delivery:
        fate = f"{fate}, {_words(line.delivery)}"
    return Spoken(
        by=line.by,
        who=who,
        at=line.at,
        text=line.text,
        fate=fate,
        failed=line.state == "dead" or line.delivery in {"failed", "undelivered"},
    )


def dead_letters(sendings: Sequence[Sending], mask: Mapping[str, str]) -> list[DeadLetter]:
    """Give what a page shows of messages that were given up; ``mask`` by number."""
    return [
        DeadLetter(
            sending_id=each.sending_id,
            masked=mask[each.number],
            body=each.body,
            why=each.why,
            attempts=each.attempts,
            created=each.created,
        )
        for each in sendings
    ]
