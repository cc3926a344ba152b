"""How near Kokoro in torch comes to onnxruntime, which also rounds what flows between layers."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import torch

from assistant.speech.acoustic.kokoro import FRAME, Kokoro, read_weights

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from assistant.speech.acoustic.chorus import Voices
    from assistant.speech.acoustic.spelled import Line

__all__ = ["compared"]

_FLOOR: Final = 1e-4
_SIZE: Final = 512


def _bands(sound: Any) -> Any:
    """Log spectra in 64 bands: steps x bands."""
    steps = np.lib.stride_tricks.sliding_window_view(sound, _SIZE)[:: _SIZE // 2]
    strength = np.abs(np.fft.rfft(steps * np.hanning(_SIZE)))[:, : _SIZE // 2]
    return np.log(strength.reshape(len(steps), 64, -1).mean(2) + _FLOOR)


def compared(
    model: Path, lines: Sequence[Line], voices: Voices, seed: int = 1
) -> Iterator[tuple[str, int, int, float]]:
    """Say lines both ways; give words, frames of both, correlation of their log spectra.

    onnxruntime rounds the inputs of its layers to 8 bits, so a sound may last a frame more or
    less, and spectra are compared over what both have.
    """
    session = import_module("onnxruntime").InferenceSession(
        str(model), providers=["CPUExecutionProvider"]
    )
    net = Kokoro(read_weights(model))
    rng = np.random.default_rng(seed)
    for line in lines:
        _, accent, style = voices.blend(rng, len(line.american))
        sounds = line.american if accent == "a" else line.british
        tokens = np.array([[0, *sounds, 0]], dtype=np.int64)
        speed = np.ones(1, np.float32)
        fed = {"tokens": tokens, "style": style[None], "speed": speed}
        theirs = np.asarray(session.run(None, fed)[0]).ravel()
        with torch.no_grad():
            ready = net.encode(*(torch.from_numpy(fed[name]) for name in fed))
            ours = net.decode(ready)[0].numpy()
        both = min(len(ours), len(theirs))
        near = np.corrcoef(_bands(ours[:both]).ravel(), _bands(theirs[:both]).ravel())[0, 1]
        yield line.words, len(ours) // FRAME, len(theirs) // FRAME, float(near)
