"""Drives a dialogue over the toy diagnosis."""

from __future__ import annotations

from typing import TYPE_CHECKING

from toy_diagnosis import LEXICON, ToyDiagnosis, sound

from assistant.conversation.dialogue import Dialogue
from assistant.conversation.events import (
    AskCaution,
    AskCheck,
    AskConfirm,
    Complain,
    GiveVerdict,
    Opened,
    Park,
    Say,
    Store,
    Typed,
)
from assistant.knowledge.schema import Complaint, Installation

if TYPE_CHECKING:
    from assistant.conversation.events import Action, Channel, Given
    from assistant.conversation.table import State
    from assistant.readings.reading import Reading

ASKS = (AskCaution, AskCheck, AskConfirm, GiveVerdict, Complain, Park, Say)


def fresh() -> Dialogue:
    """A dialogue over the toy, not opened yet."""
    return Dialogue(lambda o: ToyDiagnosis(o.installation, o.complaint), lambda _: LEXICON, sound)


class Talk:
    """Drives a dialogue with typed words and remembers what was answered."""

    def __init__(self, channel: Channel = "typed") -> None:
        self.dialogue = fresh()
        self.stored = []
        self.give(
            Opened(
                installation=Installation(),
                complaint=Complaint(symptom="protects"),
                channel=channel,
            )
        )

    def give(self, event: Given) -> Action | None:
        actions = self.dialogue.handle(event)
        assert isinstance(actions[0], Store)
        self.stored.append(actions[0].event)
        self.answer = [a for a in actions if isinstance(a, ASKS)]
        return self.answer[-1] if self.answer else None

    def type(self, *texts: str) -> Action | None:
        for text in texts:
            last = self.give(Typed(text=text))
        return last

    @property
    def state(self) -> State:
        return self.dialogue.state

    @property
    def check(self) -> str | None:
        step = self.dialogue.scene.step
        return None if step is None else step.check.id

    @property
    def readings(self) -> list[tuple[str, Reading]]:
        steps = self.dialogue.diagnosis.steps
        return [(s.check.id, s.reading) for s in steps if s.kind == "reading"]
