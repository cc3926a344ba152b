"""Keeps worker processes running: starts them, hears of their answers, replaces the dead.

A message that has brought several workers down is named to the others as poison, so that one of
them answers it with an apology. A worker that stays at one message longer than its claim holds is
stopped like a dead one.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import logging
import secrets
import sys
import time
from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from assistant.messaging.mishap import place_of
from assistant.messaging.summary import summary_from_json
from assistant.messaging.work_order import line

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable, Sequence

    from assistant.messaging.roll import WorkerRoll
    from assistant.messaging.summary import Summary
    from assistant.messaging.work_order import WorkOrder

__all__ = ["Supervisor"]

_LOG: Final = logging.getLogger("probetell.supervisor")
_DEATHS: Final = 4
"""So many workers may die at one message before it counts as poison."""
_SHORT_LIFE: Final = 5.0
_LONGEST_PAUSE: Final = 10.0
_FAREWELL: Final = 8.0
_WATCH: Final = 1.0


@dataclass(slots=True)
class _Hand:
    """One worker process: the message it is at, and since when (``time.monotonic``)."""

    name: str
    process: asyncio.subprocess.Process
    message_id: str = ""
    since: float = 0.0
    born: float = field(default_factory=time.monotonic)


class Supervisor:
    """Runs ``count`` workers in the service's event loop.

    ``order`` is what each is told; its ``worker`` is the stem of their names. ``release`` frees
    the claims of a worker by name and may block. ``answered`` is called with the id of a message
    and of its number, ``took`` with the seconds of work at it, ``summed`` with each new summary.
    ``roll`` outlives this process. ``program`` is what a worker runs.
    """

    def __init__(
        self,
        order: WorkOrder,
        *,
        count: int,
        release: Callable[[str], Awaitable[object]],
        answered: Callable[[str, str], None],
        took: Callable[[float], None],
        summed: Callable[[Summary], None],
        roll: WorkerRoll,
        program: Sequence[str] = ("-m", "assistant.messaging.worker_process"),
    ) -> None:
        self._order = order
        self._count = count
        self._release = release
        self._answered = answered
        self._took = took
        self._summed = summed
        self._roll = roll
        self._program = program
        self._hands: dict[int, _Hand] = {}
        self._deaths: Counter[str] = Counter()
        self._tasks: list[asyncio.Task[None]] = []
        self._stopping = False
        self._looks = 0
        self.ready = asyncio.Event()

    @property
    def pids(self) -> list[int]:
        """The process ids of the workers that are running."""
        return [hand.process.pid for hand in self._hands.values()]

    def start(self) -> None:
        """Free what an earlier service left claimed, and start the workers."""
        self._tasks = [asyncio.create_task(self._let_go(name)) for name in self._roll.read()]
        self._tasks += [asyncio.create_task(self._keep(slot)) for slot in range(self._count)]
        self._tasks.append(asyncio.create_task(self._watch()))

    def wake(self) -> None:
        """Tell the workers that there is work."""
        self._tell_all(wake=True)

    def look(self, case_id: str) -> None:
        """Ask one of the workers to sum up a case when it has nothing else to do."""
        hands = list(self._hands.values())
        if hands:
            self._looks += 1
            self._tell(hands[self._looks % len(hands)], look=case_id)

    async def stop(self) -> None:
        """Let every worker finish what it is at, then end them all."""
        self._stopping = True
        self._tell_all(stop=True)
        try:
            async with asyncio.timeout(_FAREWELL):
                await asyncio.gather(*(hand.process.wait() for hand in self._hands.values()))
        except TimeoutError:
            for hand in self._hands.values():
                _kill(hand)
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)

    def _tell(self, hand: _Hand, **fields: Any) -> None:
        pipe = hand.process.stdin
        if pipe is not None and not pipe.is_closing():
            with contextlib.suppress(OSError):
                pipe.write(line(**fields))

    def _tell_all(self, **fields: Any) -> None:
        for hand in list(self._hands.values()):
            self._tell(hand, **fields)

    async def _keep(self, slot: int) -> None:
        pause = 0.1
        while not self._stopping:
            try:
                hand = await self._begin(slot)
                await self._hear(hand)
                await hand.process.wait()
                await self._bury(slot, hand)
            except OSError as error:
                _LOG.error("a worker could not be started: %s", place_of(error))
                lived = 0.0
            else:
                lived = time.monotonic() - hand.born
            pause = 0.1 if lived > _SHORT_LIFE else min(2 * pause, _LONGEST_PAUSE)
            if not self._stopping:
                await asyncio.sleep(pause)

    async def _begin(self, slot: int) -> _Hand:
        name = f"{self._order.worker}.{slot}.{secrets.token_hex(4)}"
        process = await asyncio.create_subprocess_exec(
            sys.executable,
            *self._program,
            stdin=asyncio.subprocess.PIPE,
            stdout=asyncio.subprocess.PIPE,
        )
        hand = self._hands[slot] = _Hand(name, process)
        self._roll.add(name)
        order = self._order.model_copy(update={"worker": name})
        if process.stdin is not None:
            process.stdin.write(order.model_dump_json().encode() + b"\n")
        for message_id, deaths in self._deaths.items():
            if deaths >= _DEATHS:
                self._tell(hand, poison=message_id)
        return hand

    async def _hear(self, hand: _Hand) -> None:
        pipe = hand.process.stdout
        while pipe is not None and (raw := await pipe.readline()):
            with contextlib.suppress(ValueError, KeyError):  # the last line of the dead is cut
                self._take(hand, json.loads(raw))

    def _take(self, hand: _Hand, told: dict[str, Any]) -> None:
        if "took" in told:
            hand.message_id, hand.since = str(told["took"]), time.monotonic()
        elif "done" in told:
            if hand.message_id:
                self._took(time.monotonic() - hand.since)
            hand.message_id = ""
            self._deaths.pop(str(told["done"]), None)
            if told.get("summary"):
                self._summed(summary_from_json(told["summary"]))
            if told.get("kept"):
                self._answered(str(told["done"]), str(told["number"]))
        elif "looked" in told:
            self._summed(summary_from_json(told["looked"]))
        elif "ready" in told:
            self.ready.set()

    async def _bury(self, slot: int, hand: _Hand) -> None:
        self._hands.pop(slot, None)
        if not self._stopping:
            _LOG.warning("worker %d ended with code %s", slot, hand.process.returncode)
        if hand.message_id:
            self._deaths[hand.message_id] += 1
            if self._deaths[hand.message_id] >= _DEATHS:
                _LOG.error("a message has ended %d workers; it gets an apology", _DEATHS)
                self._tell_all(poison=hand.message_id)
        await self._let_go(hand.name)
        self.wake()

    async def _let_go(self, name: str) -> None:
        """Free the claims of a worker that is gone; the claim's end does it when this cannot."""
        try:
            await self._release(name)
        except Exception as error:  # noqa: BLE001 - the database may be away for a while
            _LOG.warning("claims could not be released: %s", place_of(error))
        else:
            self._roll.remove(name)

    async def _watch(self) -> None:
        while True:
            await asyncio.sleep(_WATCH)
            now = time.monotonic()
            for hand in list(self._hands.values()):
                if hand.message_id and now - hand.since > self._order.lease:
                    _LOG.error("a worker is stuck at a message; it is stopped")
                    _kill(hand)


def _kill(hand: _Hand) -> None:
    with contextlib.suppress(ProcessLookupError):
        hand.process.kill()
