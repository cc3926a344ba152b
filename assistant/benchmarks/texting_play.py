"""One whole case by text over HTTP, with whatever trouble is made on the way."""

from __future__ import annotations

import time
from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from assistant.errors import MisuseError

if TYPE_CHECKING:
    from collections.abc import Callable

    import httpx

    from assistant.benchmarks.loopback_carrier import LoopbackCarrier
    from assistant.benchmarks.texting_customer import TextingCustomer
    from assistant.messaging.records import MessageStore

__all__ = ["Played", "play_by_text", "settle"]

_MOST_TEXTS: Final = 80


@dataclass(slots=True)
class Played:
    """How a case by text went: the texts that were sent, with their message ids."""

    texts: list[tuple[str, str]] = field(default_factory=list)
    ended: bool = False


def settle(store: MessageStore, number_id: str, *, patience: float = 90.0) -> None:
    """Wait until every text of a number is answered and every answer has gone out.

    Raises ``MisuseError`` when that takes too long.
    """
    end = time.monotonic() + patience
    while time.monotonic() < end:
        if store.waiting() == 0:
            lines = store.thread(number_id).lines
            if all(line.state not in {"ready", "sending"} for line in lines):
                return
        time.sleep(0.05)
    raise MisuseError("A text stays unanswered.", next_step="Read the service's log.")


def play_by_text(
    customer: TextingCustomer,
    carrier: LoopbackCarrier,
    client: httpx.Client,
    *,
    store: MessageStore,
    number: str,
    number_id: str,
    times: int = 1,
    trouble: Callable[[int], None] = lambda _: None,
) -> Played:
    """Play a case to its end; each text is posted ``times`` over.

    ``trouble`` is called with the count of texts just before each is posted.
    """
    played = Played()
    seen = 0
    text: str | None = customer.first()
    while text is not None and len(played.texts) < _MOST_TEXTS:
        trouble(len(played.texts))
        message_id = carrier.text(client, number, text, times=times)
        played.texts.append((message_id, text))
        settle(store, number_id)
        messages = carrier.bodies(number)
        if len(messages) == seen:
            raise MisuseError(f"No answer came to {text!r}.", next_step="Read the store.")
        text = customer.answer(messages[seen:])
        seen = len(messages)
    played.ended = text is None
    return played


def repeated_keys(store: MessageStore, case_id: str) -> list[str]:
    """Give the keys of events that a case holds more than once."""
    keys = Counter(entry.key for entry in store.case_events(case_id) if entry.key)
    return [key for key, count in keys.items() if count > 1]
