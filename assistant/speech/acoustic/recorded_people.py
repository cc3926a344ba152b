"""Recordings of people that Debian packages carry, gathered for development.

Their licences ask for the same licence or are the GPL: every row of the manifest is of the split
"dev", which no pack takes. Numbers of one speaker are also joined to longer ones.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import yaml
from pydantic import BaseModel, ConfigDict
from scipy.io import wavfile

from assistant.errors import GivenError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from numpy.typing import NDArray

__all__ = ["Cries", "Recorded", "gather_people", "joined_numbers", "recorded"]

RATE: Final = 16_000
_HEAD: Final = ("file", "words", "speaker", "split", "set", "licence", "rate", "expect")
_SEED: Final = 7
_JOINED: Final = 60
_ONES: Final = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
_TEENS: Final = (
    *("thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen"),
)
_TENS: Final = ("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")


class Recorded(BaseModel):
    """Words of one speaker in one package: ``words`` by the file, relative to ``folder``."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    set: str
    package: str
    licence: str
    speaker: str
    folder: str
    ending: str
    words: dict[str, str]


class Cries(BaseModel):
    """Voices of a game whose files are named after what they cry; ``without`` are left out."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    set: str
    package: str
    licence: str
    folder: str
    speakers: tuple[str, ...]
    without: frozenset[str]


@cache
def recorded() -> dict[str, Any]:
    """Give ``recorded.yaml``: its "people" and "cries" as models, "noise" as it stands."""
    source = files("assistant.speech.acoustic").joinpath("recorded.yaml")
    read = yaml.safe_load(source.read_text(encoding="utf-8"))
    people = tuple(Recorded.model_validate(one) for one in read["people"])
    return {"people": people, "cries": Cries.model_validate(read["cries"]), "noise": read["noise"]}


def gather_people(root: Path, out: Path) -> int:
    """Write 16 kHz mono WAV files and ``manifest.tsv`` to ``out``; give how many clips.

    ``root`` is where the packages are installed or unpacked; what is not there is left out.
    Raises ``GivenError`` when ffmpeg is missing, which reads the sounds.
    """
    rows: list[tuple[str, ...]] = []
    for one in recorded()["people"]:
        for name, words in one.words.items():
            found = root / one.folder / f"{name}{one.ending}"
            file = f"{one.set}/{one.speaker.split(':')[1]}_{name.replace('/', '_')}.wav"
            if _copied(found, out / file):
                rows.append(_row((file, words, one.speaker), one.set, one.licence))
    cries = recorded()["cries"]
    for speaker in cries.speakers:
        for found in sorted((root / cries.folder / speaker).glob("*.ogg")):
            words = re.sub(r"\d+$", "", found.stem).lower()
            file = f"{cries.set}/{speaker}_{found.stem}.wav".lower()
            if words not in cries.without and _copied(found, out / file):
                who = f"hedgewars:{speaker.lower()}"
                rows.append(_row((file, words, who), cries.set, cries.licence))
    rows += _join([row for row in rows if row[4] in {"asterisk_numbers", "asterisk_parts"}], out)
    text = "\n".join("\t".join(row) for row in [_HEAD, *rows])
    out.mkdir(parents=True, exist_ok=True)
    (out / "manifest.tsv").write_text(text + "\n", encoding="utf-8")
    return len(rows)


def joined_numbers(count: int, seed: int) -> tuple[tuple[str, ...], ...]:
    """Draw numbers of two or three of the words that were recorded one by one, each once."""
    rng = np.random.default_rng(seed)

    def one(words: Sequence[str]) -> str:
        return words[int(rng.integers(len(words)))]

    drawn: dict[tuple[str, ...], None] = {}
    while len(drawn) < count:
        sort = rng.random()
        if sort < 0.4:
            said: tuple[str, ...] = (one(_TENS), one(_ONES))
        elif sort < 0.75:
            said = ("minus", one((*_TEENS, *_TENS, *_ONES)))
        else:
            said = (one(_ONES), "hundred", one((*_TEENS, *_TENS)))
        drawn[said] = None
    return tuple(drawn)


def _row(said: tuple[str, str, str], name: str, licence: str, expect: str = "") -> tuple[str, ...]:
    return (*said, "dev", name, licence, str(RATE), expect)


def _copied(found: Path, out: Path) -> bool:
    if not found.is_file():
        return False
    program = shutil.which("ffmpeg")
    if program is None:
        raise GivenError(
            "ffmpeg is missing; it reads the recordings.", next_step="Install ffmpeg (Debian)."
        )
    out.parent.mkdir(parents=True, exist_ok=True)
    told = [program, "-v", "error", "-y", "-i", str(found), "-ac", "1", "-ar", str(RATE), str(out)]
    return subprocess.run(told, check=False, capture_output=True).returncode == 0  # noqa: S603


def _join(rows: Sequence[tuple[str, ...]], out: Path) -> list[tuple[str, ...]]:
    """Join single numbers with short pauses, with a fifth of a second of quiet around."""
    by_word = {row[1]: row for row in rows}
    rng = np.random.default_rng(_SEED)
    made = []
    for number, said in enumerate(joined_numbers(_JOINED, _SEED)):
        if not all(word in by_word for word in said):
            continue
        pieces: list[NDArray[np.float64]] = [np.zeros(RATE // 5)]
        for word in said:
            pause = np.zeros(int(rng.integers(RATE // 50, RATE // 10)))
            pieces += [_trimmed(out / by_word[word][0]), pause]
        pieces.append(np.zeros(RATE // 5))
        file = f"asterisk_joined/{number:02d}.wav"
        (out / file).parent.mkdir(exist_ok=True)
        wavfile.write(out / file, RATE, np.concatenate(pieces).astype(np.int16))
        first = by_word[said[0]]
        expect = "resistance" if "hundred" in said else "dc_voltage"
        spoken = (file, " ".join(said), first[2])
        made.append(_row(spoken, "asterisk_joined", first[5], expect))
    return made


def _trimmed(path: Path) -> NDArray[np.float64]:
    samples = wavfile.read(path)[1].astype(np.float64)
    loud = np.flatnonzero(np.abs(samples) > 0.01 * np.abs(samples).max())
    cut: NDArray[np.float64] = samples[max(0, loud[0] - RATE // 100) : loud[-1] + RATE // 33]
    return cut
