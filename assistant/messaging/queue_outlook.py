"""How long a text that comes now will wait for its answer, from the queue and the workers' pace.

When that is longer than the webhook's patience, waiting is of no use to anybody: the webhook then
answers at once without words, and the delivery sends the reply.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

__all__ = ["QueueOutlook"]

_FIRST_PACE: Final = 1.0
_NEWS: Final = 0.2
"""The share of the newest answer in the pace."""


@dataclass(slots=True)
class QueueOutlook:
    """Texts of this process that are not answered yet; ``pace`` is seconds of work for one."""

    workers: int = 1
    pace: float = _FIRST_PACE
    _pending: dict[str, None] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self._pending)

    def came(self, message_id: str) -> None:
        """Count a text that was accepted."""
        self._pending[message_id] = None

    def answered(self, message_id: str) -> None:
        """Take a text off that was dealt with, by whichever worker."""
        self._pending.pop(message_id, None)

    def at_most(self, count: int) -> None:
        """Forget the oldest texts beyond ``count``: workers of other machines answered them."""
        for message_id in list(self._pending)[: max(len(self._pending) - count, 0)]:
            del self._pending[message_id]

    def took(self, seconds: float) -> None:
        """Take into account how long a worker was at one text."""
        self.pace += _NEWS * (seconds - self.pace)

    @property
    def wait(self) -> float:
        """Seconds until the newest of the texts is likely answered."""
        return len(self._pending) * self.pace / self.workers
