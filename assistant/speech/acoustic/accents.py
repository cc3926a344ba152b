"""Accents: SVOX Pico's German, French, Spanish and Italian voices say English phrases.

Each word is spelled in the sounds of the voice's own language, the nearest to the English ones as
a speaker of that language may say them; where there are several, one is drawn for the clip. The
spellings are common practice in teaching English, no source. Pico reads X-SAMPA (J. C. Wells,
Computer-coding the IPA, 1995).
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from assistant.speech.lexicon import builtin_lexicon

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

__all__ = ["ACCENTS", "accent_clip", "spelled"]


def _table(*lines: str) -> dict[str, str]:
    entries = (entry.partition("=") for line in lines for entry in line.split(", "))
    return {phone: sounds for phone, _, sounds in entries}


_SHARED: Final = _table(
    "B=b, D=d, F=f, G=g, K=k, L=l, M=m, N=n, P=p, S=s, T=t, V=v, Y=j",
    "AW=a u, AY=a i, CH=tS, EY=e i, IH=i, IY=i, NG=n g, OY=O i, UH=u, UW=u, W=w, Z=z",
)
ACCENTS: Final[Mapping[str, Mapping[str, str]]] = {
    "de-DE": _SHARED
    | _table(
        "AA=a:|O, AE=E, AH=a|9, AO=O, AW=aU, AY=aI, DH=d|z|s, EH=E, ER=9|9 R|9 6, EY=e:|E I",
        "HH=h, IH=I, IY=i:, JH=dZ, NG=N, OW=o:|O U, OY=OY, R=R, SH=S, TH=s|f|t, UH=U, UW=u:",
        "W=v|u, Z=z|s, ZH=Z",
    ),
    "fr-FR": _SHARED
    | _table(
        "AA=a|O, AE=a, AH=9|a, AO=O, CH=t S, DH=z|d, EH=E, ER=9 R|9, EY=e|E i, HH=, JH=d Z",
        "OW=o, R=R, SH=S, TH=s|t|f, ZH=Z",
    ),
    "es-ES": _SHARED
    | _table(
        "AA=a|o, AE=a, AH=a|o, AO=o, DH=D|d, EH=e, ER=e r, HH=x|, JH=j, OW=o u|o, OY=o i, R=r",
        "SH=tS|s, TH=T|t, V=b, Z=s, ZH=s",
    ),
    "it-IT": _SHARED
    | _table(
        "AA=a|O, AE=E|a, AH=a, AO=O, DH=d, EH=E, ER=e r, HH=, JH=dZ, OW=o, R=r, SH=S, TH=t",
        "ZH=dZ",
    ),
}
"""By voice: the language's sounds for each English phone; bars part what may be drawn."""


def spelled(phrase: str, voice: str, rng: np.random.Generator) -> str:
    """Spell ``phrase`` in Pico's markup for ``voice``; raises ``KeyError`` on an unknown word."""
    drawn = {phone: str(rng.choice(sounds.split("|"))) for phone, sounds in ACCENTS[voice].items()}
    words = []
    for word in phrase.split():
        ways = builtin_lexicon()[word]
        phones = ways[int(rng.integers(len(ways)))]
        sounds = " ".join(drawn[phone] for phone in phones if drawn[phone])
        words.append(f'<phoneme ph="{sounds}"/>')
    return " ".join(words)


def accent_clip(phrase: str, rng: np.random.Generator) -> tuple[str, NDArray[np.float64]]:
    """Say ``phrase`` with a drawn accent, speed and pitch; give voice and samples."""
    voice = str(rng.choice(list(ACCENTS), p=[0.35, 0.3, 0.2, 0.15]))
    speed, pitch = float(rng.uniform(0.85, 1.4)), float(rng.uniform(0.7, 1.4))
    engine: Any = import_module("py_nanotts").NanoTTS()
    said = engine.speak(spelled(phrase, voice, rng), voice=voice, speed=speed, pitch=pitch)
    return f"pico {voice} {speed:.2f} {pitch:.2f}", np.frombuffer(said, np.int16) / 32768.0
