"""Delivery: retries with back-off, the end after the last, and nothing sent twice."""

from __future__ import annotations

import random
from dataclasses import dataclass, field, replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from text_kit import NUMBER, make_worker, memory_store, new_id

from assistant.messaging.clock import shifted
from assistant.messaging.delivery import Delivery, pause_after
from assistant.messaging.faults import CarrierBusyError, CarrierRefusedError
from assistant.messaging.records import IncomingText, Outcome

START = "2031-03-01T09:00:00.000+00:00"


def busy() -> CarrierBusyError:
    return CarrierBusyError("The carrier is busy.", next_step="Wait.")


@dataclass
class ToyCarrier:
    """Takes messages, or fails as it is told: before it took one, or after."""

    fates: list[str] = field(default_factory=list)
    taken: list[tuple[str, str]] = field(default_factory=list)

    def send(self, to: str, body: str) -> str:
        fate = self.fates.pop(0) if self.fates else "take"
        if fate == "busy":
            raise busy()
        if fate == "refuse":
            raise CarrierRefusedError("No such number.", next_step="Look.")
        if fate == "odd":
            raise KeyError(body)
        self.taken.append((to, body))
        if fate == "lost":  # the carrier has it, but its answer did not come
            raise busy()
        return f"C{len(self.taken)}"

    def find(self, to: str, body: str, since: str) -> str | None:
        assert since
        for number, taken in enumerate(self.taken, start=1):
            if taken == (to, body):
                return f"C{number}"
        return None


class Post:
    """A store with replies in the outbox, a clock that is set by hand, and a delivery."""

    def __init__(self, *bodies: str, fates: list[str] | None = None, tries: int = 4) -> None:
        self.at = START
        self.store = memory_store()
        self.carrier = ToyCarrier(fates or [])
        self.delivery = self.made(tries)
        for body in bodies:
            self.reply(body)

    def made(self, tries: int = 4) -> Delivery:
        return Delivery(
            name="d1",
            store=self.store,
            carrier=self.carrier,
            now=lambda: self.at,
            tries=tries,
            threads=2,
            chance=random.Random(1),  # noqa: S311
        )

    def reply(self, body: str, number: str = NUMBER) -> None:
        def answer(thread: Any, *_: Any, **__: Any) -> Outcome:
            return Outcome(thread=replace(thread), replies=(body,))

        self.store.accept(
            IncomingText(message_id=new_id(), number=number, text="x", received=self.at)
        )
        make_worker(self.store, answer=answer, patience=0.0, now=lambda: self.at).step()

    def wait(self, seconds: float) -> int:
        self.at = shifted(self.at, seconds)
        return self.delivery.run_once()

    def states(self) -> list[str | None]:
        return [
            line.state
            for view in self.store.threads()
            for line in self.store.thread(view.thread.number_id).lines
            if line.by == "program"
        ]


def test_what_is_due_is_sent_once() -> None:
    post = Post("one", "two")
    assert post.wait(1) == 2
    assert post.carrier.taken == [(NUMBER, "one"), (NUMBER, "two")]
    assert post.wait(100) == 0
    assert post.states() == ["sent", "sent"]


def test_a_busy_carrier_is_tried_again_later_each_time() -> None:
    post = Post("one", fates=["busy", "busy"])
    post.wait(1)
    assert post.wait(0.5) == 0
    assert post.wait(3) == 1
    assert post.states() == ["ready"]
    assert post.wait(2) == 0  # the second pause is longer
    assert post.wait(4) == 1
    assert post.states() == ["sent"]


def test_after_the_last_try_it_is_dead_and_can_be_revived() -> None:
    post = Post("one", fates=["busy"] * 3, tries=3)
    for _ in range(5):
        post.wait(2000)
    assert post.states() == ["dead"]
    (letter,) = post.store.dead()
    assert letter.body == "one"
    post.store.revive(letter.sending_id, now=post.at)
    post.wait(1)
    assert post.states() == ["sent"]


def test_a_refused_message_is_not_tried_again() -> None:
    post = Post("one", "two", fates=["refuse"])
    post.wait(1)
    assert post.states() == ["dead", "sent"]
    assert post.wait(5000) == 0


def test_a_message_whose_answer_was_lost_is_found_and_not_sent_again() -> None:
    post = Post("one", fates=["lost"])
    post.wait(1)
    post.wait(10)
    assert post.carrier.taken == [(NUMBER, "one")]
    assert post.states() == ["sent"]


@pytest.mark.parametrize("taken", [True, False])
def test_an_interrupted_delivery_is_looked_up_first(taken: bool) -> None:
    post = Post("one")
    until = shifted(post.at, 60)
    post.at = shifted(post.at, 1)
    (sending,) = post.store.take_sendings("dead one", now=post.at, until=until, count=1)
    if taken:
        post.carrier.send(sending.number, sending.body)
    assert post.wait(1) == 0
    assert post.wait(100) == 1
    assert post.carrier.taken == [(NUMBER, "one")]
    assert post.states() == ["sent"]


def test_a_part_that_fails_in_an_unknown_way_is_tried_again() -> None:
    post = Post("one", fates=["odd"])
    post.wait(1)
    post.wait(10)
    assert post.states() == ["sent"]


def test_one_dead_number_does_not_hold_up_another() -> None:
    post = Post("one", fates=["refuse"])
    post.reply("two", "+13035550117")
    post.wait(1)
    assert post.carrier.taken in ([("+13035550117", "two")], [(NUMBER, "one")])


@given(st.lists(st.sampled_from(["busy", "lost", "odd", "take"]), max_size=8))
def test_whatever_fails_each_message_is_taken_at_most_once(fates: list[str]) -> None:
    post = Post("one", "two", "three", fates=list(fates), tries=20)
    for _ in range(30):
        post.wait(1000)
    post.delivery.close()
    assert post.carrier.taken == [(NUMBER, "one"), (NUMBER, "two"), (NUMBER, "three")]
    assert post.states() == ["sent"] * 3


@given(st.integers(1, 60))
def test_pauses_grow_and_are_capped(attempts: int) -> None:
    seeded = [random.Random(seed) for seed in range(9)]  # noqa: S311
    assert all(2.0 <= pause_after(attempts, chance) <= 900 * 1.2 for chance in seeded)
    first = max(pause_after(1, chance) for chance in seeded)
    assert first < min(pause_after(3, chance) for chance in seeded)
