"""Filter bank features as Kaldi computes them, with numpy: what the second network hears.

Forty mel bands from 20 to 7600 Hz of 25 ms frames every 10 ms at 16 kHz, samples in the range of
int16, logarithm of the power; the steps are those of Kaldi's feature documentation. The recipe has
the same for batches on a GPU (``acoustic.features``), with these tables.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Final

import numpy as np

from assistant.speech.audio import EAR_RATE, Samples

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = [
    "BANDS",
    "EMPHASIS",
    "FFT",
    "FLOOR",
    "FRAME",
    "HOP",
    "filter_bank",
    "triangles",
    "window",
]

BANDS: Final = 40
FRAME: Final = EAR_RATE // 40
HOP: Final = EAR_RATE // 100
FFT: Final = 512
_LOW: Final = 20.0
_HIGH: Final = 7600.0
EMPHASIS: Final = 0.97
FLOOR: Final = 1.1920929e-07


@cache
def triangles() -> NDArray[np.float32]:
    """Give the weights of the bands, spectrum bins x bands."""
    low, high = (1127.0 * np.log(1.0 + hertz / 700.0) for hertz in (_LOW, _HIGH))
    step = (high - low) / (BANDS + 1)
    heard = 1127.0 * np.log(1.0 + EAR_RATE / FFT * np.arange(FFT // 2 + 1) / 700.0)
    middles = low + step * (1 + np.arange(BANDS))
    weights = np.maximum(0.0, 1.0 - np.abs(heard[:, None] - middles) / step)
    weights[-1] = 0.0
    made: NDArray[np.float32] = weights.astype(np.float32)
    return made


@cache
def window() -> NDArray[np.float32]:
    """Give the window of a frame: Hann's to the power 0.85."""
    made: NDArray[np.float32] = (np.hanning(FRAME) ** 0.85).astype(np.float32)
    return made


def filter_bank(sound: Samples) -> NDArray[np.float32]:
    """Give features, whole frames x 40; none for a sound shorter than a frame."""
    if len(sound) < FRAME:
        return np.zeros((0, BANDS), dtype=np.float32)
    plain = np.asarray(sound, dtype=np.float32)
    frames = np.lib.stride_tricks.sliding_window_view(plain, FRAME)[::HOP]
    cut = frames - frames.mean(1, keepdims=True)
    before = np.concatenate([cut[:, :1], cut[:, :-1]], axis=1)
    cut = (cut - np.float32(EMPHASIS) * before) * window()
    spectrum = np.fft.rfft(cut, FFT)
    power = np.square(spectrum.real) + np.square(spectrum.imag)
    bands = power.astype(np.float32) @ triangles()
    logs: NDArray[np.float32] = np.log(np.maximum(bands, np.float32(FLOOR)))
    return logs
