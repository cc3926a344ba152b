"""Asking what a text would mean changes nothing, and says what handling it then takes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from assistant.conversation.events import Acknowledged, NotUnderstood, Opened, Typed, Understood
from assistant.errors import MisuseError
from assistant.knowledge.schema import Complaint, Installation

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.conversation.dialogue import Dialogue


def _opened(fresh: Callable[[], Dialogue]) -> Dialogue:
    dialogue = fresh()
    dialogue.handle(
        Opened(installation=Installation(), complaint=Complaint(symptom="protects"), channel="text")
    )
    dialogue.handle(Acknowledged())
    return dialogue


def test_meaning_of_a_text_changes_nothing(fresh_dialogue: Callable[[], Dialogue]) -> None:
    dialogue = _opened(fresh_dialogue)
    scene, steps = dialogue.scene, dialogue.diagnosis.steps
    for text in ("lit", "0.1 V", "undo", "rubbish", "", "no"):
        dialogue.meaning_of(text)
        assert dialogue.scene is scene
        assert dialogue.diagnosis.steps == steps


def test_meaning_of_a_text_is_what_is_taken(fresh_dialogue: Callable[[], Dialogue]) -> None:
    dialogue = _opened(fresh_dialogue)
    assert isinstance(dialogue.meaning_of("rubbish"), NotUnderstood)
    grammar = dialogue.grammar
    text = {"light": "lit", "volts": "0.1 V", "ohms": "OL"}[grammar]
    meant = dialogue.meaning_of(text)
    assert isinstance(meant, Understood)
    dialogue.handle(Typed(text=text))
    assert [step.reading for step in dialogue.diagnosis.steps] == [t.reading for t in meant.told]


def test_no_text_means_anything_before_a_case(fresh_dialogue: Callable[[], Dialogue]) -> None:
    with pytest.raises(MisuseError):
        fresh_dialogue().meaning_of("12.6")
