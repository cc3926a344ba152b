"""Any text at all ends in a reply or a refusal, in message bodies as they should be.

Outside: lxml as the judge of what is well-formed XML; twilio's builder as what makes it.
"""

from __future__ import annotations

import random
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from lxml import etree
from text_talk import Customer
from twilio.twiml.messaging_response import MessagingResponse

from assistant.conversation.dialogue import Dialogue, replay
from assistant.diagnosis.records import (
    Belief,
    Expectation,
    NextCheck,
    NextStep,
    RepairOption,
    Step,
    Verdict,
)
from assistant.errors import GivenError
from assistant.knowledge import load
from assistant.messaging.memory import recall
from assistant.messaging.reserved import reserved
from assistant.messaging.segments import plain, segments
from assistant.readings.reading import Reading, Value, base_unit

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assistant.conversation.events import Opened
    from assistant.knowledge.schema import Check, Complaint, Installation
    from assistant.messaging.records import Outcome


class Fixed:
    """A diagnosis that asks the checks in the order of the data files and believes nothing."""

    def __init__(self, opened: Opened) -> None:
        self.installation: Installation = opened.installation
        self.complaint: Complaint = opened.complaint
        self.checks: Mapping[str, Check] = load().checks(opened.installation)
        self._repair = next(iter(load().repairs(opened.installation)))
        self._steps: list[Step] = []

    @property
    def steps(self) -> tuple[Step, ...]:
        return tuple(self._steps)

    def next_step(self) -> NextStep:
        told = {s.check.id for s in self._steps if s.check}
        left = [c for c in self.checks if c not in told]
        fixed = bool(self._steps) and self._steps[-1].note == "it helped"
        return self.verdict() if fixed or not left else self.describe(left[0])

    def belief(self) -> Belief:
        return Belief(repairs=((self._repair, 0.6),), faults=())

    def describe(self, check: str) -> NextCheck:
        known = self._known(check)
        unit = base_unit(known.do.quantity)
        expect = Expectation(low=11.0, high=14.0, unit=unit)
        return NextCheck(check=known, minutes=1.0, bits=0.1, expect=expect, cautions=known.cautions)

    def _known(self, check: str) -> Check:
        if check not in self.checks:
            raise GivenError("There is no such check.", next_step="Use another.")
        return self.checks[check]

    def _tell(self, kind: str, check: str | None, reading: Reading | None, note: str) -> None:
        self._steps.append(
            Step(
                kind=kind,
                check=self._known(check) if check else None,
                reading=reading,
                repair=None if check else self._repair,
                note=note,
                minutes=1.0,
                expected=None,
                before=self.belief(),
                after=self.belief(),
            )
        )

    def observe(self, check: str, reading: Reading) -> None:
        known = self._known(check)
        unit = base_unit(known.do.quantity)
        if isinstance(reading, Value) and (unit is None or not reading.unit.endswith(unit)):
            raise GivenError("That unit does not fit.", next_step="Give what is asked.")
        self._tell("reading", check, reading, "")

    def cannot(self, check: str, why: str) -> None:
        self._tell("cannot", check, None, why)

    def repaired(self, repair: str, *, fixed: bool) -> None:
        del repair
        self._tell("repaired", None, None, "it helped" if fixed else "it did not help")

    def undo(self) -> Step:
        if not self._steps:
            raise GivenError("There is nothing to take back.", next_step="Answer first.")
        return self._steps.pop()

    def weigh(self, check: str, readings: Sequence[Reading]) -> Sequence[float]:
        self._known(check)
        return [1.0 for _ in readings]

    def would_change(self, check: str, first: Reading, second: Reading) -> bool:
        return bool(check) and first != second

    def verdict(self) -> Verdict:
        return Verdict(
            repair=self._repair,
            probability=0.6,
            faults=(),
            order=(RepairOption(repair=self._repair, probability=0.6, minutes=10.0),),
            evidence=("It was measured.",),
            reply="As told.",
        )


_WORDS = (
    "12.6", "12..6", "1e999", "\uff11\uff12.\uff16", "12,6", "1/2", "-0", "OL", "beep", "no",
    "yes", "ok", "1", "2", "3", "0", "A", "skip", "undo", "back", "why", "status", "the remote",
    "ground", "is", "and", "key on", "running", "ohm", "volts", "V", "mV", "front left", "rear",
    "left rear", "dont have a meter", "got a meter now", "car 1", "car 2", "other car", "new car",
    "thanks", "wait", "sorry meant", "no, 12.1", "jumps 2 to 9", "(1/2)", "(2/2)", "12.", "fixed",
    "not fixed", "amp cuts out", "protect", "4 channel", "4 ohm speakers", "100 amp fuse",
    "4 gauge", "go", "cars", "which one is the remote?", "done", "pause", "blinking", "lit", "off",
    "\U0001f44d", "\u0663", "\u202e", "\x00", "\n", "   ", "?", "start", "0x1F", "\u221e", "½",
    "again", "how long", "commands", "\ud83d\udd0c", "NaN", "1_000", "12.6.7.8", "99999999999",
)  # fmt: skip
_TEXTS = st.one_of(
    st.lists(st.sampled_from(_WORDS), min_size=1, max_size=6).map(" ".join),
    st.text(max_size=120),
    st.text(alphabet="0123456789.,eE+-/ VvmkOLo\u03a9\u2126", max_size=12),
    st.text(
        alphabet=st.characters(categories=("So", "Lo", "Cf", "Cc", "Nd", "No", "Mn", "Zs")),
        max_size=60,
    ),
    st.builds(
        lambda text, times: (text * times)[:1600], st.text(max_size=40), st.integers(2, 1600)
    ),
)


def _customer() -> Customer:
    return Customer(opener_=Fixed)


def _looked_at(customer: Customer, text: str, outcome: Outcome, *, out: bool, later: bool) -> None:
    word = reserved(text)
    silent = word == "leave" or (out and word != "back")
    if silent:
        assert not outcome.replies
        assert outcome.thread.opted_out
    else:
        assert outcome.replies or later
        assert not outcome.thread.opted_out
    assert recall(outcome.thread).written() == outcome.thread.memory or silent or word == "help"
    assert len(outcome.closed) <= 1
    assert set(customer.thread.cases) == set(customer.kept.events)


@given(st.lists(st.tuples(_TEXTS, st.booleans()), min_size=40, max_size=40))
@settings(
    max_examples=250,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
def test_ten_thousand_texts(texts: list[tuple[str, bool]]) -> None:
    # 250 customers with 40 texts each; half of them begin with an open case
    customer = _customer()
    if texts[0][1]:
        for text in ("amp goes into protect, always", "1", "go"):
            customer.text(text)
    for text, later in texts:
        out = customer.thread.opted_out
        outcome = customer.text(text, later=later)
        _looked_at(customer, text, outcome, out=out, later=later)
        if outcome.thread.opted_out:
            customer.text("START")
    for case_id, rows in customer.kept.events.items():
        fresh = Dialogue(customer.kept.opener)
        replay(fresh, [row.event for row in rows])
        assert fresh.scene == customer.kept.live[case_id].scene
        assert fresh.diagnosis.steps == customer.kept.live[case_id].diagnosis.steps


@pytest.mark.parametrize("length", [670, 671, 1530, 1531, 1600])
@pytest.mark.parametrize("letter", ["a", "\u0448"])
def test_texts_over_ten_segments_are_refused(length: int, letter: str) -> None:
    customer = _customer()
    text = letter * length
    (first, *_) = customer.text(text).replies
    assert ("too long" in first) == (segments(text) > 10)


@pytest.mark.parametrize("text", ["\ud800", "a\udfff1", "\x1b[31m", "\u0000" * 1600])
def test_texts_that_are_hardly_texts(text: str) -> None:
    assert _customer().text(text).replies


@given(st.one_of(_TEXTS, st.text(max_size=400)))
@settings(max_examples=500, deadline=None)
def test_any_text_made_plain_is_well_formed_in_a_webhook_answer(text: str) -> None:
    made = MessagingResponse()
    made.message(plain(text))
    root = etree.fromstring(str(made).encode())
    (message,) = root.findall("Message")
    assert (message.text or "") == plain(text)


def test_the_same_texts_give_the_same_outcomes() -> None:
    rng = random.Random(11)  # noqa: S311 - only a choice of texts
    texts = [" ".join(rng.choices(_WORDS, k=rng.randint(1, 4))) for _ in range(300)]
    first, second = _customer(), _customer()
    for text in texts:
        assert first.text(text) == second.text(text)
