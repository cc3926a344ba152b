"""A worker: claims a message, has the exchange answer it, and commits what came of it.

A message whose answer fails is answered with an apology, so that no message comes round again and
again. What goes wrong is logged by its kind and place, never with a number or a text.
"""

from __future__ import annotations

import logging
import secrets
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Final, TypeAlias

from assistant.conversation.table import State
from assistant.messaging import clock
from assistant.messaging.exchange import exchange
from assistant.messaging.faults import ClaimLostError
from assistant.messaging.mishap import place_of
from assistant.messaging.records import Outcome
from assistant.messaging.summary import Summary, summary_of

if TYPE_CHECKING:
    from assistant.messaging.dialogue_cache import DialogueCache
    from assistant.messaging.records import MessageStore, Work
    from assistant.messaging.shop import Shop

__all__ = ["Answered", "Worker"]

_LOG: Final = logging.getLogger("probetell.worker")
_MARGIN: Final = 0.5
"""Seconds after the webhook's patience until a delivery may take a reply."""

Answer: TypeAlias = Callable[..., Outcome]


@dataclass(frozen=True, slots=True, kw_only=True)
class Answered:
    """One message that was dealt with; ``kept`` is False when its claim was lost meanwhile."""

    message_id: str
    number_id: str
    kept: bool
    summary: Summary | None = None


def _case_id(now: str) -> str:
    digits = "".join(each for each in now[:19] if each.isdigit())
    return f"{digits[:8]}-{digits[8:]}-{secrets.token_hex(4)}"


@dataclass(slots=True, kw_only=True)
class Worker:
    """Answers messages one after the other; not to be shared between threads.

    ``lease`` is how long a claim holds and ``patience`` how long the webhook waits, in seconds.
    ``poison`` names messages that have brought workers down: they get the apology at once.
    ``claimed`` is called with the id of each message before it is answered.
    """

    name: str
    store: MessageStore
    cache: DialogueCache
    shop: Shop
    patience: float
    lease: float = 60.0
    now: Callable[[], str] = clock.now
    answer: Answer = exchange
    claimed: Callable[[str], None] = field(default=lambda _: None)
    poison: set[str] = field(default_factory=set)

    def step(self) -> Answered | None:
        """Deal with one message; None when none is waiting."""
        now = self.now()
        work = self.store.claim(self.name, now=now, until=clock.shifted(now, self.lease))
        if work is None:
            return None
        self.claimed(work.message.message_id)
        outcome = self._outcome(work)
        try:
            kept = self._commit(work, outcome)
        except Exception as error:  # noqa: BLE001 - the message must not come round for ever
            _LOG.error("an answer could not be kept: %s", place_of(error))
            self.cache.drop()
            outcome = self._apology(work)
            kept = self._commit(work, outcome)
        return Answered(
            message_id=work.message.message_id,
            number_id=work.thread.number_id,
            kept=kept,
            summary=self._summary(outcome) if kept else None,
        )

    def look(self, case_id: str) -> Summary | None:
        """Sum up a case as far as it is stored; None when that cannot be done."""
        try:
            found = summary_of(case_id, self.cache.glance(case_id))
            self.cache.rest()
        except Exception as error:  # noqa: BLE001 - a list may show less
            _LOG.warning("a case could not be summed up: %s", place_of(error))
            self.cache.drop()
            return None
        return found

    def _outcome(self, work: Work) -> Outcome:
        if work.message.message_id in self.poison:
            return self._apology(work)
        try:
            return self.answer(
                work.thread,
                work.message,
                dialogues=self.cache,
                shop=replace(self.shop, now=self.now()),
                new_case_id=_case_id(self.now()),
                later=work.later,
            )
        except Exception as error:  # noqa: BLE001 - the customer still gets an answer
            _LOG.error("a text could not be answered: %s", place_of(error))
            self.cache.drop()
            return self._apology(work)

    def _commit(self, work: Work, outcome: Outcome) -> bool:
        due = clock.shifted(work.message.received, self.patience + _MARGIN)
        try:
            self.store.commit(work, outcome, now=self.now(), due=due)
        except ClaimLostError:
            _LOG.info("a claim was lost to another worker")
            self.cache.drop()
            return False
        self.cache.settle(outcome)
        return True

    def _apology(self, work: Work) -> Outcome:
        """Give the answer for a text that brought the program down."""
        thread = work.thread
        if thread.opted_out or thread.held_by:
            return Outcome(thread=thread)
        call = f" Or call {self.shop.phone}." if self.shop.phone else ""
        words = f"Sorry, something went wrong here. Please text that again in other words.{call}"
        return Outcome(thread=thread, replies=(words,))

    def _summary(self, outcome: Outcome) -> Summary | None:
        case_id = outcome.thread.case_id
        dialogue = None if case_id is None else self.cache.live(case_id)
        if case_id is None or dialogue is None or dialogue.state is State.WAITING:
            return None
        return summary_of(case_id, dialogue)
