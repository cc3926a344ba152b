"""Whatever is done to it, the store in SQLite answers like the simple one in memory."""

from __future__ import annotations

import shutil
import sys
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from assistant.casebook.sql import SqlCasebook
from assistant.errors import ProbetellError
from assistant.messaging.numbers import Numbers
from assistant.messaging.records import IncomingText, Outcome, Work
from assistant.messaging.store_memory import MemoryMessageStore
from assistant.messaging.store_sql import SqlMessageStore

sys.path.insert(0, str(Path(__file__).parent))

from store_talk import ANNA, BERT, CARA, at, event

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.messaging.records import MessageStore

NUMBERS = (ANNA, BERT, CARA)
KEY = Numbers(bytes(32))
IDS = tuple(KEY.look_up(number) for number in NUMBERS)
number = st.sampled_from(NUMBERS)
number_id = st.sampled_from((*IDS, "nobody"))
worker = st.sampled_from(("w1", "w2"))
case = st.sampled_from(("c1", "c2"))
few = st.integers(0, 3)


class Stores(RuleBasedStateMachine):
    """The same calls to both stores; a call may fail, but then by the same error in both."""

    def __init__(self) -> None:
        super().__init__()
        self.directory = tempfile.TemporaryDirectory(prefix="probetell-stores-")
        casebook = SqlCasebook(f"sqlite:///{self.directory.name}/shop.sqlite")
        self.sql = SqlMessageStore(casebook, KEY)
        self.memory = MemoryMessageStore(KEY)
        self.time = 0
        self.message = 0
        self.works: list[Work] = []
        self.carried: list[str] = []

    def teardown(self) -> None:
        self.sql.casebook.dispose()
        shutil.rmtree(self.directory.name, ignore_errors=True)

    def both(self, do: Callable[[MessageStore], Any]) -> Any:
        results: list[Any] = []
        for store in (self.sql, self.memory):
            try:
                results.append(do(store))
            except ProbetellError as error:
                results.append((type(error), str(error)))
        assert results[0] == results[1]
        return results[0]

    @property
    def now(self) -> str:
        return at(self.time)

    def after(self, seconds: int) -> str:
        return at(self.time + seconds)

    @rule(seconds=st.integers(1, 12))
    def wait(self, seconds: int) -> None:
        self.time += seconds

    @rule(number=number, back=few, again=st.booleans(), words=st.text(max_size=5))
    def accept(self, number: str, back: int, again: bool, words: str) -> None:
        self.message += not again
        message = IncomingText(
            message_id=f"m{max(1, self.message - (back if again else 0))}",
            number=number,
            text=words,
            received=self.now,
            media=back,
        )
        self.both(lambda store: store.accept(message))

    @rule(worker=worker, lease=st.integers(1, 20))
    def claim(self, worker: str, lease: int) -> None:
        work = self.both(lambda store: store.claim(worker, now=self.now, until=self.after(lease)))
        if isinstance(work, Work):
            self.works.append(work)

    @precondition(lambda self: self.works)
    @rule(
        which=st.integers(0, 50),
        replies=st.lists(st.text(min_size=1, max_size=4), max_size=2),
        opted=st.sampled_from((None, None, True, False)),
        case=case,
        tell=st.integers(0, 3),
        ahead=st.sampled_from((0, 0, 0, 1)),
        closed=st.booleans(),
        due=st.sampled_from((None, 0, 5)),
    )
    def commit(
        self,
        *,
        which: int,
        replies: list[str],
        opted: bool | None,
        case: str,
        tell: int,
        ahead: int,
        closed: bool,
        due: int | None,
    ) -> None:
        work = self.works[-1 - which % min(3, len(self.works))]
        has = self.memory.casebook.has_case(case)
        kept = len(self.memory.case_events(case)) if has else 0
        told = tuple(event(case, kept + ahead + n) for n in range(tell))
        thread = work.thread
        if told:
            cases = tuple(dict.fromkeys((*thread.cases, case)))
            thread = replace(thread, case_id=case, cases=cases, memory=f"{case} {tell}")
        if opted is not None:
            thread = replace(thread, opted_out=opted)
        outcome = Outcome(
            thread=thread, events=told, replies=tuple(replies), closed=(case,) if closed else ()
        )
        until = None if due is None else self.after(due)
        self.both(lambda store: store.commit(work, outcome, now=self.now, due=until))

    @rule(worker=worker)
    def release(self, worker: str) -> None:
        self.both(lambda store: store.release(worker))

    @rule(back=few)
    def answer_inline(self, back: int) -> None:
        self.both(lambda store: store.answer_inline(f"m{self.message - back}"))

    @rule(worker=worker, lease=st.integers(1, 20), count=few)
    def take(self, worker: str, lease: int, count: int) -> None:
        until = self.after(lease)
        self.both(lambda store: store.take_sendings(worker, now=self.now, until=until, count=count))

    @rule(sending=st.integers(1, 12), report=st.booleans())
    def mark_sent(self, sending: int, report: bool) -> None:
        self.both(lambda store: store.mark_sent(sending, carrier_id=f"s{sending}", now=self.now))
        if report:
            self.note(sending, "delivered", "")

    @rule(sending=st.integers(1, 12), pause=st.sampled_from((None, 0, 4)))
    def mark_failed(self, sending: int, pause: int | None) -> None:
        again = None if pause is None else self.after(pause)
        self.both(
            lambda store: store.mark_failed(sending, why="busy", retry_at=again, now=self.now)
        )

    @rule(
        sending=st.integers(1, 12),
        status=st.sampled_from(("queued", "sent", "delivered", "undelivered")),
        error=st.sampled_from(("", "30003")),
    )
    def note(self, sending: int, status: str, error: str) -> None:
        self.both(
            lambda store: store.note_delivery(
                f"s{sending}", status=status, error=error, now=self.now
            )
        )

    @rule(sending=st.integers(1, 12))
    def revive(self, sending: int) -> None:
        self.both(lambda store: store.revive(sending, now=self.now))

    @rule(number_id=number_id, person=st.sampled_from(("Jo", "Kim", "")))
    def hold(self, number_id: str, person: str) -> None:
        if person:
            self.both(lambda store: store.take_over(number_id, person=person))
        else:
            self.both(lambda store: store.hand_back(number_id))

    @rule(number_id=number_id, bodies=st.lists(st.text(min_size=1, max_size=4), max_size=2))
    def say(self, number_id: str, bodies: list[str]) -> None:
        self.both(lambda store: store.say(number_id, person="Jo", bodies=bodies, now=self.now))

    @rule(number=number)
    def forget(self, number: str) -> None:
        self.both(lambda store: store.forget(number))

    @rule(age=st.integers(10, 40))
    def expire(self, age: int) -> None:
        before = at(max(0, self.time - age))
        self.both(lambda store: store.expire(before=before))

    @invariant()
    def both_show_the_same(self) -> None:
        self.both(lambda store: store.waiting())
        self.both(lambda store: store.dead())
        self.both(lambda store: store.threads(count=2))
        for number_id in IDS:
            self.both(lambda store, which=number_id: store.thread(which))
        for case_id in ("c1", "c2"):
            self.both(lambda store, which=case_id: store.case_events(which))
        assert self.sql.casebook.cases() == self.memory.casebook.cases()


TestStores = Stores.TestCase
TestStores.settings = settings(max_examples=30, stateful_step_count=40, deadline=None)
