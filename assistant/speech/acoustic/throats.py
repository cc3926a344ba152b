"""Throats that are drawn, and how they change spectra; sounds cut close to what is said.

A throat moves the formants, has a pitch of its own, moves it more or less than the voice does, and
colours the sound. Pitches and lengths of men, women and children follow G. E. Peterson and
H. L. Barney, "Control methods used in a study of the vowels" (J. Acoust. Soc. Am. 24, 1952; from
memory): on the average 132, 223 and 264 Hz, a man's formants some 15 % below a woman's. How far to
go around them was chosen, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Throat", "colour_db", "cut", "drawn_throat", "formants_moved", "pitch_of"]

RATE: Final = 16_000
_HOP: Final = RATE // 100
_QUIET_DB: Final = 32.0
_FADE: Final = 64
_LOWEST, _HIGHEST = 55.0, 480.0
_CORNER_HZ: Final = 500.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Throat:
    """How a voice is changed.

    ``formants`` is what their frequencies are multiplied with; ``pitch`` the mean in Hz, over the
    logarithm; ``liveliness`` how far the pitch moves around it, 1 as the voice does, 0 not at all.
    """

    formants: float
    pitch: float
    liveliness: float

    def __str__(self) -> str:
        return f"throat {self.formants:.2f} {self.pitch:.0f}"


_KINDS: Final = (
    (0.50, (0.80, 0.92), (80.0, 150.0)),  # a man
    (0.35, (0.92, 1.08), (150.0, 250.0)),  # a woman
    (0.15, (1.06, 1.20), (210.0, 310.0)),  # a child or a small woman
)
"""Share, factor on a woman's formants, and pitch in Hz. Chosen, no source."""


def drawn_throat(rng: np.random.Generator) -> Throat:
    """Draw what makes a woman's voice a man's, a woman's or a child's."""
    kind = int(rng.choice(len(_KINDS), p=[share for share, _, _ in _KINDS]))
    _, formants, pitch = _KINDS[kind]
    return Throat(
        formants=float(rng.uniform(*formants)),
        pitch=float(rng.uniform(*pitch)),
        liveliness=float(rng.uniform(0.3, 1.5)),
    )


def formants_moved(spectra: NDArray[Any], factor: float) -> NDArray[Any]:
    """Move what lies at a frequency to ``factor`` times it; ``spectra`` are bins x frames.

    What would come from above the last bin is held at that bin.
    """
    last = len(spectra) - 1
    spots = np.clip(np.arange(last + 1) / factor, 0, last)
    low = np.floor(spots).astype(int)
    part = (spots - low)[:, None].astype(spectra.dtype)
    return np.asarray(spectra[low] * (1 - part) + spectra[np.minimum(low + 1, last)] * part)


def colour_db(
    hertz: NDArray[Any], rng: np.random.Generator, *, slope: float = 2.2, ripple: float = 1.9
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Draw a colour of sound: dB of a slope and of a ripple at each of ``hertz``.

    ``slope`` is the spread in dB an octave, ``ripple`` that in dB of 14 points over the band.
    Chosen, no source.
    """
    octaves = np.log2(np.maximum(hertz, _CORNER_HZ / 4) / _CORNER_HZ)
    tilted = np.clip(rng.normal(0.0, slope) * octaves, -14.0, 10.0)
    points = np.linspace(float(hertz[0]), float(hertz[-1]), 14)
    return tilted, np.interp(hertz, points, rng.normal(0.0, ripple, len(points)))


def pitch_of(
    throat: Throat, own: NDArray[Any], drift: NDArray[Any] | None = None
) -> NDArray[np.float64]:
    """Give the throat's pitch in Hz for a voice's ``own``, frame by frame; 0 where it has none.

    ``drift`` is added to its logarithm. It stays between 55 and 480 Hz.
    """
    voiced = own > 0
    if not voiced.any():
        return np.zeros(len(own))
    logs = np.log(np.where(voiced, own, 1.0).astype(np.float64))
    moved = throat.liveliness * (logs - logs[voiced].mean())
    if drift is not None:
        moved = moved + drift - drift.mean()
    return np.where(voiced, np.clip(throat.pitch * np.exp(moved), _LOWEST, _HIGHEST), 0.0)


def cut(
    samples: NDArray[Any],
    rng: np.random.Generator,
    *,
    before: tuple[float, float] = (0.0, 0.03),
    after: tuple[float, float] = (0.0, 0.04),
) -> NDArray[np.float64]:
    """Cut ``samples`` (16 kHz) to what is said and a drawn time before and after it, in seconds.

    As a microphone does that opens late and shuts early. Said is what is less than 32 dB below
    the loudest hundredth of a second; the ends fade over 4 ms. Chosen, no source.
    """
    frames = len(samples) // _HOP
    if frames == 0:
        return np.asarray(samples, np.float64)
    blocks = np.asarray(samples[: frames * _HOP], np.float64).reshape(frames, _HOP)
    level = 20.0 * np.log10(np.sqrt((blocks**2).mean(1)) + 1e-7)
    said = np.flatnonzero(level > level.max() - _QUIET_DB)
    start = int(said[0]) * _HOP - int(rng.uniform(*before) * RATE)
    end = (int(said[-1]) + 1) * _HOP + int(rng.uniform(*after) * RATE)
    kept = np.array(samples[max(0, start) : end], np.float64)
    fade = np.linspace(0.0, 1.0, min(_FADE, len(kept)))
    kept[: len(fade)] *= fade
    kept[len(kept) - len(fade) :] *= fade[::-1]
    return kept
