"""How many texts are taken in a minute: from one number, and from all numbers together.

A number that sends more gets one polite refusal a minute and then silence; what it sent too much
is not kept. When all numbers together send more, the carrier is told to come again later.
"""

from __future__ import annotations

from hashlib import sha256
from typing import Final, Literal, TypeAlias

from limits import RateLimitItemPerMinute
from limits.storage import MemoryStorage
from limits.strategies import MovingWindowRateLimiter

__all__ = ["Intake", "Measure"]

Measure: TypeAlias = Literal["take", "refuse", "silent", "later"]
"""``take``: within the limits. ``refuse``: say politely that it is too much. ``silent``: that was
said within the last minute. ``later``: the service has too much from all numbers together."""

_EVERYBODY: Final = "everybody"


class Intake:
    """Counts texts in a moving window of a minute; numbers are kept as digests, in memory."""

    def __init__(self, *, per_number: int, for_all: int) -> None:
        self._window = MovingWindowRateLimiter(MemoryStorage())
        self._number = RateLimitItemPerMinute(per_number)
        self._all = RateLimitItemPerMinute(for_all)
        self._refusals = RateLimitItemPerMinute(1)

    def measure(self, number: str) -> Measure:
        """Count one text of ``number`` and say what to do with it."""
        who = sha256(number.encode()).hexdigest()
        if not self._window.test(self._all, _EVERYBODY):
            return "later"
        if not self._window.hit(self._number, "number", who):
            return "refuse" if self._window.hit(self._refusals, "refusal", who) else "silent"
        self._window.hit(self._all, _EVERYBODY)
        return "take"
