"""A store of text messages that lasts as long as the process: for trials and tests."""

from __future__ import annotations

import threading
from contextlib import contextmanager
from dataclasses import replace
from itertools import count as counting
from typing import TYPE_CHECKING, Final

from assistant.casebook.memory import MemoryCasebook
from assistant.errors import MisuseError
from assistant.messaging.records import Acceptance, Sending, Thread, ThreadView, Work
from assistant.messaging.store_common import (
    FINAL_REPORTS,
    check_id,
    check_outcome,
    claim_lost,
    instant,
    message_unknown,
    not_dead,
    number_unknown,
    opted_out,
    plain,
)
from assistant.messaging.store_memory_rows import (
    Came,
    Number,
    Went,
    came_line,
    due_of,
    view,
    went_line,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from assistant.casebook.records import StoredEvent
    from assistant.messaging.numbers import Numbers
    from assistant.messaging.records import IncomingText, Outcome, SendingState

__all__ = ["MemoryMessageStore"]


class MemoryMessageStore:
    """A ``MessageStore`` in dictionaries, with a casebook of its own kind beside it."""

    def __init__(self, numbers: Numbers, casebook: MemoryCasebook | None = None) -> None:
        self.casebook: Final = MemoryCasebook() if casebook is None else casebook
        self._numbers: Final = numbers
        self._lock: Final = threading.RLock()
        self._threads: Final[dict[str, Number]] = {}
        self._messages: Final[dict[str, tuple[Number, Came]]] = {}
        self._arrivals: Final = counting(1)
        self._sending_ids: Final = counting(1)

    def accept(self, message: IncomingText) -> Acceptance:
        """Keep a message; a message id that was accepted before gives what became of it."""
        check_id(message.message_id)
        number_id = self._numbers.look_up(message.number)
        heard = instant(message.received)
        with self._lock:
            if message.message_id in self._messages:
                return self._acceptance(message.message_id)
            known = self._threads.get(number_id)
            if known is None:
                thread = Thread(number_id=number_id)
                known = Number(
                    number=message.number, thread=thread, heard=heard, last=message.received
                )
                self._threads[number_id] = known
            known.heard, known.last = heard, message.received
            came = Came(arrival=next(self._arrivals), message=message)
            known.came.append(came)
            self._messages[message.message_id] = (known, came)
        return Acceptance(fresh=True, answered=False)

    def _acceptance(self, message_id: str) -> Acceptance:
        known, came = self._messages[message_id]
        bodies = (
            went.sending.body
            for went in known.went
            if went.answers and went.arrival == came.arrival and went.state == "inline"
            if went.confirms or not known.thread.opted_out
        )
        return Acceptance(fresh=False, answered=came.answered, inline=tuple(bodies))

    def answer_inline(self, message_id: str) -> Acceptance:
        """Give what became of a message; what was ready belongs to the webhook from now on."""
        with self._lock:
            if message_id not in self._messages:
                raise message_unknown(message_id)
            known, came = self._messages[message_id]
            for went in known.went:
                if went.answers and went.arrival == came.arrival and went.state == "ready":
                    went.state, went.due = "inline", None
            return self._acceptance(message_id)

    def claim(self, worker: str, *, now: str, until: str) -> Work | None:
        """Claim the oldest unanswered message of a number that no other worker is busy with."""
        at, ends = instant(now), instant(until)
        with self._lock:
            free = [
                known
                for known in self._threads.values()
                if known.waiting and (known.worker is None or known.until <= at)
            ]
            if not free:
                return None
            known = min(free, key=lambda k: k.waiting[0].arrival)
            known.worker, known.until = worker, ends
            known.ticket += 1
            return Work(
                message=known.waiting[0].message,
                thread=known.thread,
                worker=worker,
                until=until,
                later=len(known.waiting) > 1,
                ticket=known.ticket,
            )

    def commit(self, work: Work, outcome: Outcome, *, now: str, due: str | None = None) -> None:
        """Keep events, thread and replies and mark the message as answered: all or nothing."""
        check_outcome(work, outcome)
        soonest = instant(due or now)
        instant(now)
        message_id = work.message.message_id
        with self._lock:
            known, came = self._messages.get(message_id, (None, None))
            if (
                known is None
                or came is None
                or came.answered
                or (known.worker, known.ticket) != (work.worker, work.ticket)
            ):
                raise claim_lost(message_id)
            self._keep_events(outcome, message_id, now)
            opting = outcome.thread.opted_out and not known.thread.opted_out
            wanted = opting or not outcome.thread.opted_out
            if opting:
                for went in known.went:
                    if went.state == "ready":
                        went.state, went.due = "withheld", None
            for body in outcome.replies:
                went = self._to_send(known, body, now, answers=came.arrival)
                went.confirms = opting
                went.state, went.due = ("ready", soonest) if wanted else ("withheld", None)
            known.thread = outcome.thread
            known.worker = None
            known.last = now
            came.answered = True

    def _keep_events(self, outcome: Outcome, message_id: str, now: str) -> None:
        trial = MemoryCasebook()
        for case_id in dict.fromkeys(event.case_id for event in outcome.events):
            if self.casebook.has_case(case_id):
                first, *rest = self.casebook.events(case_id)
                trial.open_case(case_id, first)
                for entry in rest:
                    trial.append(case_id, entry)
        for book in (trial, self.casebook):  # nothing is kept unless all of it can be
            for event in outcome.events:
                keep = book.open_case if event.entry.sequence == 0 else book.append
                try:
                    keep(event.case_id, event.entry)
                except MisuseError as error:
                    raise claim_lost(message_id) from error
        for case_id in outcome.closed:
            if self.casebook.has_case(case_id):
                self.casebook.close_case(case_id, at=now)

    def _to_send(self, known: Number, body: str, now: str, *, answers: int | None) -> Went:
        newest = known.came[-1].arrival if known.came else 0
        sending = Sending(
            sending_id=next(self._sending_ids),
            number=known.number,
            body=body,
            attempts=0,
            created=now,
        )
        went = Went(
            sending=sending,
            arrival=newest if answers is None else answers,
            answers=answers is not None,
            state="ready",
            due=instant(now),
        )
        known.went.append(went)
        return went

    def release(self, worker: str) -> int:
        """Free what a worker had claimed of messages and sendings; give how many there were."""
        freed = 0
        with self._lock:
            for known in self._threads.values():
                if known.worker == worker:
                    known.unclaim()
                    freed += 1
                for went in known.went:
                    if went.state == "sending" and went.sender == worker:
                        went.due, went.sender = 0, ""
                        freed += 1
        return freed

    def waiting(self) -> int:
        """Count the messages that no worker has answered."""
        with self._lock:
            return sum(len(known.waiting) for known in self._threads.values())

    def case_events(self, case_id: str) -> Sequence[StoredEvent]:
        """Give the events of a case in order; raise ``MisuseError`` when it is unknown."""
        with self._lock:
            return self.casebook.events(case_id)

    def take_sendings(self, sender: str, *, now: str, until: str, count: int) -> Sequence[Sending]:
        """Claim sendings that are due, in order within each number."""
        at, ends = instant(now), instant(until)
        taken: list[Sending] = []
        with self._lock:
            heads = [k.queue() for k in self._threads.values()]
            ready = [q for q in heads if q and (q[0].due or 0) <= at]
            ready.sort(key=lambda q: q[0].sending.sending_id)
            while ready and not taken and count > 0:
                numbers = [self._threads[self._numbers.look_up(q[0].sending.number)] for q in ready]
                for known in numbers[:count]:
                    for went in due_of(known, at):
                        if len(taken) == count:
                            break
                        taken.append(_claimed(went, sender, ends))
                del ready[:count]
        return tuple(taken)

    def _every(self) -> Iterator[Went]:
        return (went for known in self._threads.values() for went in known.went)

    @contextmanager
    def _one(self, sending_id: int, state: SendingState | None = None) -> Iterator[Went | None]:
        with self._lock:
            fits = (w for w in self._every() if state is None or w.state == state)
            yield next((w for w in fits if w.sending.sending_id == sending_id), None)

    def mark_sent(self, sending_id: int, *, carrier_id: str, now: str) -> None:
        """Note that the carrier has taken a sending; one that was erased meanwhile is let go."""
        instant(now)
        with self._one(sending_id) as went:
            if went is not None:
                went.state, went.due, went.carrier_id = "sent", None, carrier_id
                went.sending = replace(went.sending, interrupted=False, why="")

    def mark_failed(self, sending_id: int, *, why: str, retry_at: str | None, now: str) -> None:
        """Note a failed try; without ``retry_at`` the sending is dead."""
        instant(now)
        again = None if retry_at is None else instant(retry_at)
        with self._one(sending_id, "sending") as went:
            if went is not None:
                went.state, went.due = "dead" if again is None else "ready", again
                went.sending = replace(went.sending, why=plain(why, 1000))

    def note_delivery(self, carrier_id: str, *, status: str, error: str, now: str) -> bool:
        """Keep a delivery report; False when no sending has this id."""
        instant(now)
        with self._lock:
            known = [w for w in self._every() if w.carrier_id == carrier_id and carrier_id]
            for went in known:
                if went.delivery not in FINAL_REPORTS or status in FINAL_REPORTS:
                    went.delivery, went.error = plain(status, 40), plain(error)
        return bool(known)

    def dead(self) -> Sequence[Sending]:
        """Give the sendings that were given up, the oldest first."""
        with self._lock:
            dead = (went.sending for went in self._every() if went.state == "dead")
            return tuple(sorted(dead, key=lambda sending: sending.sending_id))

    def revive(self, sending_id: int, *, now: str) -> None:
        """Put a dead sending back to ``ready``, with its tries counted from nothing."""
        due = instant(now)
        with self._one(sending_id, "dead") as went:
            if went is None:
                raise not_dead(sending_id)
            went.state, went.due = "ready", due
            went.sending = replace(went.sending, attempts=0)

    def threads(self, *, count: int = 100) -> Sequence[ThreadView]:
        """Give the threads, the latest first, without their lines."""
        with self._lock:
            order = sorted(
                self._threads.values(), key=lambda k: (-instant(k.last), k.thread.number_id)
            )
            return tuple(view(known) for known in order[:count])

    def thread(self, number_id: str) -> ThreadView:
        """Give one thread with its lines: what came in, each followed by its answers."""
        with self._lock:
            known = self._known(number_id)
            placed = [(c.arrival, 0, came_line(c)) for c in known.came]
            placed += [(w.arrival, 1, went_line(w)) for w in known.went]
            placed.sort(key=lambda item: item[:2])
            return replace(view(known), lines=tuple(line for _, _, line in placed))

    def _known(self, number_id: str) -> Number:
        if number_id not in self._threads:
            raise number_unknown(number_id)
        return self._threads[number_id]

    def take_over(self, number_id: str, *, person: str) -> None:
        """Let a person answer this number; a worker's answer in the making is dropped."""
        self._hold(number_id, plain(person))

    def hand_back(self, number_id: str) -> None:
        """Let the program answer again."""
        self._hold(number_id, "")

    def _hold(self, number_id: str, person: str) -> None:
        with self._lock:
            known = self._known(number_id)
            if known.thread.held_by != person:
                known.thread = replace(known.thread, held_by=person)
                known.unclaim()

    def say(self, number_id: str, *, person: str, bodies: Sequence[str], now: str) -> None:
        """Put messages of a person into the outbox; raises ``GivenError`` after an opt-out."""
        instant(now)
        with self._lock:
            known = self._known(number_id)
            if known.thread.opted_out:
                raise opted_out()
            for body in bodies:
                self._to_send(known, body, now, answers=None).person = plain(person)
            known.last = now

    def forget(self, number: str) -> int:
        """Erase a number, its messages and its cases; give how many cases."""
        number_id = self._numbers.look_up(number)
        with self._lock:
            return self._erase(number_id) if number_id in self._threads else 0

    def expire(self, *, before: str) -> int:
        """Erase numbers that were last heard of before a time; give how many."""
        limit = instant(before)
        with self._lock:
            old = [name for name, known in self._threads.items() if known.heard < limit]
            for number_id in old:
                self._erase(number_id)
        return len(old)

    def _erase(self, number_id: str) -> int:
        known = self._threads.pop(number_id)
        for came in known.came:
            del self._messages[came.message.message_id]
        shared = {case for other in self._threads.values() for case in other.thread.cases}
        own = set(known.thread.cases) - shared
        for case_id in own:
            self.casebook.erase(case_id)
        return len(own)


def _claimed(went: Went, sender: str, ends: int) -> Sending:
    """Claim a sending; give it with the tries before this one."""
    interrupted = went.sending.interrupted or went.state == "sending"
    given = replace(went.sending, interrupted=interrupted)
    went.sending = replace(given, attempts=given.attempts + 1)
    went.state, went.due, went.sender = "sending", ends, sender
    return given
