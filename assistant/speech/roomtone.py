"""What is done to the sound before a recogniser hears it: quiet noise, and how loud it is.

Speech that starts on the first sample, and runs of exact zeros, are unlike anything that a
recogniser was trained on. A fifth of a second of faint noise before and after, and a trace of it
throughout, mend that; tightly cut clips gain most. Speech that is much fainter than any in
training is misheard, so its level is measured.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from assistant.speech.audio import EAR_RATE, Samples

__all__ = ["Loudness", "RoomTone", "louder"]

_AROUND: Final = 0.2
_PAD_LEVEL: Final = 20.0
_TRACE_LEVEL: Final = 10.0
_FULL: Final = 32767
_SEED: Final = 20240
_BLOCK: Final = EAR_RATE // 50
_SILENT: Final = 20.0  # root mean square in 16-bit steps, -64 dB of full scale
_FAINT: Final = 300.0  # -41 dB
_PLAIN: Final = 3000.0


class RoomTone:
    """Noise for one stream; the same sound gets the same noise however it is cut in blocks.

    ``around`` is for how many seconds it lasts before and after the sound.
    """

    def __init__(self, around: float = _AROUND) -> None:
        self._pad = round(around * EAR_RATE)
        self._random = np.random.default_rng(_SEED)

    def before(self) -> Samples:
        """Noise to feed ahead of the sound."""
        return self._noise(self._pad, _PAD_LEVEL)

    def under(self, pcm: Samples) -> Samples:
        """Give the sound with a trace of noise."""
        mixed = pcm.astype(np.float32) + self._random.standard_normal(len(pcm)) * _TRACE_LEVEL
        return np.clip(mixed.round(), -_FULL, _FULL).astype(np.int16)

    def after(self) -> Samples:
        """Noise to feed behind the sound."""
        return self._noise(self._pad, _PAD_LEVEL)

    def _noise(self, count: int, level: float) -> Samples:
        return (self._random.standard_normal(count) * level).round().astype(np.int16)


class Loudness:
    """The loudest 20 ms of a stream, to tell that nothing was recorded at all, or too softly."""

    def __init__(self) -> None:
        self._loudest = 0.0

    def take(self, pcm: Samples) -> None:
        """Take more sound."""
        whole = len(pcm) // _BLOCK * _BLOCK
        for blocks in (pcm[:whole].reshape(-1, _BLOCK), pcm[whole:].reshape(1, -1)):
            if blocks.size:
                power = np.mean(blocks.astype(np.float32) ** 2, axis=1)
                self._loudest = max(self._loudest, float(np.sqrt(power.max())))

    @property
    def silent(self) -> bool:
        """Whether no block was loud enough to hold speech."""
        return self._loudest < _SILENT

    @property
    def gain(self) -> float:
        """What faint sound must be multiplied by to be as loud as plain speech; else 1."""
        return _PLAIN / self._loudest if not self.silent and self._loudest < _FAINT else 1.0


def louder(pcm: Samples, gain: float) -> Samples:
    """Give the sound multiplied by ``gain``."""
    raised: Samples = np.clip((pcm * np.float32(gain)).round(), -_FULL, _FULL).astype(np.int16)
    return raised
