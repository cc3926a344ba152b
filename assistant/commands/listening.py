"""Between the speech house and the dialogue: what was heard becomes an event.

Here a microphone, a loudspeaker and a voice are opened, for a case and for a lesson alike.
"""

from __future__ import annotations

import math
from contextlib import contextmanager
from typing import TYPE_CHECKING, Final

from assistant.conversation.events import Alternative, Heard
from assistant.readings.fusion import FusionSettings

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from assistant.settings import Settings
    from assistant.speech.events import Heard as SpeechHeard
    from assistant.speech.events import Recogniser
    from assistant.speech.talk import Talk

__all__ = ["file_ear", "heard_event", "open_talk"]

_ASKED: Final = 0.9 * FusionSettings().behind
"""How far other words may be ahead of a phrase, as natural logarithm, for it to be asked back."""
_OTHER_WORDS: Final = "[other words]"
"""Stands for what the recogniser explains better by words of no grammar; it parses as nothing."""


def heard_event(heard: SpeechHeard) -> Heard:
    """Give what an ear heard as an event; weights are relative to the best phrase.

    Silence has no alternatives. Words outside the grammar stand beside the phrases with their own
    weight, so that a noise that only just sounds like a phrase is refused. What the ear gives all
    the same, however far behind them, is to be asked back.
    """
    scored = [(found.text, found.score) for found in heard.hypotheses]
    if heard.other_words is not None:
        most = scored[0][1] + _ASKED if scored else math.inf
        scored.append((_OTHER_WORDS, min(heard.other_words, most)))
    elif heard.kind == "other_words":
        scored.append((_OTHER_WORDS, 0.0))
    top = max((score for _, score in scored), default=0.0)
    return Heard(
        alternatives=tuple(
            Alternative(text=text, weight=math.exp(score - top)) for text, score in scored
        )
    )


@contextmanager
def open_talk(
    settings: Settings, *, ear: Recogniser, note: Callable[[str], None]
) -> Iterator[Talk]:
    """Open microphone, loudspeaker and voice, and close them at the end.

    Where there is no speech engine, ``note`` is told and what would be said is printed. Raises
    ``GivenError`` where there is no sound card.
    """
    from assistant.speech.devices import Loudspeaker, Microphone
    from assistant.speech.talk import Talk
    from assistant.speech.voice import NoVoiceError, SilentVoice, Voice, open_voice

    try:
        voice: Voice = open_voice(wanted=settings.voice == "on", rate=settings.voice_rate)
    except NoVoiceError as error:
        note(f"No voice: {error}")
        voice = SilentVoice()
    try:
        with Microphone() as microphone:
            yield Talk(ear=ear, voice=voice, microphone=microphone, loudspeaker=Loudspeaker())
    finally:
        voice.close()


def file_ear(
    settings: Settings | None = None, *, ear: Recogniser | None = None
) -> Callable[[Path, str], Heard]:
    """Give an ear for sound files, ``ear`` or that of the settings.

    Raises ``GivenError`` where no recogniser can be loaded.
    """
    from assistant.speech.audio import read_sound
    from assistant.speech.ear import open_ear

    listening = ear or open_ear(settings)

    def hear(path: Path, grammar: str) -> Heard:
        stream = listening.begin(grammar)
        stream.feed(read_sound(path).samples)
        return heard_event(stream.finish())

    return hear
