"""A whole case by text over HTTP, the worker killed (-9) on the way, every message sent twice.

The car is of ``assistant.practice``, which shares no code with the engine; texts are signed by
the carrier's own library.
"""

from __future__ import annotations

import threading
import time
from collections import Counter
from typing import TYPE_CHECKING

import httpx
import pytest

from assistant.benchmarks.loopback_carrier import LoopbackCarrier
from assistant.benchmarks.served import KEY, ServedProcess
from assistant.benchmarks.texting_customer import TextingCustomer, replayed
from assistant.benchmarks.texting_play import play_by_text
from assistant.conversation.events import Opened
from assistant.messaging.numbers import Numbers
from assistant.messaging.work_order import open_store
from assistant.practice.scenario import draw_case

if TYPE_CHECKING:
    from pathlib import Path

NUMBER = "+12125550142"


@pytest.mark.slow
def test_a_whole_case_by_text_with_a_worker_killed_twice(tmp_path: Path) -> None:
    number_id = Numbers(KEY.encode()).look_up(NUMBER)
    case = draw_case(5, "van_mono", ["remote.missing"], forget=0.0)
    killed: list[float] = []
    with LoopbackCarrier() as carrier:
        service = ServedProcess(tmp_path / "home", carrier, worlds=1500)
        (tmp_path / "home").mkdir()
        store = open_store(f"sqlite:///{tmp_path / 'home' / 'casebook.sqlite'}", KEY.encode())

        def trouble(count: int) -> None:
            """Kill the worker just when it is at the text that comes next."""
            if count in {4, 6}:

                def kill() -> None:
                    time.sleep(0.03)
                    if service.kill_worker():
                        killed.append(time.monotonic())

                threading.Thread(target=kill).start()

        with service, httpx.Client(base_url=service.url, timeout=30.0) as client:
            customer = TextingCustomer(case, store, number_id)
            played = play_by_text(
                customer,
                carrier,
                client,
                store=store,
                number=NUMBER,
                number_id=number_id,
                times=2,
                trouble=trouble,
            )
        assert played.ended
        assert len(killed) == 2

        # The verdict is right, and the car works after the repair that it named.
        assert customer.right
        assert case.car.works()

        # Each reading is counted once: no event twice, in the order of the texts, each reading
        # no more often than the customer measured it.
        (view,) = store.threads()
        (case_id,) = view.thread.cases
        events = store.case_events(case_id)
        assert isinstance(events[0].event, Opened)
        keys = [entry.key for entry in events if entry.key is not None]
        assert len(set(keys)) == len(keys)
        sent = [message_id for message_id, _ in played.texts]
        order = [sent.index(key.partition("/")[0]) for key in keys]
        assert order == sorted(order)
        told = [step for step in replayed(store, case_id).diagnosis.steps if step.check is not None]
        counted = Counter(step.check.id for step in told if step.check is not None)
        assert counted
        assert counted <= Counter(check for check, _ in customer.readings)

        # Each reply came once: what is on the telephone is what the store says was said.
        said = [line.text for line in store.thread(number_id).lines if line.by == "program"]
        assert sorted(carrier.bodies(NUMBER)) == sorted(said)
        assert carrier.posts >= 2 * len(sent)

        # The log tells of the kills and holds neither number nor text.
        log = service.log_path.read_text(encoding="utf-8")
        assert log.count("ended with code -9") == 2
        assert "5550142" not in log
        assert customer.first() not in log
