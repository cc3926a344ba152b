"""Kill -9 at random instants during a stream of signed texts, and what must hold afterwards."""

from __future__ import annotations

import itertools
import random
import threading
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Final

import httpx

from assistant.benchmarks.loopback_carrier import LoopbackCarrier
from assistant.benchmarks.served import KEY, ServedProcess
from assistant.benchmarks.texting_customer import replayed
from assistant.benchmarks.texting_play import repeated_keys, settle
from assistant.commands.workplace import open_diagnosis
from assistant.errors import MisuseError
from assistant.messaging import clock
from assistant.messaging.dialogue_cache import DialogueCache
from assistant.messaging.exchange import exchange
from assistant.messaging.numbers import Numbers
from assistant.messaging.records import IncomingText
from assistant.messaging.shop import Shop
from assistant.messaging.work_order import open_store

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.messaging.store_sql import SqlMessageStore

__all__ = ["SCRIPT", "KillReport", "fiction_numbers", "kill_during_stream"]

_AREAS: Final = (
    202, 206, 212, 213, 214, 215, 303, 305, 312, 313, 404, 412, 415, 503, 504, 512, 602, 612, 614,
    615, 617, 619, 702, 704, 713, 716, 718, 720,
)  # fmt: skip
SCRIPT: Final = (
    "my amp wont turn on", "key on", "1", "4", "go", "1", "12.5", "12.4", "lit", "0.1", "12.3",
    "skip", "why", "1", "12.6", "skip", "12.2", "undo", "12.2", "0.2",
)  # fmt: skip
"""What each customer of the stream writes, whatever is asked: readings, choices, commands."""
_MORE: Final = ("12.4", "why", "0.2", "skip", "12.3", "undo", "what was the question")
"""What is written after that, again and again, until every kill was carried out."""


def fiction_numbers(count: int) -> list[str]:
    """Give numbers of the range 555-0100 to 555-0199, which is kept for fiction."""
    every = [f"+1{area}55501{line:02d}" for line in range(100) for area in _AREAS]
    if count > len(every):
        raise MisuseError(f"There are {len(every)} such numbers.", next_step="Ask for fewer.")
    return every[:count]


@dataclass(slots=True)
class KillReport:
    """What was done, and what did not hold; ``broken`` is empty when all is well."""

    kills: int = 0
    service_kills: int = 0
    texts: int = 0
    posts: int = 0
    replies: int = 0
    seconds: float = 0.0
    longest_wait: float = 0.0
    broken: list[str] = field(default_factory=list)


@dataclass(slots=True)
class _Stream:
    """The stream in hand."""

    service: ServedProcess
    carrier: LoopbackCarrier
    chance: random.Random
    report: KillReport
    sent: dict[str, list[tuple[str, str]]] = field(default_factory=dict)
    killed: threading.Event = field(default_factory=threading.Event)

    def run(self, script: Sequence[str], *, kills: int, spread: float, seed: int) -> None:
        """Let every customer write the script while processes are killed."""
        killer = threading.Thread(target=self.kill, args=(kills, spread))
        threads = [
            threading.Thread(
                target=self.customer,
                args=(number, script, random.Random(seed + index)),  # noqa: S311
            )
            for index, number in enumerate(self.sent)
        ]
        for thread in (killer, *threads):
            thread.start()
        for thread in threads:
            thread.join()
        killer.join()

    def customer(self, number: str, texts: Sequence[str], chance: random.Random) -> None:
        """Write one customer's texts, and note when one of them cannot be sent."""
        try:
            self._write(number, texts, chance)
        except MisuseError as error:
            self.report.broken.append(error.message)

    def _write(self, number: str, texts: Sequence[str], chance: random.Random) -> None:
        """Write texts, some of them twice, until each is taken."""
        more = itertools.takewhile(lambda _: not self.killed.is_set(), itertools.cycle(_MORE))
        with httpx.Client(base_url=self.service.url, timeout=20.0) as client:
            for text in itertools.chain(texts, more):
                began = time.monotonic()
                times = 2 if chance.random() < 0.4 else 1
                message_id = self.carrier.text(client, number, text, times=times)
                self.sent[number].append((message_id, text))
                waited = time.monotonic() - began
                self.report.longest_wait = max(self.report.longest_wait, waited)
                time.sleep(chance.uniform(0.0, 0.3))

    def kill(self, kills: int, spread: float) -> None:
        """Kill workers and the whole service at random instants."""
        while self.report.kills < kills:
            time.sleep(self.chance.uniform(0.05, spread))
            if self.chance.random() < 0.4:
                workers = self.service.worker_pids()
                self.service.kill()
                _wait_until_gone(workers, self.report)
                self.service.start()
                self.report.service_kills += 1
                self.report.kills += 1
            elif self.service.kill_worker(self.chance.randrange(8)):
                self.report.kills += 1
        self.killed.set()


def _wait_until_gone(pids: Sequence[int], report: KillReport) -> None:
    """Note workers that outlive their service."""
    end = time.monotonic() + 10.0
    while left := [pid for pid in pids if _alive(pid)]:
        if time.monotonic() > end:
            report.broken.append(f"{len(left)} workers outlive the service")
            return
        time.sleep(0.02)


def _alive(pid: int) -> bool:
    try:
        state = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()[0]
    except OSError:
        return False
    return state != "Z"


def kill_during_stream(
    home: Path,
    *,
    kills: int,
    customers: int,
    seed: int,
    workers: int = 2,
    worlds: int = 1500,
    database: str | None = None,
    spread: float = 2.0,
    texts: int = len(SCRIPT),
) -> KillReport:
    """Run a stream of texts until there were so many kills, and say what does not hold."""
    chance = random.Random(seed)  # noqa: S311 - instants of kills
    report = KillReport()
    numbers = fiction_numbers(customers)
    url = database or f"sqlite:///{(home / 'casebook.sqlite').as_posix()}"
    given = {"database": url, "worlds": worlds, "webhook_patience_seconds": 3.0}
    with LoopbackCarrier() as carrier:
        service = ServedProcess(home, carrier, workers=workers, **given)
        stream = _Stream(service, carrier, chance, report, {number: [] for number in numbers})
        with service:
            began = time.monotonic()
            stream.run(SCRIPT[:texts], kills=kills, spread=spread, seed=seed)
            store = open_store(url, KEY.encode())
            for number in numbers:
                settle(store, Numbers(KEY.encode()).look_up(number))
            report.seconds = time.monotonic() - began
            report.texts, report.posts = sum(map(len, stream.sent.values())), carrier.posts
            for number in numbers:
                report.replies += len(carrier.bodies(number))
                _check(stream, store, number, worlds=worlds)
    return report


def _check(stream: _Stream, store: SqlMessageStore, number: str, *, worlds: int) -> None:
    """Note what does not hold of one customer's texts, case and replies."""
    broken, carrier = stream.report.broken, stream.carrier
    number_id = Numbers(KEY.encode()).look_up(number)
    view = store.thread(number_id)
    came = [line.text for line in view.lines if line.by == "customer"]
    sent = [text for _, text in stream.sent[number]]
    if came != sent:
        broken.append(f"of {len(sent)} texts {len(came)} were kept, or in another order")
    said = Counter(line.text for line in view.lines if line.by == "program")
    if said != Counter(carrier.bodies(number)):
        broken.append("the telephone does not hold each reply once")
    if len(view.thread.cases) != 1:
        broken.append(f"a customer with one car has {len(view.thread.cases)} cases")
        return
    (case_id,) = view.thread.cases
    if repeated_keys(store, case_id):
        broken.append("an event was counted twice")
    keys = {entry.key.partition("/")[0] for entry in store.case_events(case_id) if entry.key}
    if not keys <= {message_id for message_id, _ in stream.sent[number]}:
        broken.append("an event belongs to no text")
    if not _served_as_replayed(store, stream, number, number_id, worlds):
        broken.append("the service answers otherwise than the replayed case")


def _served_as_replayed(
    store: SqlMessageStore, stream: _Stream, number: str, number_id: str, worlds: int
) -> bool:
    """Ask the service what it asks for, and ask a case that is built from the events alone."""
    thread = store.thread(number_id).thread
    if thread.case_id is None:
        return True
    replayed(store, thread.case_id)
    question = "what was the question"
    message = IncomingText(message_id="here", number=number, text=question, received=clock.now())
    mine = exchange(
        thread,
        message,
        dialogues=DialogueCache(case_events=store.case_events, opener=open_diagnosis, limit=1),
        shop=Shop(name="the workshop", now=clock.now(), worlds=worlds),
        new_case_id="none",
    )
    before = len(stream.carrier.bodies(number))
    with httpx.Client(base_url=stream.service.url, timeout=20.0) as client:
        stream.carrier.text(client, number, question)
    settle(store, number_id)
    return tuple(stream.carrier.bodies(number)[before:]) == mine.replies != ()
