"""What the web side of the service shares: the store without blocking, the clock, who waits.

The store is called in a few threads of its own, so that a database that is busy holds up nobody
who needs none. Requests that wait for a worker hold no thread.
"""

from __future__ import annotations

import asyncio
from collections import OrderedDict
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING, Any, Final, TypeVar

from assistant.errors import MisuseError
from assistant.messaging import clock
from assistant.messaging.queue_outlook import QueueOutlook
from assistant.messaging.waiting import Waiting

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.messaging.records import Acceptance, MessageStore
    from assistant.messaging.summary import Summary

__all__ = ["Desk"]

_T = TypeVar("_T")
_THREADS: Final = 6
_LOOK_AGAIN: Final = 0.7
"""Seconds between looks at the store while waiting: the worker may be on another machine."""
_MOST_SUMMARIES: Final = 5000


@dataclass(kw_only=True)
class Desk:
    """Belongs to one event loop. ``patience`` is how long a text's answer is waited for, in s.

    ``number_id`` gives the store's id of a number, ``wake_workers`` tells them that there is work,
    ``ask_look`` has one of them sum up a case, ``stopping`` tells that the service is going down.
    """

    store: MessageStore
    patience: float
    number_id: Callable[[str], str]
    now: Callable[[], str] = clock.now
    wake_workers: Callable[[], None] = field(default=lambda: None)
    wake_delivery: Callable[[], None] = field(default=lambda: None)
    ask_look: Callable[[str], None] = field(default=lambda _: None)
    stopping: Callable[[], bool] = field(default=lambda: False)
    waiting: Waiting = field(default_factory=Waiting)
    outlook: QueueOutlook = field(default_factory=QueueOutlook)
    summaries: OrderedDict[str, Summary] = field(default_factory=OrderedDict)
    changes: dict[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._pool = ThreadPoolExecutor(_THREADS, thread_name_prefix="store")

    async def call(self, work: Callable[..., _T], *arguments: Any, **named: Any) -> _T:
        """Call a method of the store in one of its threads."""
        loop = asyncio.get_running_loop()
        return await loop.run_in_executor(self._pool, partial(work, *arguments, **named))

    @property
    def worth_waiting(self) -> bool:
        """Whether an answer is likely within the webhook's patience."""
        return 0.0 < self.patience >= self.outlook.wait

    async def answer_of(
        self, message_id: str, *, gone: Callable[[], Any] | None = None
    ) -> Acceptance | None:
        """Wait for a message's answer and take its replies into the webhook's own.

        None when the patience is over or surely will be, the service is going down, or whoever
        asked is ``gone`` (an async function): the replies are then delivered later.
        """
        loop = asyncio.get_running_loop()
        end = loop.time() + (self.patience if self.worth_waiting else 0.0)
        while not self.stopping():
            if gone is not None and await gone():
                return None
            found = await self.call(self.store.answer_inline, message_id)
            if found.answered:
                self.outlook.answered(message_id)
                return found
            left = end - loop.time()
            if left <= 0:
                return None
            await self.waiting.wait(message_id, min(left, _LOOK_AGAIN))
        return None

    def answered(self, message_id: str, number_id: str) -> None:
        """Take note that a worker has dealt with a message."""
        self.outlook.answered(message_id)
        self.waiting.wake(message_id)
        self.changed(number_id)
        self.wake_delivery()

    def changed(self, number_id: str) -> None:
        """Take note that something new is to be seen of a number."""
        self.changes[number_id] = self.changes.get(number_id, 0) + 1
        self.changes[""] = self.changes.get("", 0) + 1

    def summed(self, summary: Summary) -> None:
        """Keep the latest summary of a case, of so many cases."""
        self.summaries.pop(summary.case_id, None)
        self.summaries[summary.case_id] = summary
        while len(self.summaries) > _MOST_SUMMARIES:
            self.summaries.popitem(last=False)
        self.changes[""] = self.changes.get("", 0) + 1

    def opted_out(self, number: str) -> bool:
        """Say whether a number wants nothing more; blocks, and an unknown one has not said so."""
        try:
            return self.store.thread(self.number_id(number)).thread.opted_out
        except MisuseError:
            return False

    def close(self) -> None:
        """Let the threads end."""
        self._pool.shutdown(wait=True)
