"""The supervisor: dead workers are replaced, their claims freed, and poison ends no service."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assistant.messaging.roll import WorkerRoll
from assistant.messaging.supervisor import Supervisor
from assistant.messaging.work_order import WorkOrder

if TYPE_CHECKING:
    from collections.abc import Callable

    import pytest

DYING = str(Path(__file__).with_name("dying_worker.py"))
ORDER = WorkOrder(
    worker="here.1",
    database_url="sqlite://",
    number_key_hex="00",
    shop_name="Harbour Street Audio",
    shop_hours="",
    shop_phone="",
    worlds=1500,
    seed=None,
    patience=1.0,
    lease=60.0,
    live_cases=2,
)


class Watched:
    """A supervisor over a toy worker, with what it was told."""

    def __init__(self, tmp_path: Path, *arguments: str, lease: float = 60.0) -> None:
        self.released: list[str] = []
        self.times: list[float] = []
        self.answered: list[tuple[str, str]] = []
        self.roll = WorkerRoll(tmp_path / "workers.json")
        self.supervisor = Supervisor(
            ORDER.model_copy(update={"lease": lease}),
            count=1,
            release=self.release,
            answered=lambda message_id, number_id: self.answered.append((message_id, number_id)),
            took=self.times.append,
            summed=lambda _: None,
            roll=self.roll,
            program=(DYING, *arguments),
        )

    async def release(self, name: str) -> int:
        self.released.append(name)
        return 1

    async def until(self, holds: Callable[[], Any], *, wake: bool) -> None:
        async with asyncio.timeout(40):
            while not holds():
                if wake and self.supervisor.pids:
                    self.supervisor.wake()
                await asyncio.sleep(0.05)


def test_a_message_that_ends_workers_again_and_again_gets_an_apology(tmp_path: Path) -> None:
    watched = Watched(tmp_path)

    async def run() -> None:
        watched.supervisor.start()
        await watched.until(lambda: watched.answered, wake=True)
        await watched.supervisor.stop()

    asyncio.run(run())
    assert watched.answered[0] == ("m1", "n1")
    assert len(watched.times) == len(watched.answered)
    assert len(watched.released) >= 4
    assert len(set(watched.released)) == len(watched.released)
    assert watched.roll.read() == []


def test_a_worker_that_is_stuck_is_stopped(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("assistant.messaging.supervisor._WATCH", 0.1)
    watched = Watched(tmp_path, "sleep", lease=0.5)

    async def run() -> None:
        watched.supervisor.start()
        await asyncio.wait_for(watched.supervisor.ready.wait(), 30)
        watched.supervisor.wake()
        await watched.until(lambda: watched.released, wake=False)
        await watched.supervisor.stop()

    asyncio.run(run())
    assert watched.released


def test_what_an_earlier_service_left_is_freed(tmp_path: Path) -> None:
    roll = WorkerRoll(tmp_path / "workers.json")
    roll.add("dead.1")
    roll.add("dead.2")
    watched = Watched(tmp_path)

    async def run() -> None:
        watched.supervisor.start()
        await watched.until(lambda: len(watched.released) >= 2, wake=False)
        await watched.supervisor.stop()

    asyncio.run(run())
    assert {"dead.1", "dead.2"} <= set(watched.released)
    assert watched.roll.read() == []


def test_a_roll_that_cannot_be_read_is_empty(tmp_path: Path) -> None:
    path = tmp_path / "workers.json"
    path.write_text("{", encoding="utf-8")
    assert WorkerRoll(path).read() == []
    nowhere = WorkerRoll(tmp_path / "none" / "workers.json")
    nowhere.add("w")
    assert nowhere.read() == []
