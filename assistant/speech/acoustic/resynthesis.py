"""Rendered clips said by other throats, and cut close to what is said.

The vocoder WORLD takes speech apart into pitch, envelope and breath, and puts it together again:
M. Morise, F. Yokomori and K. Ozawa, "WORLD: a vocoder-based high-quality speech synthesis system
for real-time applications" (IEICE Trans. Inf. Syst. E99-D, 2016). In between they are changed.
Unlike ``revoice``, which changes any sound on the fly, it gives voiced speech a true new pitch.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from assistant.speech.acoustic.throats import Throat, colour_db, cut, formants_moved, pitch_of
from assistant.speech.parts import need

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Maker = Callable[[str, np.random.Generator], tuple[str, NDArray[np.float64]]]

__all__ = ["Changed", "drawn_for", "resaid"]

RATE: Final = 16_000
_PACKAGE: Final = "pyworld-prebuilt"
_LOWEST, _HIGHEST = 60.0, 500.0
_MAN: Final = 0.55


def _pitch(world: Any, samples: NDArray[np.float64]) -> tuple[NDArray[Any], NDArray[Any]]:
    rough, times = world.dio(samples, RATE, f0_floor=_LOWEST, f0_ceil=_HIGHEST)
    return world.stonemask(samples, rough, times, RATE), times


def drawn_for(own: float, rng: np.random.Generator) -> Throat:
    """Draw a throat for a voice whose mean pitch is ``own`` Hz.

    A man's or a woman's pitch, but not so far off that the voice breaks; formants follow it by
    its power of 0.3, as a longer throat speaks lower. Chosen, no source.
    """
    drawn = rng.uniform(80.0, 150.0) if rng.random() < _MAN else rng.uniform(150.0, 270.0)
    pitch = float(np.clip(drawn, own * 0.55, own * 1.9))
    formants = float(np.clip((pitch / own) ** 0.3 * rng.uniform(0.93, 1.07), 0.82, 1.2))
    return Throat(formants=formants, pitch=pitch, liveliness=float(rng.uniform(0.5, 1.5)))


def resaid(
    samples: NDArray[np.float64], rng: np.random.Generator, throat: Throat | None = None
) -> tuple[Throat, NDArray[np.float64]]:
    """Say ``samples`` (16 kHz, -1 to 1) with ``throat``, or one that is drawn for their pitch.

    Gives the throat and as many samples. Colour and breath are drawn. Raises ``GivenError``
    without the package, ``ValueError`` when nothing in ``samples`` is voiced.
    """
    world = need("pyworld", _PACKAGE)
    given = np.ascontiguousarray(samples, np.float64)
    own, times = _pitch(world, given)
    if not (own > 0).any():
        raise ValueError("nothing voiced to give another throat")
    power = world.cheaptrick(given, own, times, RATE)
    breath = world.d4c(given, own, times, RATE)
    if throat is None:
        throat = drawn_for(float(np.exp(np.log(own[own > 0]).mean())), rng)
    hertz = np.linspace(0.0, RATE / 2, power.shape[1])
    tilted, ripple = colour_db(hertz, rng, slope=1.3)
    envelope = formants_moved(np.log(power.T + 1e-16), throat.formants).T
    envelope = np.exp(envelope + (tilted + ripple) * np.log(10.0) / 10.0)
    noisy = formants_moved(breath.T, throat.formants).T.clip(0.0, 1.0) ** rng.uniform(0.75, 1.3)
    parts = (np.ascontiguousarray(one) for one in (pitch_of(throat, own), envelope, noisy))
    made = np.asarray(world.synthesize(*parts, RATE), np.float64)
    return throat, np.pad(made, (0, max(0, len(given) - len(made))))[: len(given)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Changed:
    """Changes what ``maker`` says: a share of clips by other throats, a share cut tightly.

    ``throats`` and ``cuts`` are shares from 0 to 1. Raises ``GivenError`` at once when throats
    are wanted and the package is missing.
    """

    maker: Maker
    throats: float = 0.0
    cuts: float = 0.0

    def __post_init__(self) -> None:
        if self.throats:
            need("pyworld", _PACKAGE)

    def __call__(self, phrase: str, rng: np.random.Generator) -> tuple[str, NDArray[np.float64]]:
        """Say ``phrase``; give the voice's name, with the throat if it has another, and samples."""
        voice, samples = self.maker(phrase, rng)
        if rng.random() < self.throats:
            throat, samples = resaid(samples, rng)
            voice = f"{voice} {throat}"
        if rng.random() < self.cuts:
            samples = cut(samples, rng)
        return voice, samples
