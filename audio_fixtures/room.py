"""The room and its noise, synthesised from a seed: level, echo and noise on clean speech.

Nothing here is recorded. The figures of the rooms (echo time, share of direct sound) and the
shapes of the noises are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, fftconvolve, lfilter, sosfilt

from assistant.errors import MisuseError

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

__all__ = ["LEAD_S", "NOISES", "RATE", "ROOMS", "TAIL_S", "Room", "active_level", "in_room"]

Samples: TypeAlias = NDArray[np.float64]

RATE: Final = 16_000
"""Samples a second of every fixture."""
LEAD_S: Final = 0.25
"""Seconds of noise alone before the speech, from which its level can be measured."""
TAIL_S: Final = 0.30
"""Seconds after the speech, in which the echo dies out."""
_MICROPHONE_LOW_HZ: Final = 80.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """``decay_s``: time for the echo to fall by 60 dB; ``direct_db``: direct sound over echo."""

    decay_s: float
    direct_db: float
    first_echo_s: float


ROOMS: Final[Mapping[str, Room | None]] = {
    "none": None,
    "cabin": Room(decay_s=0.08, direct_db=6.0, first_echo_s=0.002),
    "bay": Room(decay_s=0.55, direct_db=9.0, first_echo_s=0.008),
    "hall": Room(decay_s=0.9, direct_db=12.0, first_echo_s=0.015),
}


def active_level(samples: Samples, rate: int = RATE) -> float:
    """Give the active speech level in dB of full scale: power while speech is going on.

    Source: ITU-T P.56 method B: envelope by two averagers of 0.03 s, hang-over 0.2 s, the
    threshold that lies 15.9 dB under the level it gives. -inf when nothing is active.
    """
    smooth = float(np.exp(-1.0 / (rate * 0.03)))
    envelope = np.abs(samples)
    for _ in range(2):
        envelope = lfilter([1.0 - smooth], [1.0, -smooth], envelope)
    hang = int(np.ceil(0.2 * rate))
    energy = float(np.sum(samples**2))
    place = np.arange(len(samples))
    earlier: tuple[float, float] | None = None
    for bit in range(16):
        threshold = 2.0 ** (bit - 15)
        last = np.maximum.accumulate(np.where(envelope >= threshold, place, -hang - 1))
        active = int(np.count_nonzero(place - last <= hang))
        if active == 0 or energy == 0.0:
            break
        level = 10.0 * np.log10(energy / active)
        margin = level - 20.0 * np.log10(threshold)
        if margin <= 15.9:
            if earlier is None:
                return float(level)
            share = (earlier[1] - 15.9) / (earlier[1] - margin)
            return float(earlier[0] + share * (level - earlier[0]))
        earlier = (float(level), float(margin))
    return earlier[0] if earlier else float("-inf")


def _echo(room: Room, rng: np.random.Generator) -> Samples:
    """Impulse response: the direct sound, then noise that decays, duller as it gets older."""
    length = int(RATE * (room.first_echo_s + room.decay_s))
    seconds = np.arange(length) / RATE
    fall = np.exp(-np.log(1000.0) * seconds / room.decay_s)
    tail = rng.standard_normal(length) * fall
    dull = sosfilt(butter(1, 2500.0, fs=RATE, output="sos"), tail)
    age = seconds / seconds[-1]
    tail = (1.0 - age) * tail + age * dull
    tail[seconds < room.first_echo_s] = 0.0
    tail *= np.sqrt(10.0 ** (-room.direct_db / 10.0) / np.sum(tail**2))
    tail[0] = 1.0
    return np.asarray(tail)


def _shaped(length: int, rng: np.random.Generator, slope: float) -> Samples:
    """Noise whose power falls with frequency to the power ``slope`` (1 is pink), unit power."""
    spectrum = np.fft.rfft(rng.standard_normal(length))
    frequency = np.maximum(np.fft.rfftfreq(length, 1.0 / RATE), 20.0)
    shaped = np.fft.irfft(spectrum * frequency ** (-slope / 2.0), length)
    return _unit(shaped)


def _unit(samples: Samples) -> Samples:
    return np.asarray(samples / np.sqrt(np.mean(samples**2)))


def _pink(length: int, rng: np.random.Generator) -> Samples:
    return _shaped(length, rng, 1.0)


def _hum(length: int, rng: np.random.Generator) -> Samples:
    """Mains hum of lamps and a charger, with its harmonics, over some pink noise."""
    mains = float(rng.choice([50.0, 60.0]))
    seconds = np.arange(length) / RATE
    hum = np.zeros(length)
    for order in range(2, 21):
        weight = rng.uniform(0.3, 1.0) / order
        hum += weight * np.sin(2 * np.pi * (mains * order * seconds + rng.random()))
    return _unit(_unit(hum) + 0.6 * _pink(length, rng))


def _engine(length: int, rng: np.random.Generator) -> Samples:
    """Idle of a four-cylinder engine: two firings a turn, each a dull knock, never quite even."""
    firing_hz = 2.0 * rng.uniform(700.0, 950.0) / 60.0
    pulses = np.zeros(length)
    at = rng.random() * RATE / firing_hz
    while at < length:
        pulses[int(at)] = rng.uniform(0.7, 1.3)
        at += RATE / firing_hz * rng.uniform(0.96, 1.04)
    knock_s = np.arange(int(0.06 * RATE)) / RATE
    knock = np.exp(-knock_s / 0.012) * rng.standard_normal(len(knock_s))
    knock = sosfilt(butter(2, 900.0, fs=RATE, output="sos"), knock)
    return _unit(_unit(fftconvolve(pulses, knock)[:length]) + 0.7 * _shaped(length, rng, 1.5))


def _bay(length: int, rng: np.random.Generator) -> Samples:
    """Workshop: pink noise, a fan that swells, and tools put down (a quarter of the power)."""
    seconds = np.arange(length) / RATE
    band = butter(2, [300.0, 1400.0], btype="band", fs=RATE, output="sos")
    fan = _unit(sosfilt(band, rng.standard_normal(length)))
    fan *= 1.0 + 0.3 * np.sin(2 * np.pi * (rng.uniform(1.0, 4.0) * seconds + rng.random()))
    clank = np.zeros(length)
    for _ in range(int(rng.integers(1, 4))):
        start = int(rng.integers(int(LEAD_S * RATE), length))
        since = seconds[: length - start]
        for tone in rng.uniform(900.0, 5200.0, size=5):
            ring = np.exp(-since / rng.uniform(0.02, 0.12))
            clank[start:] += rng.uniform(0.3, 1.0) * ring * np.sin(2 * np.pi * tone * since)
    steady = _unit(_pink(length, rng) + 0.7 * fan)
    return np.asarray(np.sqrt(0.75) * steady + 0.5 * _unit(clank))


NOISES: Final[Mapping[str, Callable[[int, np.random.Generator], Samples]]] = {
    "pink": _pink,
    "hum": _hum,
    "engine": _engine,
    "bay": _bay,
}


def in_room(
    speech: Samples, *, room: str, noise: str, noise_db: float | None, level_db: float, seed: int
) -> Samples:
    """Place clean ``speech`` (16 kHz mono) in a room with noise.

    ``level_db`` is the active speech level of the result before noise, in dB of full scale;
    ``noise_db`` how far the noise lies under it (None: no noise, only one bit of dither).
    Gives float samples in -1..1, with ``LEAD_S`` before and ``TAIL_S`` after the speech.
    Raises ``MisuseError`` for an unknown room or noise, or when the result would clip.
    """
    if room not in ROOMS or noise not in NOISES:
        raise MisuseError(
            f"There is no room {room!r} with noise {noise!r}.",
            next_step=f"Rooms: {', '.join(ROOMS)}; noises: {', '.join(NOISES)}.",
        )
    rng = np.random.default_rng(seed)
    place = ROOMS[room]
    framed = np.concatenate([np.zeros(int(LEAD_S * RATE)), speech, np.zeros(int(TAIL_S * RATE))])
    if place is not None:
        framed = fftconvolve(framed, _echo(place, rng))[: len(framed)]
    microphone = butter(2, _MICROPHONE_LOW_HZ, btype="high", fs=RATE, output="sos")
    heard = sosfilt(microphone, framed)
    heard *= 10.0 ** ((level_db - active_level(heard)) / 20.0)
    if noise_db is None:
        heard += rng.uniform(-1.0, 1.0, len(heard)) / 32768.0
    else:
        around = _unit(sosfilt(microphone, NOISES[noise](len(heard), rng)))
        heard += around * 10.0 ** ((level_db - noise_db) / 20.0)
    if np.max(np.abs(heard)) >= 1.0:
        raise MisuseError(
            f"Speech at {level_db} dB would clip.", next_step="Render it at a lower level."
        )
    return np.asarray(heard)
