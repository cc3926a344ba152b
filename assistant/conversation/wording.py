"""Makes the sentences of the dialogue from phrases, cautions, prompts and the belief."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from assistant.conversation.events import (
    Asked,
    Channel,
    Event,
    Mismatched,
    NotUnderstood,
    Told,
    Understood,
    Unsure,
)
from assistant.conversation.phrases import Phrasebook
from assistant.readings.readback import contrast, contrast_typed, read_back, read_back_typed
from assistant.readings.reading import Reading, Value

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.conversation.lexicon import Lexicon
    from assistant.conversation.scene import Pending
    from assistant.diagnosis.records import Belief, Diagnosing, NextCheck, Step, Verdict

__all__ = ["Wording"]

_COMMANDS: Final = (
    "repeat", "slower", "back", "undo", "correct", "skip", "cannot", "why", "status", "safety",
    "help", "stop",
)  # fmt: skip
_SHOWN: Final = 3
_UNLIKELY: Final = 0.02


class Wording:
    """The sentences for one channel and one installation."""

    def __init__(self, channel: Channel, lexicon: Lexicon) -> None:
        self.book = Phrasebook(channel)
        self.lexicon = lexicon
        self._spoken = channel == "voice"
        self._machine = channel == "machine"

    def reading(self, reading: Reading) -> str:
        """Give a reading in words for the ear, in figures for the eye."""
        return read_back(reading) if self._spoken else read_back_typed(reading)

    def check(self, step: NextCheck, *, reminders: Sequence[str] = ()) -> str:
        """Give the prompt of a check: what must be said first, reminders, the prompt itself."""
        parts = list(step.notes)
        if step.recheck and not step.notes:
            parts.append(self.book.say("recheck"))
        if reminders and not self._machine:
            short = "; ".join(self.lexicon.short(c) for c in reminders)
            parts.append(self.book.say("reminder", cautions=short))
        parts.append(step.check.spoken if self._spoken else step.check.typed)
        return " ".join(parts)

    def prompt(self, step: NextCheck) -> str:
        """Give the bare prompt of a check."""
        return step.check.spoken if self._spoken else step.check.typed

    def cautions(self, caution_ids: Sequence[str]) -> tuple[str, ...]:
        """Give the sentences of cautions."""
        return tuple(self.lexicon.caution(c) for c in caution_ids)

    def noted(self, told: Sequence[Told], diagnosis: Diagnosing, step: NextCheck | None) -> str:
        """Read back what was taken; a reading for another check than ``step`` is named."""
        if len(told) == 1 and step is not None and told[0].check == step.check.id:
            return self._heard(self.reading(told[0].reading))
        named = [
            self.book.say(
                "heard_for",
                name=diagnosis.checks[t.check].name,
                reading=self.reading(t.reading),
            )
            for t in told
        ]
        return self._heard(self.book.say("and").join(named))

    def _heard(self, readings: str) -> str:
        return _sentence(self.book.say("heard", readings=readings))

    def pending(self, pending: Pending, step: NextCheck) -> str:
        """Ask whether the pending reading, or which of them, is meant."""
        return _sentence(self._pending(pending, step))

    def _pending(self, pending: Pending, step: NextCheck) -> str:
        if len(pending.candidates) > 1:
            key = "which" if pending.reason == "which" else "contrast"
            return self.book.say(key, choices=self.choices(pending))
        reading = pending.candidates[0].reading
        asked = self.book.say(f"state_{step.check.do.vehicle}")
        if pending.vehicle is not None:
            told = self.book.say(f"state_{pending.vehicle}")
            return self.book.say(
                "confirm_state", reading=self._careful(reading), told=told, asked=asked
            )
        key = "confirm_surprising" if pending.reason == "surprising" else "confirm_plain"
        return self.book.say(key, reading=self._careful(reading))

    def choices(self, pending: Pending) -> str:
        """Set the candidates off against each other."""
        readings = [told.reading for told in pending.candidates]
        return contrast(readings) if self._spoken else contrast_typed(readings)

    def _careful(self, reading: Reading) -> str:
        if self._spoken and isinstance(reading, Value):
            return f"{read_back(reading)}, {read_back(reading, 'digits')}"
        return self.reading(reading)

    def answer(self, step: Step) -> str:
        """Name a step that was told: its check and answer, or the repair."""
        if step.check is None:
            return self.book.say("taken_back_repair")
        if step.reading is None:
            return self.book.say("taken_back_cannot", name=step.check.name)
        return self.book.say("heard_for", name=step.check.name, reading=self.reading(step.reading))

    def verdict(self, verdict: Verdict, *, settled: bool) -> str:
        """Tell what to repair first; a settled verdict only says how to go on."""
        if settled:
            return self.book.say("settled")
        repair = self.lexicon.repairs.get(verdict.repair)
        parts = [
            self.book.say(
                "verdict" if verdict.holds else "verdict_open",
                repair=self.lexicon.repair(verdict.repair),
                percent=_percent(verdict.probability),
            )
        ]
        if repair is not None and repair.beyond_user:
            parts.append(self.book.say("verdict_beyond", beyond=repair.beyond_user))
        if verdict.surer and not verdict.holds:
            parts.append(self.book.say("verdict_surer", surer=verdict.surer))
        return " ".join(parts)

    def suspects(self, belief: Belief) -> str:
        """Name the most probable faults with their probabilities."""
        named = [
            self.book.say("suspect", words=self.lexicon.fault(fault), percent=_percent(p))
            for fault, p in belief.faults[:_SHOWN]
            if p >= _UNLIKELY
        ]
        return "; ".join(named) if named else self.book.say("nothing_known")

    def why(self, step: NextCheck, belief: Belief) -> str:
        """Say why a check is asked: its time, what is in question, what is expected."""
        expect, expected = step.expect, ""
        if expect.low is not None and expect.high is not None and expect.unit is not None:
            low, high = (
                self.reading(Value(value=_three(v), unit=expect.unit))
                for v in (expect.low, expect.high)
            )
            expected = self.book.say("why_expect", low=low, high=high)
        said = self.book.say(
            "why", minutes=self._minutes(step.minutes), suspects=self.suspects(belief)
        )
        return f"{said} {expected}".strip()

    def status(self, steps: Sequence[Step], belief: Belief) -> str:
        """Say how far the case has come."""
        return self.book.say("status", count=str(len(steps)), suspects=self.suspects(belief))

    def meaning(self, event: Event, diagnosis: Diagnosing) -> str:
        """Put in words what a text was taken for, for people who read the casebook."""
        match event:
            case Understood(told=told) | Unsure(candidates=told) if told:
                readings = ", ".join(
                    f"{diagnosis.checks[t.check].id} {read_back_typed(t.reading)}" for t in told
                )
                return readings if isinstance(event, Understood) else f"asked back: {readings}"
            case Asked(command=command, argument=argument):
                return f"{command} {argument}".strip()
            case Mismatched():
                return "does not fit the check"
            case NotUnderstood():
                return "not understood"
            case _:
                return type(event).__name__.lower()

    def words(self) -> str:
        """List what can be said at any time."""
        return self.book.say("words", words=", ".join(self.book.word(c) for c in _COMMANDS))

    def _minutes(self, minutes: float) -> str:
        number = max(1, round(minutes))
        if number == 1:
            return self.book.say("minutes_one")
        return self.book.say("minutes_many", number=str(number))


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]


def _percent(probability: float) -> str:
    """Give whole percents, never 0 or 100, which no belief is."""
    return str(min(99, max(1, round(100 * probability))))


def _three(value: float) -> float:
    """Round to three significant figures, as a meter would show it."""
    return float(f"{value:.3g}")
