"""Filter bank features as Kaldi computes them, in torch, on any device.

40 mel bands from 20 to 7600 Hz of 25 ms frames every 10 ms at 16 kHz, samples in the range of
int16, logarithm of the power. The steps are those of Kaldi's feature documentation: mean taken
off each frame, pre-emphasis 0.97, a Hann window to the power 0.85, power spectrum, triangles on
the scale 1127 ln(1 + f/700). A test compares them with kaldi-native-fbank.
"""

from __future__ import annotations

import math
from functools import cache
from typing import Any, Final

import torch

__all__ = ["BANDS", "FRAME", "HOP", "fbank", "frame_count"]

RATE: Final = 16_000
BANDS: Final = 40
FRAME: Final = 400
HOP: Final = 160
_FFT: Final = 512
_LOW: Final = 20.0
_HIGH: Final = 7600.0
_EMPHASIS: Final = 0.97
_FLOOR: Final = 1.1920929e-07


def _mel(hertz: float) -> float:
    return 1127.0 * math.log(1.0 + hertz / 700.0)


@cache
def _triangles(device: str) -> Any:
    """Weights of the bands, spectrum bins x bands."""
    step = (_mel(_HIGH) - _mel(_LOW)) / (BANDS + 1)
    weights = torch.zeros(_FFT // 2 + 1, BANDS)
    for band in range(BANDS):
        left = _mel(_LOW) + band * step
        for spot in range(_FFT // 2):
            here = _mel(RATE / _FFT * spot)
            if left < here < left + 2 * step:
                away = abs(here - (left + step))
                weights[spot, band] = 1.0 - away / step
    return weights.to(device)


@cache
def _window(device: str) -> Any:
    turn = torch.arange(FRAME, dtype=torch.float64) * (2 * math.pi / (FRAME - 1))
    return (0.5 - 0.5 * torch.cos(turn)).pow(0.85).float().to(device)


def frame_count(samples: Any, hop: Any = float(HOP)) -> Any:
    """Give the number of whole frames in ``samples`` (a tensor or a number)."""
    return (samples - FRAME) // hop + 1


def fbank(waves: Any, hop: Any = None, frames: int | None = None) -> Any:
    """Give features, clips x frames x 40, of ``waves``, clips x samples.

    ``hop`` is a step in samples for each clip: other than 160 it changes the tempo and not the
    pitch. ``frames`` is how many to compute; frames past the end of a clip are of zeros.
    """
    clips, samples = waves.shape
    device = waves.device
    steps = torch.full((clips,), float(HOP), device=device) if hop is None else hop
    count = int(frame_count(samples)) if frames is None else frames
    starts = (torch.arange(count, device=device) * steps[:, None]).round().long()
    spots = starts[:, :, None] + torch.arange(FRAME, device=device)
    inside = spots < samples
    flat = spots.clamp(max=samples - 1).reshape(clips, -1)
    cut = waves.gather(1, flat).reshape(clips, count, FRAME) * inside
    cut = cut - cut.mean(-1, keepdim=True)
    before = torch.cat([cut[..., :1], cut[..., :-1]], -1)
    cut = (cut - _EMPHASIS * before) * _window(str(device))
    power = torch.fft.rfft(cut, _FFT).abs().square()
    return (power @ _triangles(str(device))).clamp(min=_FLOOR).log()
