"""Speech for the tests, spoken by the program's own voice; and small grammars."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from assistant.speech.audio import EAR_RATE, Samples, resample
from assistant.speech.voice import EngineVoice

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

sys.path.insert(0, str(Path(__file__).parent))  # for the reader of decoding graphs


@pytest.fixture(scope="session")
def voice() -> Iterator[EngineVoice]:
    engine = EngineVoice(rate=150)
    yield engine
    engine.close()


@pytest.fixture(scope="session")
def say(voice: EngineVoice) -> Callable[[str], Samples]:
    """Speak at 16 kHz with a quarter of a second of silence around it."""
    kept: dict[str, Samples] = {}

    def speak(text: str) -> Samples:
        if text not in kept:
            sound = voice.render(text)
            quiet = np.zeros(EAR_RATE // 4, dtype=np.int16)
            heard = resample(sound.samples, sound.rate, EAR_RATE)
            kept[text] = np.concatenate([quiet, heard, quiet])
        return kept[text]

    return speak
