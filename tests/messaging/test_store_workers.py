"""Several workers and senders on one database: each with connections of its own."""

from __future__ import annotations

import sys
import threading
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.casebook.sql import SqlCasebook
from assistant.messaging.numbers import Numbers
from assistant.messaging.store_sql import SqlMessageStore

sys.path.insert(0, str(Path(__file__).parent))

from store_talk import answer, at, converse, event, text

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

NUMBERS = [f"+1212555010{digit}" for digit in range(6)]
WORKERS = 4


@contextmanager
def several(url: str) -> Iterator[list[SqlMessageStore]]:
    stores = [SqlMessageStore(SqlCasebook(url), Numbers(bytes(32))) for _ in range(WORKERS)]
    yield stores
    for store in stores:
        store.casebook.dispose()


def at_once(stores: list[SqlMessageStore], do: Callable[[int, SqlMessageStore], None]) -> None:
    """Run ``do`` with each store in a thread of its own; all begin together."""
    start = threading.Barrier(len(stores))

    def run(index: int) -> None:
        start.wait()
        do(index, stores[index])

    with ThreadPoolExecutor(len(stores)) as pool:
        for done in [pool.submit(run, index) for index in range(len(stores))]:
            done.result()


def test_no_number_is_claimed_by_two(database_url: str) -> None:
    busy: set[str] = set()
    answered: list[str] = []
    guard = threading.Lock()

    def work(index: int, store: SqlMessageStore) -> None:
        misses = 0
        while misses < 30 and len(answered) < 60:
            claimed = store.claim(f"w{index}", now=at(1), until=at(60))
            if claimed is None:
                misses += 1
                threading.Event().wait(0.01)
                continue
            number = claimed.message.number
            with guard:
                assert number not in busy
                busy.add(number)
            kept = store.case_events(number) if store.casebook.has_case(number) else ()
            told = event(number, len(kept), key=claimed.message.message_id)
            with guard:
                busy.remove(number)
                answered.append(claimed.message.message_id)
            answer(store, claimed, "ok", events=[told])

    with several(database_url) as stores:
        for message in range(60):
            stores[0].accept(text(f"m{message}", NUMBERS[message % len(NUMBERS)]))
        at_once(stores, work)
        assert sorted(answered) == sorted(f"m{message}" for message in range(60))
        for position, number in enumerate(NUMBERS):
            keys = [entry.key for entry in stores[0].case_events(number)]
            assert keys == [f"m{m}" for m in range(position, 60, len(NUMBERS))]


def test_messages_that_come_in_while_others_are_answered_keep_their_order(
    database_url: str,
) -> None:
    """Two accept, two answer; each number's messages come from one of those who accept."""
    done = threading.Event()

    def run(index: int, store: SqlMessageStore) -> None:
        if index < 2:
            for message in range(30):
                store.accept(text(f"m{index}-{message}", NUMBERS[2 * (message % 3) + index]))
            done.set()
            return
        while not (done.is_set() and store.waiting() == 0):
            claimed = store.claim(f"w{index}", now=at(1), until=at(60))
            if claimed is not None:
                number = claimed.message.number
                kept = store.case_events(number) if store.casebook.has_case(number) else ()
                told = event(number, len(kept), key=claimed.message.message_id)
                answer(store, claimed, events=[told])

    with several(database_url) as stores:
        at_once(stores, run)
        while stores[0].waiting():  # one who accepts may have been slower than all others
            run(2, stores[2])
        for position, number in enumerate(NUMBERS):
            keys = [entry.key for entry in stores[0].case_events(number)]
            half, third = position % 2, position // 2
            assert keys == [f"m{half}-{m}" for m in range(third, 30, 3)]


def test_one_of_many_copies_is_fresh(database_url: str) -> None:
    fresh: Counter[str] = Counter()

    def run(_: int, store: SqlMessageStore) -> None:
        for message in range(25):
            if store.accept(text(f"m{message}", NUMBERS[message % 3])).fresh:
                fresh[f"m{message}"] += 1

    with several(database_url) as stores:
        at_once(stores, run)
        assert fresh == Counter(f"m{message}" for message in range(25))
        assert stores[0].waiting() == 25


def test_a_body_goes_out_by_one_way_only(database_url: str) -> None:
    """Webhooks and deliveries reach for the same replies."""
    gone: list[str] = []

    def run(index: int, store: SqlMessageStore) -> None:
        if index % 2:
            for message in range(40):
                gone.extend(store.answer_inline(f"m{message}").inline)
            return
        for _ in range(40):
            for sending in store.take_sendings(f"d{index}", now=at(3), until=at(60), count=3):
                gone.append(sending.body)
                store.mark_sent(sending.sending_id, carrier_id="c", now=at(4))

    with several(database_url) as stores:
        for message in range(40):
            number = NUMBERS[message % len(NUMBERS)]
            converse(stores[0], text(f"m{message}", number), f"{message} a", f"{message} b")
        # Each webhook answers its own messages: a repeated one would be given the same again.
        at_once(stores[:3], run)
        run(0, stores[0])
        assert sorted(gone) == sorted(f"{message} {part}" for message in range(40) for part in "ab")


def test_senders_share_the_outbox_in_order(database_url: str) -> None:
    sent: dict[str, list[str]] = {number: [] for number in NUMBERS}

    def run(index: int, store: SqlMessageStore) -> None:
        misses = 0
        while misses < 20:
            taken = store.take_sendings(f"d{index}", now=at(3), until=at(60), count=2)
            misses = 0 if taken else misses + 1
            for sending in taken:
                sent[sending.number].append(sending.body)
                store.mark_sent(sending.sending_id, carrier_id="c", now=at(4))

    with several(database_url) as stores:
        for message in range(48):
            number = NUMBERS[message % len(NUMBERS)]
            converse(stores[0], text(f"m{message}", number), f"{message:02d}")
        at_once(stores, run)
        for position, number in enumerate(NUMBERS):
            assert sent[number] == [f"{m:02d}" for m in range(position, 48, len(NUMBERS))]


def test_forgetting_disturbs_no_other_number(database_url: str) -> None:
    def run(index: int, store: SqlMessageStore) -> None:
        for turn in range(6):
            number = NUMBERS[index]
            store.accept(text(f"m{index}-{turn}", number))
            claimed = store.claim(f"w{index}", now=at(1), until=at(60))
            if claimed is not None and claimed.message.number == number:
                answer(store, claimed, "ok", events=[event(f"{number} {turn}", 0)])
            elif claimed is not None:
                store.release(f"w{index}")
            if index == 0:
                store.forget(number)

    with several(database_url) as stores:
        at_once(stores, run)
        stores[0].forget(NUMBERS[0])
        assert {view.masked for view in stores[0].threads()} == {f"***0{n}" for n in (1, 2, 3)}
