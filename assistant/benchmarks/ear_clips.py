"""Clips for the benchmark of the ear: read, degraded, heard, and judged by what was meant."""

from __future__ import annotations

import csv
import json
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, get_args

import numpy as np
from scipy.signal import butter, sosfilt

from assistant.errors import GivenError
from assistant.readings import grammar_for
from assistant.readings.reading import Quantity, reading_to_json
from assistant.readings.wordgraph import WordArc, WordGraph
from assistant.speech.audio import EAR_RATE, read_sound, resample
from assistant.speech.events import Heard, Recogniser, spoken_graph
from assistant.speech.hearing import meant

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from assistant.speech.audio import Samples

__all__ = [
    "Clip",
    "degraded",
    "grammar_graph",
    "grammar_of",
    "hear",
    "meaning_weight",
    "noises_in",
    "read_clips",
    "right",
    "rivalry",
]

_DIGIT_WORDS: Final = (
    *("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"),
)
_NUMBER_WORDS: Final = (
    *(*_DIGIT_WORDS, "oh", "ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen"),
    *("sixteen", "seventeen", "eighteen", "nineteen", "twenty", "thirty", "forty", "fifty"),
    *("sixty", "seventy", "eighty", "ninety"),
)


@dataclass(frozen=True, slots=True)
class Clip:
    """A sound and what is said in it; ``row`` is its line of the manifest."""

    path: Path
    words: str
    row: dict[str, str]

    @property
    def quantity(self) -> Quantity | None:
        """The quantity that is expected, None for a command or where nothing is."""
        expect = self.row.get("expect") or ""
        return expect if expect in get_args(Quantity) else None  # type: ignore[return-value]


def grammar_graph(name: str) -> WordGraph:
    """Give a grammar of the program, or "digits" (one of ten), or "numbers" (any run of them)."""
    if name == "digits":
        arcs = [WordArc(source=0, target=1, word=word) for word in _DIGIT_WORDS]
    elif name == "numbers":
        pairs = ((source, word) for source in (0, 1) for word in _NUMBER_WORDS)
        arcs = [WordArc(source=source, target=1, word=word) for source, word in pairs]
    else:
        return spoken_graph(name)
    return WordGraph(start=0, finals=frozenset({1}), arcs=tuple(arcs))


def grammar_of(clip: Clip, given: str | None = None) -> str:
    """Give the grammar that a clip is heard with: the given one, or that of its quantity."""
    return given or grammar_for(clip.quantity or "dc_voltage")


def read_clips(folder: Path, wanted: Sequence[str] = ()) -> list[Clip]:
    """Read ``folder/manifest.tsv``; ``wanted`` are conditions as "column=one,other"."""
    manifest = folder / "manifest.tsv"
    if not manifest.is_file():
        raise GivenError(f"{manifest} is missing.", next_step="Give a directory of clips with one.")
    with manifest.open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines, delimiter="\t"))
    pairs = [pair.partition("=")[::2] for pair in wanted]
    return [
        Clip(folder / row["file"], row["words"], row)
        for row in rows
        if all(row.get(name) in value.split(",") for name, value in pairs)
    ]


def degraded(
    samples: Samples, *, noise: Samples | None, snr_db: float, telephone: bool, seed: int
) -> Samples:
    """Give the clip with noise so many dB below it, then through a telephone line.

    The line is a band of 300 to 3400 Hz at 8 kHz with mu-law of 255 (ITU-T G.711's law).
    """
    sound = samples.astype(np.float64)
    if noise is not None:
        start = int(np.random.default_rng(seed).integers(max(1, len(noise) - len(sound))))
        piece = np.resize(noise[start:].astype(np.float64), len(sound))
        power = np.mean(sound**2) / max(1e-9, float(np.mean(piece**2)))
        sound = sound + piece * math.sqrt(power / 10 ** (snr_db / 10))
    if telephone:
        band = butter(4, [300, 3400], "bandpass", fs=8000, output="sos")
        narrow = resample(_clipped(sound), EAR_RATE, 8000).astype(np.float64) / 32768
        heard = sosfilt(band, narrow / max(1e-9, np.abs(narrow).max()) * 0.7)
        law = np.sign(heard) * np.log1p(255 * np.abs(heard)) / np.log(256)
        law = np.round(law * 127) / 127
        line = np.sign(law) * (256 ** np.abs(law) - 1) / 255
        return resample(_clipped(line * 32767), 8000, EAR_RATE)
    return _clipped(sound)


def _clipped(sound: Any) -> Samples:
    peak = max(1.0, float(np.abs(sound).max()) / 32767)
    whole: Samples = np.round(sound / peak).astype(np.int16)
    return whole


def _understood(text: str, clip: Clip) -> tuple[Any, str | None]:
    """Give the reading in JSON and the command that ``text`` holds."""
    readings, command = meant(text, clip.quantity)
    return (reading_to_json(readings[0]) if len(readings) == 1 else None), command


def right(heard: Heard, clip: Clip) -> bool:
    """Tell whether what was heard means what the clip's line says, or what its words mean."""
    wanted: tuple[Any, str | None]
    if "reading" in clip.row:
        reading = json.loads(clip.row["reading"]) if clip.row["reading"] else None
        wanted = (reading, clip.row.get("command") or None)
    else:
        wanted = _understood(clip.words, clip)
    if wanted == (None, None):
        return heard.text == clip.words
    found = _understood(heard.text, clip)
    return found[0] == wanted[0] and (wanted[1] is None or found[1] == wanted[1])


def rivalry(heard: Heard, clip: Clip) -> float:
    """Give the margin to the best alternative that is understood otherwise, or to other words."""
    if not heard.hypotheses:
        return 0.0
    first = _understood(heard.text, clip)
    rivals = [one.score for one in heard.hypotheses if _understood(one.text, clip) != first]
    rivals += [] if heard.other_words is None else [heard.other_words]
    return heard.hypotheses[0].score - max(rivals, default=-math.inf)


def meaning_weight(heard: Heard, clip: Clip) -> float:
    """Give the weight, from 0 to 1, of all alternatives that are understood as the first is.

    That of other words is left out; it is judged apart.
    """
    if not heard.hypotheses:
        return 0.0
    first = _understood(heard.text, clip)
    top = heard.hypotheses[0].score
    parts = [math.exp(one.score - top) for one in heard.hypotheses]
    same = [_understood(one.text, clip) == first for one in heard.hypotheses]
    return sum(part for part, alike in zip(parts, same, strict=True) if alike) / sum(parts)


def hear(ear: Recogniser, sound: Samples, grammar: str) -> Heard:
    """Hear one sound."""
    stream = ear.begin(grammar)
    stream.feed(sound)
    return stream.finish()


def noises_in(folder: Path | None) -> list[Samples]:
    """Read all sound files of ``folder``; none without one."""
    if folder is None:
        return []
    files = sorted(path for path in folder.iterdir() if path.suffix in {".flac", ".wav", ".ogg"})
    if not files:
        raise GivenError(
            f"{folder} holds no sound.",
            next_step="Give a folder of .wav, .flac or .ogg files.",
        )
    return [read_sound(path).samples for path in files]
