"""Says a lesson aloud: cautions, readings and hints. What the trainee wants is still typed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.diagnosis.records import NextCheck
from assistant.lessons.events import (
    Answered,
    Cautioned,
    GivenUp,
    Hinted,
    Listed,
    Noted,
    RepairDone,
    RepairsListed,
    SwitchedOff,
)
from assistant.readings.readback import read_back

if TYPE_CHECKING:
    from assistant.lessons.events import Action
    from assistant.lessons.lesson import Lesson
    from assistant.settings import Settings
    from assistant.speech.devices import Loudspeaker
    from assistant.speech.voice import Voice

__all__ = ["Speaker", "open_aloud", "spoken_action"]


def spoken_action(action: Action, lesson: Lesson) -> str:  # noqa: PLR0911 - one arm an action
    """Give what is said of an action; lists and notes are only shown."""
    match action:
        case Cautioned(entry=entry, cautions=cautions):
            return " ".join([entry.check.spoken, *(caution.text for caution in cautions)])
        case Answered(turn=turn, danger=danger):
            said = "" if turn.reading is None else f"{read_back(turn.reading)}."
            return said if danger is None else f"{said} The circuit was still on. {danger.text}"
        case SwitchedOff():
            return "Everything is off."
        case Hinted(step=step):
            if isinstance(step, NextCheck):
                return f"I would check: {step.check.name}."
            return f"I would repair now. {lesson.repairs[step.repair].words}"
        case RepairDone(ended=ended, turn=turn):
            if ended:
                return "The trouble is gone."
            return "Something was put right, but not all." if turn.mended else "That did not help."
        case GivenUp(faults=faults):
            words = (lesson.faults[name].words for name in faults if name in lesson.faults)
            return f"It was this: {' and '.join(words)}."
        case Noted() | Listed() | RepairsListed():
            return ""


class Speaker:
    """Renders and plays; waits for the end of each text."""

    def __init__(self, voice: Voice, loudspeaker: Loudspeaker, lesson: Lesson) -> None:
        self._voice = voice
        self._loudspeaker = loudspeaker
        self._lesson = lesson

    def tell(self, action: Action) -> None:
        """Say an action."""
        self.say(spoken_action(action, self._lesson))

    def say(self, text: str) -> None:
        """Say a text to its end."""
        sound = self._voice.render(text)
        if len(sound.samples):
            self._loudspeaker.play(sound).wait()

    def close(self) -> None:
        """Let go of the voice and the loudspeaker."""
        self._loudspeaker.stop()
        self._voice.close()


def open_aloud(settings: Settings, lesson: Lesson) -> Speaker:
    """Open voice and loudspeaker; raise ``GivenError`` where there is no speech engine."""
    from assistant.speech.devices import Loudspeaker
    from assistant.speech.voice import open_voice

    voice = open_voice(wanted=True, rate=settings.voice_rate)
    return Speaker(voice, Loudspeaker(), lesson)
