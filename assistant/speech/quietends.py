"""Quiet before and after speech, kept from a recogniser: it is a good part of what a stream holds.

Ahead of speech all is held back that is hardly louder than a room at rest, after it what is 30 dB
below the loudest so far. Of either ``KEPT`` frames go on, which also spares the noise that is else
put around a sound; quiet between words goes on when speech does. In loud noise nothing is held.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from assistant.speech.audio import EAR_RATE, Samples

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["FRAME", "KEPT", "QUIET", "QuietEnds"]

FRAME: Final = EAR_RATE // 100
KEPT: Final = 20
"""Frames of 10 ms of quiet that are kept around speech."""
QUIET: Final = 1e-3
"""Power, against that of the loudest frame, below which a frame is quiet: 30 dB."""
_AT_REST: Final = 40.0**2


class QuietEnds:
    """Lets a stream through without its quiet ends; the same for any size of blocks."""

    def __init__(self) -> None:
        self._cut: Samples = np.zeros(0, dtype=np.int16)
        self._held: Samples = np.zeros(0, dtype=np.int16)
        self._loudest = 0.0
        self._begun = False
        self.begins_in_quiet = False
        self.ends_in_quiet = False

    def take(self, pcm: Samples) -> Samples:
        """Take more sound; give what may go on, often nothing."""
        self._cut = np.concatenate([self._cut, pcm])
        whole = len(self._cut) // FRAME * FRAME
        sound, self._cut = self._cut[:whole], self._cut[whole:]
        power: NDArray[Any] = np.mean(np.square(sound.reshape(-1, FRAME), dtype=np.float64), axis=1)
        if not self._begun:
            loud = np.flatnonzero(power > _AT_REST)
            if not len(loud):
                self._held = np.concatenate([self._held, sound])[-KEPT * FRAME :]
                return sound[:0]
            self._begun = True
            ahead = np.concatenate([self._held, sound[: loud[0] * FRAME]])[-KEPT * FRAME :]
            self.begins_in_quiet = len(ahead) == KEPT * FRAME
            sound, power = sound[loud[0] * FRAME :], power[loud[0] :]
            self._held = ahead
        peaks = np.maximum.accumulate(np.concatenate([[self._loudest], power]))[1:]
        self._loudest = float(max(self._loudest, power.max(initial=0.0)))
        loud = np.flatnonzero(power > QUIET * peaks)
        if not len(loud):
            self._held = np.concatenate([self._held, sound])
            return sound[:0]
        last = (int(loud[-1]) + 1) * FRAME
        gone = np.concatenate([self._held, sound[:last]])
        self._held = sound[last:]
        return gone

    def rest(self) -> Samples:
        """Give what goes on at the end of the stream."""
        if not self._begun:
            return self._held[:0]
        ahead = self._held[: KEPT * FRAME]
        self.ends_in_quiet = len(ahead) == KEPT * FRAME
        return ahead if self.ends_in_quiet else np.concatenate([ahead, self._cut])
