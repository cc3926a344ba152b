"""Where speech begins and ends: a state machine over frames, without sound hardware.

A frame is 20 ms of 16 kHz samples with the gate's word whether it is voiced. Speech begins when
enough of the last frames were voiced, and what came just before is given with it, so that soft
first sounds are not lost. It ends after a pause, or when it has lasted too long.

While the program's own voice plays, the microphone hears it too. Then only sound clearly louder
than that echo counts, and it must last longer: that is barge-in.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np

from assistant.errors import MisuseError
from assistant.speech.audio import EAR_RATE, Samples
from assistant.speech.parts import need

__all__ = [
    "FRAME",
    "Began",
    "EchoGate",
    "Edge",
    "EdgeSettings",
    "Ended",
    "NoiseFloor",
    "Sounded",
    "SpeechEdges",
    "VoiceGate",
    "frames_of",
    "level_db",
]

FRAME_MS: Final = 20
_SILENCE_DB: Final = -80.0
FRAME: Final = EAR_RATE * FRAME_MS // 1000
"""Samples in a frame."""


@dataclass(frozen=True, slots=True)
class Began:
    """Speech began; ``samples`` are the sound so far, pre-roll and onset."""

    samples: Samples


@dataclass(frozen=True, slots=True)
class Sounded:
    """Speech goes on; ``samples`` are one frame of it."""

    samples: Samples


@dataclass(frozen=True, slots=True)
class Ended:
    """Speech ended, by a pause or (``cut``) because it lasted too long."""

    cut: bool


Edge: TypeAlias = Began | Sounded | Ended


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeSettings:
    """Times in milliseconds; each is rounded up to whole frames of 20 ms.

    ``onset_ms`` of voiced sound within ``window_ms`` begin speech; while the program's voice
    plays, ``barge_in_ms`` within ``barge_window_ms``. ``hangover_ms`` of pause end it: long
    enough for "twelve ... point six".
    """

    onset_ms: int = 80
    window_ms: int = 160
    barge_in_ms: int = 240
    barge_window_ms: int = 320
    pre_roll_ms: int = 300
    hangover_ms: int = 700
    longest_ms: int = 15_000


def _frames(milliseconds: int) -> int:
    return max(1, math.ceil(milliseconds / FRAME_MS))


class SpeechEdges:
    """The state machine: feed frames one by one, get edges."""

    def __init__(self, settings: EdgeSettings | None = None) -> None:
        self._settings = settings or EdgeSettings()
        longest_window = max(self._settings.window_ms, self._settings.barge_window_ms)
        self._kept: deque[Samples] = deque(
            maxlen=_frames(self._settings.pre_roll_ms) + _frames(longest_window)
        )
        self._votes: deque[bool] = deque(maxlen=_frames(longest_window))
        self._speaking = False
        self._pause = 0
        self._length = 0

    @property
    def speaking(self) -> bool:
        """Whether speech has begun and not ended."""
        return self._speaking

    def step(self, frame: Samples, *, voiced: bool, playing: bool = False) -> tuple[Edge, ...]:
        """Take one frame; give what began, went on or ended with it.

        ``playing`` tells that the program's own voice is heard now. Raises ``MisuseError`` when
        the frame is not of ``FRAME`` samples.
        """
        if len(frame) != FRAME:
            raise MisuseError(
                f"A frame has {FRAME} samples, not {len(frame)}.", next_step="Use frames_of."
            )
        if self._speaking:
            return self._go_on(frame, voiced=voiced)
        self._kept.append(frame)
        self._votes.append(voiced)
        if not self._begins(playing=playing):
            return ()
        self._speaking = True
        self._pause = 0
        sound = np.concatenate(list(self._kept))
        self._length = len(self._kept)
        self._kept.clear()
        self._votes.clear()
        return (Began(sound),)

    def finish(self) -> tuple[Edge, ...]:
        """End speech that still goes on, because the sound is over."""
        if not self._speaking:
            return ()
        self._speaking = False
        return (Ended(cut=False),)

    def _begins(self, *, playing: bool) -> bool:
        settings = self._settings
        window = _frames(settings.barge_window_ms if playing else settings.window_ms)
        needed = _frames(settings.barge_in_ms if playing else settings.onset_ms)
        return sum(list(self._votes)[-window:]) >= needed

    def _go_on(self, frame: Samples, *, voiced: bool) -> tuple[Edge, ...]:
        self._length += 1
        self._pause = 0 if voiced else self._pause + 1
        if self._pause >= _frames(self._settings.hangover_ms):
            self._speaking = False
            return (Sounded(frame), Ended(cut=False))
        if self._length >= _frames(self._settings.longest_ms):
            self._speaking = False
            return (Sounded(frame), Ended(cut=True))
        return (Sounded(frame),)


class EchoGate:
    """Tells the user's speech from the echo of the program's own voice by its level.

    While the voice plays, the loudest recent level is taken for the echo and falls by
    ``fall_db_s`` a second; sound must be ``above_db`` louder. Nothing passes in the first
    ``learn_ms`` of playing. It knows nothing of the signal itself: with a loud loudspeaker next to
    the microphone a headset is better, or barge-in is switched off.
    """

    def __init__(
        self, *, above_db: float = 6.0, fall_db_s: float = 3.0, learn_ms: int = 300
    ) -> None:
        self._above = above_db
        self._fall = fall_db_s * FRAME_MS / 1000
        self._learn = _frames(learn_ms)
        self._echo = -math.inf
        self._played = 0

    def passes(self, level: float, *, playing: bool) -> bool:
        """Tell whether a frame of ``level`` dB of full scale may be the user's."""
        if not playing:
            self._played = 0
            return True
        self._played += 1
        if self._played > self._learn and level > self._echo + self._above:
            return True  # not learnt: it is not the echo
        self._echo = max(self._echo - self._fall, level)
        return False


class NoiseFloor:
    """Tells what stands out of steady noise, as of an engine, by its level.

    The floor falls to the lowest recent level at once and rises by ``rise_db_s`` a second, so
    that it follows noise that grows and hardly moves while somebody speaks. A frame stands out
    that is ``above_db`` over it. The detector alone takes engines for speech.
    """

    def __init__(self, *, above_db: float = 4.0, rise_db_s: float = 3.0) -> None:
        self._above = above_db
        self._rise = rise_db_s * FRAME_MS / 1000
        self._floor = math.inf

    def stands_out(self, level: float) -> bool:
        """Tell whether a frame of ``level`` dB of full scale is louder than the noise."""
        quietest = max(level, _SILENCE_DB)
        self._floor = min(quietest, self._floor + self._rise)
        return level > self._floor + self._above


class VoiceGate:
    """Whether a frame holds speech, by WebRTC's detector; strictness from 0 to 3."""

    def __init__(self, strictness: int = 2) -> None:
        self._detector = need("webrtcvad").Vad(strictness)

    def voiced(self, frame: Samples) -> bool:
        """Tell whether ``frame`` (of ``FRAME`` samples) is speech."""
        return bool(self._detector.is_speech(frame.tobytes(), EAR_RATE))


def level_db(samples: Samples) -> float:
    """Level of ``samples`` in dB of full scale (a full-scale square wave is 0)."""
    if not len(samples):
        return -math.inf
    power = float(np.mean(samples.astype(np.float64) ** 2))
    return 10.0 * math.log10(power / 32768.0**2) if power > 0 else -math.inf


def frames_of(samples: Samples) -> list[Samples]:
    """Cut ``samples`` into whole frames; the last is filled with zeros."""
    count = math.ceil(len(samples) / FRAME)
    padded = np.zeros(count * FRAME, dtype=np.int16)
    padded[: len(samples)] = samples
    return list(padded.reshape(count, FRAME))
