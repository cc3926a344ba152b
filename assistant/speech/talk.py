"""Speaking and listening at once: the voice is played, and speech over it cuts it off.

``Talk`` joins a microphone, a loudspeaker, a voice and an ear. It runs in one thread: the
microphone is read while the loudspeaker plays.
"""

from __future__ import annotations

import time
from collections import deque
from typing import TYPE_CHECKING, Final, Protocol

import numpy as np

from assistant.speech.edges import (
    FRAME,
    Began,
    EchoGate,
    Edge,
    Ended,
    NoiseFloor,
    SpeechEdges,
    VoiceGate,
    frames_of,
    level_db,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.speech.audio import Samples, Sound
    from assistant.speech.events import Heard, Recogniser
    from assistant.speech.voice import Voice

__all__ = ["Gate", "SoundIn", "SoundOut", "Talk"]

_POLL_S: Final = 0.1


class SoundIn(Protocol):
    """What ``Talk`` needs of a microphone."""

    def read(self, timeout_s: float | None = None) -> Samples | None:
        """Give the next block of 16 kHz samples, or None when none comes in time."""
        ...


class SoundOut(Protocol):
    """What ``Talk`` needs of a loudspeaker."""

    @property
    def playing(self) -> bool:
        """Whether sound still comes out."""
        ...

    def play(self, sound: Sound) -> object:
        """Start playing and come back at once."""
        ...

    def stop(self) -> None:
        """Cut off what is played."""
        ...


class Gate(Protocol):
    """Tells speech from other sound, frame by frame."""

    def voiced(self, frame: Samples) -> bool:
        """Tell whether ``frame`` is speech."""
        ...


class Talk:
    """One conversation by voice.

    ``barge_in`` switches cutting off by speech; without it the microphone is not listened to
    while the voice plays. ``clock`` gives seconds that only go forward.
    """

    def __init__(
        self,
        *,
        ear: Recogniser,
        voice: Voice,
        microphone: SoundIn,
        loudspeaker: SoundOut,
        gate: Gate | None = None,
        edges: SpeechEdges | None = None,
        echo: EchoGate | None = None,
        barge_in: bool = True,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._ear = ear
        self._voice = voice
        self._microphone = microphone
        self._loudspeaker = loudspeaker
        self._gate = gate or VoiceGate()
        self._edges = edges or SpeechEdges()
        self._echo = echo or EchoGate()
        self._floor = NoiseFloor()
        self._barge_in = barge_in
        self._clock = clock
        self._rest: Samples | None = None
        self._waiting: deque[Edge] = deque()

    def say(self, text: str, *, slow: bool = False, can_be_cut: bool = True) -> bool:
        """Say ``text``; tell whether it was said to its end.

        Speech over it cuts it off unless ``can_be_cut`` is False, as for cautions, or barge-in
        is off. What cut it off is kept: the next ``listen`` hears it from its first sound.
        """
        sound = self._voice.render(text, slow=slow)
        if not len(sound.samples):
            return True
        self._loudspeaker.play(sound)
        while self._loudspeaker.playing:
            block = self._microphone.read(_POLL_S)
            if block is None or not (self._barge_in and can_be_cut):
                continue
            self._take(block, playing=True)
            if any(isinstance(edge, Began) for edge in self._waiting):
                self._loudspeaker.stop()
                return False
        return True

    def listen(self, grammar: str, *, patience_s: float) -> Heard | None:
        """Wait for speech and hear it; None when none began within ``patience_s`` seconds."""
        stream = self._ear.begin(grammar)
        until = self._clock() + patience_s
        began = False
        while True:
            while self._waiting:
                edge = self._waiting.popleft()
                if isinstance(edge, Ended):
                    return stream.finish()
                began = True
                stream.feed(edge.samples)
            if not began and self._clock() >= until:
                return None
            block = self._microphone.read(_POLL_S)
            if block is not None:
                self._take(block, playing=False)
            elif began and self._clock() >= until + patience_s:
                self._waiting.extend(self._edges.finish())  # the microphone has gone silent

    def _take(self, block: Samples, *, playing: bool) -> None:
        """Cut a block of the microphone in frames and run them through the edges."""
        if self._rest is not None:
            block = np.concatenate([self._rest, block])
        whole = len(block) // FRAME * FRAME
        self._rest = block[whole:] if whole < len(block) else None
        for frame in frames_of(block[:whole]):
            level = level_db(frame)
            loud = self._floor.stands_out(level)
            passes = self._echo.passes(level, playing=playing)
            voiced = loud and passes and self._gate.voiced(frame)
            self._waiting.extend(self._edges.step(frame, voiced=voiced, playing=playing))
