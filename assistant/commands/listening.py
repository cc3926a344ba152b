"""Between the speech house and the dialogue: what was heard becomes an event."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from assistant.conversation.events import Alternative, Heard

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from assistant.settings import Settings
    from assistant.speech.events import Heard as SpeechHeard

__all__ = ["file_ear", "heard_event"]

_OTHER_WORDS: Final = "[other words]"
"""Stands for what the recogniser explains better by words of no grammar; it parses as nothing."""


def heard_event(heard: SpeechHeard) -> Heard:
    """Give what an ear heard as an event; weights are relative to the best phrase.

    Silence has no alternatives. Words outside the grammar stand beside the phrases with their own
    weight, so that a noise that only just sounds like a phrase is refused.
    """
    scored = [(found.text, found.score) for found in heard.hypotheses]
    if heard.other_words is not None:
        scored.append((_OTHER_WORDS, heard.other_words))
    elif heard.kind == "other_words":
        scored.append((_OTHER_WORDS, 0.0))
    top = max((score for _, score in scored), default=0.0)
    return Heard(
        alternatives=tuple(
            Alternative(text=text, weight=math.exp(score - top)) for text, score in scored
        )
    )


def file_ear(settings: Settings | None = None) -> Callable[[Path, str], Heard]:
    """Give an ear for sound files; raise ``GivenError`` where no recogniser can be loaded."""
    from assistant.speech.audio import read_sound
    from assistant.speech.ear import open_ear

    ear = open_ear(settings)

    def hear(path: Path, grammar: str) -> Heard:
        stream = ear.begin(grammar)
        stream.feed(read_sound(path).samples)
        return heard_event(stream.finish())

    return hear
