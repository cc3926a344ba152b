"""Pieces of noise out of recordings: repeated, cut into parts, or of several short sounds."""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from importlib import import_module
from typing import IO, TYPE_CHECKING, Final

import numpy as np
from scipy.signal import butter, sosfilt

from assistant.speech.acoustic.clips import at_rate

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from numpy.typing import NDArray

__all__ = ["RATE", "Piece", "cleaned", "filled", "in_a_row", "parts_of", "read_sound", "trimmed"]

RATE: Final = 16_000
"""Samples a second of every piece."""

_LONGEST: Final = 8 * RATE
_SHORT: Final = 2 * RATE
_WHOLE: Final = 18 * RATE
_PART: Final = 14 * RATE
_SMALL_PART: Final = 12 * RATE
_FADE: Final = RATE // 50
_QUIET: Final = 1e-4


@dataclass(frozen=True, slots=True)
class Piece:
    """A noise of 2 to 18 s at 16 kHz, its licence, where it comes from and who made it."""

    name: str
    samples: NDArray[np.float64]
    licence: str
    source: str
    holders: str = ""


def read_sound(sound: Path | IO[bytes]) -> NDArray[np.float64]:
    """Read a sound file as one channel at 16 kHz."""
    given = sound if hasattr(sound, "read") else str(sound)
    samples, rate = import_module("soundfile").read(given, always_2d=True)
    return at_rate(samples.mean(1), rate)


def filled(samples: NDArray[np.float64], seed: int) -> NDArray[np.float64]:
    """Cut what is long to 8 s; repeat what is short, louder and fainter, with pauses, for 5 s."""
    sound = trimmed(samples)[:_LONGEST]
    if len(sound) >= _SHORT:
        return sound
    return _in_turn([sound], 5 * RATE, np.random.default_rng(seed), pauses=(0.1, 0.8))


def _in_turn(
    sounds: Sequence[NDArray[np.float64]],
    length: int,
    rng: np.random.Generator,
    *,
    pauses: tuple[float, float] | None,
) -> NDArray[np.float64]:
    """Draw sounds until ``length`` is full, louder and fainter, with pauses (s), or as they are."""
    out, at = np.zeros(length), 0
    while at < length:
        sound = sounds[int(rng.integers(len(sounds)))]
        part = sound[: length - at]
        out[at : at + len(part)] += part * (rng.uniform(0.4, 1.0) if pauses else 1.0)
        at += len(sound) + (int(rng.uniform(*pauses) * RATE) if pauses else 0)
    return out


def trimmed(samples: NDArray[np.float64]) -> NDArray[np.float64]:
    """Take the quiet from both ends; nothing is left of a silent sound."""
    if not len(samples) or np.abs(samples).max() < _QUIET:
        return samples[:0]
    loud = np.flatnonzero(np.abs(samples) > 0.003 * np.abs(samples).max())
    return samples[loud[0] : loud[-1] + 1]


def cleaned(samples: NDArray[np.float64]) -> NDArray[np.float64]:
    """Take away what is constant and what is below 50 Hz, which no phone's microphone gives."""
    sections = butter(2, 50, "highpass", fs=RATE, output="sos")
    return np.asarray(sosfilt(sections, samples - samples.mean()))


def parts_of(samples: NDArray[np.float64], most: int) -> list[NDArray[np.float64]]:
    """Give a sound whole up to 18 s; else at most ``most`` parts, spread over its length.

    Parts last 14 s, or 12 s where two of 14 s would not fit or only one or two are asked for.
    Their ends are faded over a fiftieth of a second.
    """
    if len(samples) <= _WHOLE:
        return [samples]
    length = _PART if most > 2 and len(samples) >= 2 * _PART else _SMALL_PART
    count = min(most, len(samples) // length)
    room = len(samples) - length
    starts = np.linspace(0, room, count).astype(int) if count > 1 else [room // 2]
    ramp = np.ones(length)
    ramp[:_FADE] = np.linspace(0, 1, _FADE)
    ramp[-_FADE:] = np.linspace(1, 0, _FADE)
    return [samples[start : start + length] * ramp for start in starts]


def in_a_row(
    sounds: Sequence[NDArray[np.float64]], name: str, *, seconds: float, pauses: bool
) -> NDArray[np.float64]:
    """Draw from the sounds, one after the other, until ``seconds`` are full.

    With pauses they are louder and fainter; without, a loop goes on as it is. The draw depends on
    the name only.
    """
    rng = np.random.default_rng(zlib.crc32(name.encode("utf-8")))
    gaps = (0.05, 0.45) if pauses else None
    return _in_turn(sounds, int(seconds * RATE), rng, pauses=gaps)
