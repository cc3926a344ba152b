"""Filter bank features as Kaldi computes them, in torch, on any device.

40 mel bands from 20 to 7600 Hz of 25 ms frames every 10 ms at 16 kHz, samples in the range of
int16, logarithm of the power. The steps are those of Kaldi's feature documentation: mean taken
off each frame, pre-emphasis 0.97, a Hann window to the power 0.85, power spectrum, triangles on
the scale 1127 ln(1 + f/700). A test compares them with kaldi-native-fbank.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import torch

from assistant.speech.filterbank import BANDS, EMPHASIS, FFT, FLOOR, FRAME, HOP, triangles, window

__all__ = ["BANDS", "FRAME", "HOP", "fbank", "frame_count"]


@cache
def _tables(device: str) -> tuple[Any, Any]:
    """Give the weights of the bands, spectrum bins x bands, and the window, on a device."""
    return tuple(torch.from_numpy(table()).to(device) for table in (triangles, window))


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
    bands, shape = _tables(str(device))
    cut = (cut - EMPHASIS * before) * shape
    power = torch.fft.rfft(cut, FFT).abs().square()
    return (power @ bands).clamp(min=FLOOR).log()
