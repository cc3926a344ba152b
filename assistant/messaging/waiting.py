"""Webhook requests that wait for a worker's answer, by message id, without a thread each."""

from __future__ import annotations

import asyncio

__all__ = ["Waiting"]


class Waiting:
    """Wakes whoever waits for a message; lives in the service's event loop."""

    def __init__(self) -> None:
        self._futures: dict[str, set[asyncio.Future[None]]] = {}

    def wake(self, message_id: str) -> None:
        """Tell all who wait for a message that it was dealt with."""
        for future in self._futures.pop(message_id, set()):
            if not future.done():
                future.set_result(None)

    async def wait(self, message_id: str, seconds: float) -> bool:
        """Wait until the message is dealt with; False when the time is over first."""
        future: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        self._futures.setdefault(message_id, set()).add(future)
        try:
            await asyncio.wait_for(future, max(seconds, 0.0))
        except TimeoutError:
            return False
        else:
            return True
        finally:
            others = self._futures.get(message_id)
            if others is not None:
                others.discard(future)
                if not others:
                    del self._futures[message_id]
