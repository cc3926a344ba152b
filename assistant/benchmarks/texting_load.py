"""Many open cases at once: how fast the webhook takes texts, and how long a reply takes.

A few cases are played through the engine; the others are copies of them under numbers and case
ids of their own, so that each is an open case like any other. Then texts come at a steady rate,
each from another customer, whether or not the earlier ones were answered.
"""

from __future__ import annotations

import asyncio
import random
import time
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Final

import httpx

from assistant.benchmarks.loopback_carrier import LoopbackCarrier
from assistant.benchmarks.served import KEY, ServedProcess
from assistant.benchmarks.texting_kills import SCRIPT, fiction_numbers
from assistant.commands.workplace import open_diagnosis
from assistant.messaging import clock
from assistant.messaging.dialogue_cache import DialogueCache
from assistant.messaging.numbers import Numbers
from assistant.messaging.records import CaseEvent, IncomingText, Outcome
from assistant.messaging.shop import Shop
from assistant.messaging.store_memory import MemoryMessageStore
from assistant.messaging.work_order import open_store
from assistant.messaging.worker import Worker

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from assistant.casebook.records import StoredEvent
    from assistant.messaging.records import MessageStore, Thread

__all__ = ["Kind", "Load", "LoadReport", "load_service", "play_kinds"]

_KINDS: Final = 12
_WARMING: Final = 4.0
_LONG_AGO: Final = -3600.0
_READINGS: Final = ("12.4", "0.2", "12.6", "skip", "3.8", "why", "lit", "0.1")


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """What is asked for: ``cases`` open ones, ``rate`` texts a second for ``seconds``.

    ``drain`` is how long the last replies are waited for, in seconds.
    """

    cases: int
    rate: float
    seconds: float
    drain: float
    workers: int
    worlds: int
    live_cases: int
    patience: float
    seed: int


@dataclass(slots=True)
class LoadReport:
    """Times in seconds, memory in MB. ``webhook`` is until the answer of each post is there.

    ``memory`` is the resident memory of all processes, ``memory_shared_once`` the same with pages
    that several of them use counted once.
    """

    sent: int = 0
    failed: int = 0
    inline: int = 0
    webhook: list[float] = field(default_factory=list)
    replies: list[float] = field(default_factory=list)
    answered: int = 0
    spent: float = 0.0
    memory: float = 0.0
    memory_service: float = 0.0
    memory_shared_once: float = 0.0

    def webhook_ms(self, share: float) -> float:
        """Give a quantile of the webhook's times, in milliseconds."""
        return 1e3 * _quantile(self.webhook, share)

    def reply_s(self, share: float) -> float:
        """Give a quantile of the times until a reply, in seconds, of those that came."""
        return _quantile(self.replies, share)


def _quantile(values: Sequence[float], share: float) -> float:
    if not values:
        return float("nan")
    return sorted(values)[min(int(share * len(values)), len(values) - 1)]


@dataclass(frozen=True, slots=True)
class Kind:
    """One case that was played: its thread and its events."""

    thread: Thread
    events: tuple[StoredEvent, ...]


def play_kinds(seed: int, worlds: int, count: int = _KINDS) -> list[Kind]:
    """Play some cases up to different depths, each until it waits for a further answer."""
    store = MemoryMessageStore(Numbers(KEY.encode()))
    worker = Worker(
        name="here",
        store=store,
        cache=DialogueCache(case_events=store.case_events, opener=open_diagnosis, limit=1),
        shop=Shop(name="the workshop", now="", worlds=worlds),
        patience=0.0,
    )
    chance = random.Random(seed)  # noqa: S311 - depths of invented cases
    for number in fiction_numbers(count):
        for text in SCRIPT[: chance.randint(8, 13)]:
            message_id = f"K{chance.getrandbits(64):016x}"
            store.accept(_incoming(message_id, number, text))
            worker.step()
    threads = [view.thread for view in store.threads()]
    return [
        Kind(thread, tuple(store.case_events(thread.case_id)))
        for thread in threads
        if thread.case_id is not None
    ]


def _incoming(message_id: str, number: str, text: str) -> IncomingText:
    at = clock.shifted(clock.now(), _LONG_AGO)
    return IncomingText(message_id=message_id, number=number, text=text, received=at)


def _fill(store: MessageStore, numbers: Sequence[str], kinds: Sequence[Kind]) -> None:
    """Give each number a copy of a case, through the store's own ways."""
    for index, number in enumerate(numbers):
        kind = kinds[index % len(kinds)]
        old = str(kind.thread.case_id)
        new = f"copy-{index:05d}"
        store.accept(_incoming(f"F{index:08d}", number, "(copied)"))
        work = store.claim("filler", now=clock.now(), until=clock.shifted(clock.now(), 600))
        if work is None:
            continue
        thread = replace(
            work.thread,
            case_id=new,
            cases=(new,),
            memory=kind.thread.memory.replace(old, new),
        )
        events = tuple(CaseEvent(case_id=new, entry=entry) for entry in kind.events)
        store.commit(work, Outcome(thread=thread, events=events), now=clock.now())


async def _fire(
    carrier: LoopbackCarrier, service: ServedProcess, load: Load, numbers: Sequence[str]
) -> tuple[LoadReport, dict[str, float]]:
    """Post texts at the rate, each at its own moment; give the report and when each was sent."""
    report, began_at = LoadReport(), {}
    chance = random.Random(load.seed)  # noqa: S311 - whose text comes next
    limits = httpx.Limits(max_connections=400, max_keepalive_connections=400)
    timeout = httpx.Timeout(30.0)

    async def post(client: httpx.AsyncClient, number: str, text: str) -> None:
        message_id = carrier.new_id()
        form, signature = carrier.signed(number, text, message_id)
        began = time.monotonic()
        began_at[number] = began
        try:
            answer = await client.post("/sms", data=form, headers={"X-Twilio-Signature": signature})
        except httpx.TransportError:
            report.failed += 1
            return
        if answer.status_code != 200:
            report.failed += 1
            return
        report.webhook.append(time.monotonic() - began)
        if "<Message>" in answer.text:
            report.inline += 1
        carrier.take_answer(number, message_id, answer.text)

    async def watch() -> None:
        while True:
            used = await asyncio.to_thread(service.memory_mb)
            report.memory = max(report.memory, used["service"] + used["workers"])
            report.memory_shared_once = max(report.memory_shared_once, used["shared_once"])
            report.memory_service = max(report.memory_service, used["service"])
            await asyncio.sleep(1.0)

    async with httpx.AsyncClient(base_url=service.url, limits=limits, timeout=timeout) as client:
        watching = asyncio.create_task(watch())
        tasks = []
        start = time.monotonic()
        for index in range(int(load.rate * load.seconds)):
            await asyncio.sleep(max(0.0, start + index / load.rate - time.monotonic()))
            number = numbers[index % len(numbers)]
            tasks.append(asyncio.create_task(post(client, number, chance.choice(_READINGS))))
        await asyncio.gather(*tasks)
        report.sent = len(tasks)
        for _ in range(int(2 * load.drain)):
            if all(carrier.got[number] for number in began_at):
                break
            await asyncio.sleep(0.5)
        report.spent = time.monotonic() - start
        watching.cancel()
    return report, began_at


def load_service(
    home: Path, load: Load, kinds: Sequence[Kind], *, database: str | None = None
) -> LoadReport:
    """Fill a database with copies of ``kinds``, serve it, post texts at the rate, and report."""
    home.mkdir(parents=True, exist_ok=True)
    url = database or f"sqlite:///{(home / 'casebook.sqlite').as_posix()}"
    numbers = fiction_numbers(load.cases)
    store = open_store(url, KEY.encode())
    _fill(store, numbers, kinds)
    random.Random(load.seed).shuffle(numbers)  # noqa: S311 - whose text comes when
    given = {
        "database": url,
        "worlds": load.worlds,
        "live_cases": load.live_cases,
        "webhook_patience_seconds": load.patience,
    }
    with LoopbackCarrier() as carrier:
        service = ServedProcess(home, carrier, workers=load.workers, **given)
        with service:
            time.sleep(_WARMING)  # until the workers have loaded the engine
            report, began_at = asyncio.run(_fire(carrier, service, load, numbers))
        for number, began in began_at.items():
            if got := carrier.got[number]:
                report.replies.append(got[0].at - began)
        report.answered = len(report.replies)
    return report
