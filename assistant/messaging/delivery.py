"""Delivery of what lies in the outbox: back-off between tries, and an end after the last one.

A message that an earlier try may have handed over is looked up at the carrier before it is sent
again, so that a broken connection or a power cut sends nothing twice.
"""

from __future__ import annotations

import logging
import random
from collections import defaultdict
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from assistant.messaging import clock
from assistant.messaging.faults import CarrierBusyError, CarrierRefusedError
from assistant.messaging.mishap import place_of

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from assistant.messaging.records import Carrier, MessageStore, Sending

__all__ = ["Delivery", "pause_after"]

_LOG: Final = logging.getLogger("probetell.delivery")
_FIRST_PAUSE: Final = 2.0
_LONGEST_PAUSE: Final = 900.0
_TRIES: Final = 8
_AT_ONCE: Final = 16
_LEASE: Final = 120.0


def pause_after(attempts: int, chance: random.Random) -> float:
    """Give the seconds to wait after so many tries: doubled each time, capped, a little uneven."""
    pause = min(_FIRST_PAUSE * 2.0 ** max(attempts - 1, 0), _LONGEST_PAUSE)
    return pause * chance.uniform(1.0, 1.2)


@dataclass(slots=True, kw_only=True)
class Delivery:
    """Sends what is due through ``carrier``; messages to one number go one after the other.

    ``name`` is under which sendings are claimed. ``tries`` counts until a sending is given up.
    """

    name: str
    store: MessageStore
    carrier: Carrier
    now: Callable[[], str] = clock.now
    tries: int = _TRIES
    threads: int = 4
    chance: random.Random = field(default_factory=random.Random)
    _pool: ThreadPoolExecutor = field(init=False)

    def __post_init__(self) -> None:
        self._pool = ThreadPoolExecutor(self.threads, thread_name_prefix="delivery")

    def run_once(self) -> int:
        """Deal with what is due now; give how many sendings that were."""
        now = self.now()
        taken = self.store.take_sendings(
            self.name, now=now, until=clock.shifted(now, _LEASE), count=_AT_ONCE
        )
        by_number: dict[str, list[Sending]] = defaultdict(list)
        for sending in taken:
            by_number[sending.number].append(sending)
        list(self._pool.map(self._send_in_order, by_number.values()))
        return len(taken)

    def close(self) -> None:
        """Wait for what is under way."""
        self._pool.shutdown()

    def _send_in_order(self, sendings: Sequence[Sending]) -> None:
        """Send to one number; when one has to wait, those behind it wait with it."""
        again: str | None = None
        for sending in sendings:
            try:
                if again is None:
                    again = self._send(sending)
                else:
                    self.store.mark_failed(
                        sending.sending_id,
                        why="An earlier message to this number waits for its next try.",
                        retry_at=again,
                        now=self.now(),
                    )
            except Exception as error:  # noqa: BLE001 - the claim runs out and it is tried again
                _LOG.error("a sending could not be noted: %s", place_of(error))

    def _send(self, sending: Sending) -> str | None:
        """Send one message; give when it is tried again, None when it is done with."""
        last = sending.attempts + 1 >= self.tries
        try:
            carrier_id = self._handed_over(sending)
        except CarrierRefusedError as error:
            return self._fail(sending, error.message, last=True)
        except CarrierBusyError as error:
            return self._fail(sending, error.message, last=last)
        except Exception as error:  # noqa: BLE001 - a carrier's library may raise anything
            _LOG.error("the carrier's part failed: %s", place_of(error))
            return self._fail(sending, f"It failed here ({type(error).__name__}).", last=last)
        self.store.mark_sent(sending.sending_id, carrier_id=carrier_id, now=self.now())
        return None

    def _handed_over(self, sending: Sending) -> str:
        if sending.interrupted or sending.attempts > 0:
            found = self.carrier.find(sending.number, sending.body, sending.created)
            if found is not None:
                return found
        return self.carrier.send(sending.number, sending.body)

    def _fail(self, sending: Sending, why: str, *, last: bool) -> str | None:
        now = self.now()
        pause = pause_after(sending.attempts + 1, self.chance)
        again = None if last else clock.shifted(now, pause)
        self.store.mark_failed(sending.sending_id, why=why, retry_at=again, now=now)
        if last:
            _LOG.warning("a message was given up after %d tries", sending.attempts + 1)
        return again
