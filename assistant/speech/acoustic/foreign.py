"""English with the sounds of another language, in Kokoro's spelling.

Each accent says some English sounds as its own language has them; for every phrase it is drawn
which of them. What speakers of a language replace is common practice in teaching English, no
source. The phones to learn stay the English ones.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy as np

__all__ = ["FOREIGN", "accented"]

_KEPT: Final = 0.25
"""The chance that a sound is said as in English after all."""


def _table(*lines: str) -> dict[str, str]:
    entries = (entry.partition("=") for line in lines for entry in line.split(", "))
    return {sound: said for sound, _, said in entries}


_OPEN: Final = _table("O=o, A=e, Q=o, ə=ɛ, ɜ=ɛ")
_DEVOICED: Final = _table("z$=s, d$=t, v$=f, b$=p, ɡ$=k")
FOREIGN: Final[Mapping[str, Mapping[str, str]]] = {
    "German": _table("θ=s|f|t, ð=z|d, w=v, æ=ɛ, ʌ=a, ɹ=ʁ, ɑ=a|ɔ, ɜ=œ") | _DEVOICED,
    "French": _OPEN | _table("θ=s|f, ð=z, ɪ=i, ɹ=ʁ, ʌ=œ, h=, æ=a, ʊ=u, ɜ=œ, ʧ=ʃ"),
    "Spanish": _OPEN | _table("θ=t|s, ð=d, ɪ=i, ɹ=ɾ|r, ʌ=a, æ=a, z=s, h=x, v=b|v, ɑ=a, ʊ=u"),
    "Italian": _OPEN | _table("θ=t, ð=d, ɪ=i, ɹ=r, ʌ=a, æ=ɛ, h=, ɑ=a|ɔ, ʊ=u"),
    "Slavic": _OPEN | _table("θ=s|f|t, ð=z|d, ɪ=i|ɨ, ɹ=r, w=v|w, h=x, æ=ɛ, ʌ=a, ŋ=n") | _DEVOICED,
    "Indian": _table("θ=t, ð=d, t=ʈ, d=ɖ, w=ʋ, v=ʋ, O=o, Q=o, A=e, ɹ=ɾ, ɑ=a, ɔ=ɑ"),
    "Chinese": _table("θ=s, ð=d|z, v=w|v, ɪ=i, æ=ɛ, z=s, ʊ=u") | _DEVOICED,
    "Nordic": _table("θ=t, ð=d, w=v, z=s, ʤ=j|ʤ, ɹ=r|ɹ, ʌ=ɔ|ʌ, ɜ=œ"),
}
"""By accent: what is said for a sound, ``$`` at the end of a word; bars part what may be drawn."""


def accented(sounds: str, rng: np.random.Generator) -> tuple[str, str]:
    """Give the name of an accent and ``sounds``, a phrase in Kokoro's spelling, said with it."""
    name = sorted(FOREIGN)[int(rng.integers(len(FOREIGN)))]
    said: dict[str, str] = {}
    for sound, ways in FOREIGN[name].items():
        if rng.random() > _KEPT:
            choice = ways.split("|")
            said[sound] = choice[int(rng.integers(len(choice)))]

    def spoken(word: str) -> str:
        last = said.get(f"{word[-1:]}$")
        inner = word if last is None else word[:-1]
        return "".join(said.get(sound, sound) for sound in inner) + (last or "")

    return name, re.sub(r"[^ ]+", lambda found: spoken(found[0]), sounds)
