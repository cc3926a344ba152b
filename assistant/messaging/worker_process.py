"""A worker in a process of its own, so that numpy's work never holds up the webhook.

It ends with its parent: when the parent's end of standard input is closed, by whatever death, the
process stops at once. What it was at is claimed again by another worker.
"""

from __future__ import annotations

import ctypes
import json
import logging
import os
import signal
import sys
import threading
import time
from typing import TYPE_CHECKING, Final, NoReturn

from assistant.commands.workplace import open_diagnosis
from assistant.diagnosis.session import Diagnosis
from assistant.messaging.dialogue_cache import DialogueCache
from assistant.messaging.mishap import place_of
from assistant.messaging.quiet_log import set_up_log
from assistant.messaging.shop import Shop
from assistant.messaging.summary import summary_to_json
from assistant.messaging.work_order import WorkOrder, line, open_store
from assistant.messaging.worker import Worker

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import BinaryIO

    from assistant.conversation.dialogue import Dialogue

__all__ = ["let_rest", "main"]

_LOG: Final = logging.getLogger("probetell.worker")
_LOOK_AGAIN: Final = 0.5
"""Seconds between looks at the store when nobody says that there is work."""
_NICE: Final = 10


class _Link:
    """The lines to and from the parent; reading goes on in a thread of its own."""

    def __init__(self, inward: BinaryIO, outward: BinaryIO) -> None:
        self._inward, self._outward = inward, outward
        self.wake = threading.Event()
        self.stopping = False
        self.poison: set[str] = set()
        self.looks: list[str] = []

    def listen(self) -> None:
        threading.Thread(target=self._listen, daemon=True).start()

    def _listen(self) -> None:
        for raw in self._inward:
            self._take(json.loads(raw))
            self.wake.set()
        os._exit(0)

    def _take(self, told: dict[str, str]) -> None:
        if "poison" in told:
            self.poison.add(told["poison"])
        elif "look" in told:
            self.looks.append(told["look"])
        elif "stop" in told:
            self.stopping = True

    def tell(self, **fields: object) -> None:
        try:
            self._outward.write(line(**fields))
            self._outward.flush()
        except OSError:  # the parent is gone
            os._exit(0)


def let_rest(dialogue: Dialogue) -> None:
    """Let a dialogue keep its worlds and no predictions between two messages."""
    if isinstance(dialogue.diagnosis, Diagnosis):
        dialogue.diagnosis.rest()


def _memory_trimmer() -> Callable[[], object]:
    """Give what hands freed memory back to the system, where the C library can (glibc)."""
    try:
        trim = ctypes.CDLL(None).malloc_trim
    except (OSError, TypeError, AttributeError):
        return lambda: None
    return lambda: trim(0)


def _make_worker(order: WorkOrder, link: _Link) -> Worker:
    store = open_store(order.database_url, bytes.fromhex(order.number_key_hex))
    return Worker(
        name=order.worker,
        store=store,
        cache=DialogueCache(
            case_events=store.case_events,
            opener=open_diagnosis,
            limit=order.live_cases,
            rest=let_rest,
        ),
        shop=Shop(
            name=order.shop_name,
            now="",
            hours=order.shop_hours,
            phone=order.shop_phone,
            worlds=order.worlds,
            seed=order.seed,
        ),
        patience=order.patience,
        lease=order.lease,
        claimed=lambda message_id: link.tell(took=message_id),
        poison=link.poison,
    )


def _work(worker: Worker, link: _Link) -> None:
    trim = _memory_trimmer()
    while not link.stopping:
        link.wake.clear()
        try:
            done = worker.step()
        except Exception as error:  # noqa: BLE001 - the database may be away for a while
            _LOG.error("the store cannot be used: %s", place_of(error))
            time.sleep(1.0)
            continue
        if done is not None:
            summary = None if done.summary is None else summary_to_json(done.summary)
            link.tell(done=done.message_id, number=done.number_id, kept=done.kept, summary=summary)
            trim()
        elif link.looks:
            found = worker.look(link.looks.pop(0))
            if found is not None:
                link.tell(looked=summary_to_json(found))
        else:
            link.wake.wait(_LOOK_AGAIN)


def main() -> NoReturn:
    """Read the order, then answer messages until told to stop."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent says when to stop
    set_up_log()
    told = sys.stdin.buffer.readline()
    if not told:  # the parent was gone before it could say anything
        sys.exit(0)
    order = WorkOrder.model_validate_json(told)
    # What any part prints goes to the log; only the link writes to the parent.
    outward = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    link = _Link(sys.stdin.buffer, outward)
    link.listen()
    if hasattr(os, "nice"):
        os.nice(_NICE)  # the webhook goes first
    worker = _make_worker(order, link)
    link.tell(ready=True)
    _work(worker, link)
    # The listening thread holds standard input, which the interpreter would wait for at its end.
    outward.flush()
    os._exit(0)


if __name__ == "__main__":
    main()
