"""Conversations by text, from a data file, with the real dialogue and diagnosis."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
import yaml
from text_talk import Customer

from assistant.conversation.dialogue import Dialogue, replay
from assistant.conversation.table import State

if TYPE_CHECKING:
    from assistant.messaging.records import Outcome

_SCRIPTS: dict[str, list[dict[str, Any]]] = yaml.safe_load(
    Path(__file__).with_name("conversations.yaml").read_text("utf-8")
)
_MOST_ANSWERS = 30
"""More than the program asks before a verdict, and after a failed repair: 24."""


def _opened(customer: Customer, text: str) -> Outcome:
    """Open a case from its first text, with a meter and unknown parts."""
    customer.text(text)
    draft_left = 0
    outcome = customer.text("1")
    while customer.thread.case_id is None and draft_left < 8:
        draft_left += 1
        outcome = customer.text("go" if draft_left > 1 else "0")
    assert customer.thread.case_id is not None
    return outcome


def _answered(customer: Customer, step: dict[str, Any]) -> Outcome:
    """Answer whatever is asked until the reply holds ``until``."""
    for _ in range(_MOST_ANSWERS):
        dialogue = customer.dialogue
        if dialogue.state in {State.CAUTIONING, State.CONFIRMING, State.CONTRASTING}:
            outcome = customer.text("1")
        else:
            open_step = dialogue.scene.step
            assert open_step is not None, dialogue.state
            do = open_step.check.do
            answers = step["answers"]
            outcome = customer.text(answers.get(open_step.check.id, answers.get(do.quantity)))
        if any(step["until"] in body for body in outcome.replies):
            return outcome
    raise AssertionError(f"never came to {step['until']!r}: {outcome.replies}")


def _held(customer: Customer, outcome: Outcome, step: dict[str, Any], where: str) -> None:
    said = " ".join(outcome.replies)
    if "none" in step:
        assert not outcome.replies, where
    elif "order" not in step:
        assert outcome.replies, where
    for part in step.get("get", ()):
        assert part in said, f"{where}: {part!r} is not in {said!r}"
    for part in step.get("not", ()):
        assert part not in said, f"{where}: {part!r} is in {said!r}"
    if "events" in step:
        kinds = [type(event.entry.event).__name__ for event in outcome.events]
        wanted = step["events"]
        if wanted[-1:] == ["..."]:
            assert kinds[: len(wanted) - 1] == wanted[:-1], where
        else:
            assert kinds == wanted, where
    if "readings" in step:
        assert customer.readings() == step["readings"], where
    if "opted_out" in step:
        assert outcome.thread.opted_out is step["opted_out"], where
    assert bool(outcome.closed) is step.get("closed", False), where


@pytest.mark.parametrize("name", _SCRIPTS)
def test_conversation(name: str) -> None:
    steps = _SCRIPTS[name]
    customer = Customer(order=tuple(steps[0].get("order", ())))
    for number, step in enumerate(steps, start=1):
        where = f"{name}, text {number}"
        if "open" in step:
            outcome = _opened(customer, step["open"])
        elif "until" in step:
            outcome = _answered(customer, step)
        else:
            flags = {key: step[key] for key in ("media", "place", "held", "later") if key in step}
            outcome = customer.text(str(step["me"]), **flags)
        _held(customer, outcome, step, where)
    for case_id, rows in customer.kept.events.items():
        fresh = Dialogue(customer.kept.opener)
        replay(fresh, [row.event for row in rows])
        live = customer.kept.live[case_id]
        assert fresh.scene == live.scene, name
        assert fresh.diagnosis.belief() == live.diagnosis.belief(), name
        assert fresh.diagnosis.steps == live.diagnosis.steps, name
