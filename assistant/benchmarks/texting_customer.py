"""A customer with a practice car who answers by text, from what the messages say.

What a check wants is in the messages' words; what the meter then shows is worked out by the car.
The customer knows the check by going over the stored events of the case anew: so every answer is
also a trial of whether the replayed case asks what the message asked.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, Final

from assistant.commands.workplace import open_diagnosis
from assistant.conversation.dialogue import Dialogue, replay
from assistant.conversation.table import State
from assistant.errors import MisuseError
from assistant.practice.words import same_repair

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assistant.messaging.records import MessageStore
    from assistant.practice.scenario import Case

__all__ = ["TextingCustomer", "in_words", "replayed"]

_TROUBLE: Final[Mapping[str, str]] = {
    "protects": "my amp goes into protect",
    "will_not_turn_on": "my amp won't turn on",
    "no_sound": "amp is on but no sound at all",
    "silent_channel": "one speaker is dead",
    "noise": "there is a whine in my speakers",
    "cuts_out": "my amp cuts out",
    "too_hot": "my amp gets too hot",
}
_WHEN: Final[Mapping[str, str]] = {
    "always": "all the time",
    "accessory": "with the key on",
    "running": "with the engine running",
    "seconds_after_start": "a few seconds after start",
    "loud": "when it is loud",
    "warm": "when it is warm",
    "bumps": "over bumps",
    "cranking": "while cranking",
}
_SEEN: Final[Mapping[str, Mapping[str, str]]] = {
    "sound": {"yes": "plays", "no": "silent"},
    "noise": {"yes": "i hear it", "no": "none"},
    "warmth": {"too_hot": "too hot"},
}
_CHOICE: Final = re.compile(r"(\d+) = ([^,.?]+)")


def in_words(reading: Mapping[str, Any], quantity: str) -> str:
    """Write a reading of the car as a customer texts it."""
    if reading.get("open_line"):
        return "OL"
    if "beep" in reading:
        return "beeps" if reading["beep"] else "no beep"
    if reading.get("unstable"):
        return f"jumps around {reading['low']:g} to {reading['high']:g} {reading['unit']}"
    if "seen" in reading:
        seen = str(reading["seen"])
        return _SEEN.get(quantity, {}).get(seen, seen.replace("_", " "))
    return f"{reading['value']:g} {reading['unit']}"


def replayed(store: MessageStore, case_id: str) -> Dialogue:
    """Build the dialogue of a case from its stored events alone."""
    dialogue = Dialogue(open_diagnosis)
    replay(dialogue, [entry.event for entry in store.case_events(case_id)])
    return dialogue


class TextingCustomer:
    """Answers the messages of one case; ``asked`` counts how often each check was answered.

    ``store`` and ``number_id`` tell which check is open. Raises ``MisuseError`` for a message
    that no customer could answer.
    """

    def __init__(self, case: Case, store: MessageStore, number_id: str) -> None:
        self.case = case
        self.named: list[str] = []
        self.readings: list[tuple[str, str]] = []
        self._store = store
        self._number_id = number_id

    def first(self) -> str:
        """Write the first text: what is wrong, and when."""
        complaint = self.case.complaint
        when = " and ".join(_WHEN[each] for each in complaint.get("when", [])[:2])
        places = ", ".join(str(p).replace("_", " ") for p in complaint.get("where", []))
        words = [_TROUBLE[str(complaint["symptom"])], when, places]
        return " ".join(word for word in words if word)

    def answer(self, messages: Sequence[str]) -> str | None:
        """Answer the latest messages, read together; None when the case is at its end."""
        said = " ".join(messages)
        if "1 = fixed" in said:
            return self._repair()
        if "1 = understood" in said or "1 = right" in said:
            return "1"
        if "That is fixed" in said or "case is closed" in said:
            return None
        case_id = self._store.thread(self._number_id).thread.case_id
        if case_id is None:
            return self._intake(said)
        return self._measure(case_id, said)

    def _intake(self, said: str) -> str:
        given = self.case.given
        if "multimeter at hand" in said:
            return "1"
        if "How many channels" in said:
            return str(given.get("amplifier", {}).get("channels", 0))
        if "Which speakers" in said:
            parts = [
                f"{place.replace('_', ' ')} {speaker['nominal_ohms']:g} ohm"
                for place, speaker in given.get("speakers", {}).items()
                if "nominal_ohms" in speaker
            ]
            return ", ".join(parts) or "0"
        if "What feeds" in said:
            return "0"
        if "Power wire" in said:
            return "go"
        return "0"  # what is wrong, when, where: said in the first text as far as known

    def _measure(self, case_id: str, said: str) -> str:
        dialogue = replayed(self._store, case_id)
        step = dialogue.scene.step
        if dialogue.state is State.CAUTIONING:
            return "1"
        if step is None:
            raise MisuseError(f"No check is open at {said!r}.", next_step="Read the messages.")
        do = step.check.do.model_dump(mode="json")
        reading = self.case.car.answer(do, minutes=step.minutes)
        words = in_words(reading, str(do["quantity"]))
        self.readings.append((step.check.id, words))
        for number, label in _CHOICE.findall(said):
            if label.strip().lower() == words.lower():
                return str(number)
        return words

    def _repair(self) -> str:
        """Do the repair that was named, and tell what came of it."""
        case_id = self._store.thread(self._number_id).thread.case_id
        if case_id is None:
            raise MisuseError("A verdict without a case.", next_step="Read the messages.")
        verdict = replayed(self._store, case_id).scene.verdict
        if verdict is None:
            raise MisuseError("The replayed case has no verdict.", next_step="Read the events.")
        named = verdict.faults[0][0]
        self.named.append(named)
        self.case.car.mend(named)
        return "1" if self.case.car.works() else "2"

    @property
    def right(self) -> bool:
        """Whether the first verdict named work that mends a hidden fault."""
        return bool(self.named) and any(
            same_repair(self.named[0], fault) for fault in self.case.faults
        )
