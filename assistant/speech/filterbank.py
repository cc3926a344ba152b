"""Filter bank features as Kaldi computes them, with numpy: what the second network hears.

Forty mel bands from 20 to 7600 Hz of 25 ms frames every 10 ms at 16 kHz, samples in the range of
int16, logarithm of the power; the steps are those of Kaldi's feature documentation. The recipe has
the same for batches on a GPU (``acoustic.features``).
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Final

import numpy as np

from assistant.speech.audio import EAR_RATE, Samples

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["filter_bank"]

_BANDS: Final = 40
_FRAME: Final = EAR_RATE // 40
_HOP: Final = EAR_RATE // 100
_FFT: Final = 512
_LOW: Final = 20.0
_HIGH: Final = 7600.0
_EMPHASIS: Final = 0.97
_FLOOR: Final = 1.1920929e-07


@cache
def _triangles() -> NDArray[np.float32]:
    """Weights of the bands, spectrum bins x bands."""
    low, high = (1127.0 * np.log(1.0 + hertz / 700.0) for hertz in (_LOW, _HIGH))
    step = (high - low) / (_BANDS + 1)
    heard = 1127.0 * np.log(1.0 + EAR_RATE / _FFT * np.arange(_FFT // 2 + 1) / 700.0)
    middles = low + step * (1 + np.arange(_BANDS))
    weights = np.maximum(0.0, 1.0 - np.abs(heard[:, None] - middles) / step)
    weights[-1] = 0.0
    made: NDArray[np.float32] = weights.astype(np.float32)
    return made


@cache
def _window() -> NDArray[np.float32]:
    made: NDArray[np.float32] = (np.hanning(_FRAME) ** 0.85).astype(np.float32)
    return made


def filter_bank(sound: Samples) -> NDArray[np.float32]:
    """Give features, whole frames x 40; none for a sound shorter than a frame."""
    if len(sound) < _FRAME:
        return np.zeros((0, _BANDS), dtype=np.float32)
    plain = np.asarray(sound, dtype=np.float32)
    frames = np.lib.stride_tricks.sliding_window_view(plain, _FRAME)[::_HOP]
    cut = frames - frames.mean(1, keepdims=True)
    before = np.concatenate([cut[:, :1], cut[:, :-1]], axis=1)
    cut = (cut - np.float32(_EMPHASIS) * before) * _window()
    spectrum = np.fft.rfft(cut, _FFT)
    power = np.square(spectrum.real) + np.square(spectrum.imag)
    bands = power.astype(np.float32) @ _triangles()
    logs: NDArray[np.float32] = np.log(np.maximum(bands, np.float32(_FLOOR)))
    return logs
