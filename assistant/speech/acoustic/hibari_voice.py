"""The voice inside the package hibari, with a throat drawn for every clip.

The package's network gives, every 12.5 ms, the spectra of pulses, of noise and of a rest, and the
pitch; here they are changed before they become sound. Only the voice that lies in the package
speaks: it learned from one of Kokoro's voices that train. Its other voices, one of which learned
from a voice that is kept for testing, are never loaded.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from scipy.signal import resample_poly

from assistant.errors import GivenError
from assistant.speech.acoustic.foreign import accented
from assistant.speech.acoustic.throats import (
    Throat,
    colour_db,
    drawn_throat,
    formants_moved,
    pitch_of,
)
from assistant.speech.acoustic.voices import KOKORO_TRAINING, said_as
from assistant.speech.parts import need

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["HIBARI_TRAINING", "HibariMaker"]

HIBARI_TRAINING: Final = "heart"
"""The one voice that speaks, by its name in the package."""
_PACKAGE: Final = "hibari-tts"
_BIN_HZ: Final = 20.0
_VOICED_HZ: Final = 40.0
_BRITISH: Final = 0.3
_FOREIGN: Final = 0.15
_DRIFT: Final = 0.004
_NEPER_DB: Final = 20.0 / np.log(10.0)


@dataclass(slots=True)
class HibariMaker:
    """Says phrases with American, British and foreign sounds, each in a throat of its own.

    Raises ``GivenError`` when the package is missing or its voice is not one to train on.
    """

    _engine: Any = field(init=False)
    _spelling: dict[str, Any] = field(init=False)
    _synth: Any = field(init=False)

    def __post_init__(self) -> None:
        need("onnxruntime", "onnxruntime")
        package = need("hibari", _PACKAGE)
        listed = need("hibari.voices", _PACKAGE).VOICES[HIBARI_TRAINING]
        if listed["kokoro"] not in KOKORO_TRAINING or not listed.get("bundled"):
            raise GivenError(
                f"The voice {HIBARI_TRAINING} of {_PACKAGE} is not one to train on.",
                next_step=f"Install {_PACKAGE} 0.2, whose own voice learned from af_heart.",
            )
        maker = need("hibari.g2p", _PACKAGE).G2P
        self._engine = package.Hibari(voice=HIBARI_TRAINING, threads=1)
        self._synth = need("hibari.dsp", _PACKAGE).synth
        self._spelling = {"us": maker(), "gb": maker(british=True)}

    def __call__(self, phrase: str, rng: np.random.Generator) -> tuple[str, NDArray[np.float64]]:
        """Say ``phrase`` with a drawn accent, throat and speed; give the name and samples."""
        accent = "gb" if rng.random() < _BRITISH else "us"
        sounds = self.sounds(phrase, accent)
        if rng.random() < _FOREIGN:
            accent, sounds = accented(sounds, rng)
        throat, speed = drawn_throat(rng), float(rng.uniform(0.75, 1.35))
        samples = self.say(sounds, throat, speed, rng)
        return f"hibari {accent} {throat} {speed:.2f}", samples

    def sounds(self, phrase: str, accent: str) -> str:
        """Spell ``phrase`` in Kokoro's sounds; ``accent`` is "us" or "gb"."""
        return str(self._spelling[accent](said_as(phrase)))

    def say(
        self, sounds: str, throat: Throat, speed: float, rng: np.random.Generator
    ) -> NDArray[np.float64]:
        """Say ``sounds`` with ``throat``, ``speed`` 1 as the voice does; samples at 16 kHz."""
        numbers = self._engine.ids(sounds)
        if len(numbers) < 3:
            raise ValueError("nothing to say")
        fed = {"ids": np.array([numbers], np.int64), "speed": np.array([speed], np.float32)}
        told = [one[0] for one in self._engine.sess.run(None, fed)]
        pulses, turns, noise, rest, phase, own = told
        own = np.where(own > _VOICED_HZ, own, 0.0)
        drift = np.cumsum(rng.normal(0.0, _DRIFT, len(own)))
        pitch = pitch_of(throat, own, drift).astype(np.float32)
        tilted, ripple = (
            (part / _NEPER_DB)[:, None].astype(np.float32)
            for part in colour_db(np.arange(len(pulses)) * _BIN_HZ, rng)
        )
        breath = np.float32(rng.normal(0.0, 0.35))  # about 3 dB; chosen, no source

        def moved(spectra: NDArray[Any]) -> NDArray[Any]:
            return formants_moved(spectra, throat.formants)

        # The noises keep half of the slope, or hisses would sound like other ones
        made = self._synth(
            moved(pulses) + tilted + ripple,
            moved(turns),
            moved(noise) + tilted / 2 + ripple + breath,
            moved(rest) + tilted / 2 + ripple,
            phase,
            pitch,
            rng,
        )
        return np.asarray(resample_poly(made, 2, 3), np.float64)
