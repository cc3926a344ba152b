"""How well the ear hears: clips with a manifest through a recogniser, a peer beside it.

DIR holds sound files and ``manifest.tsv`` (tab-separated, with a head line). Columns ``file`` and
``words`` are needed. ``expect`` (a quantity, or ``command``), ``reading`` (JSON) and ``command``
say what should be understood; without them the words are interpreted. Any other column can choose
(``--where set=fsdd``) or group (``--by noise_db``). Speech is not part of the project:
``audio_fixtures/render.py --benchmark OUT`` makes such a directory.
"""

from __future__ import annotations

import argparse
import csv
import json
import math
import sys
import time
from collections import Counter, defaultdict
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, get_args

import numpy as np
from scipy.signal import butter, sosfilt

from assistant.errors import GivenError, ProbetellError
from assistant.readings import grammar_for
from assistant.readings.fusion import FusionSettings
from assistant.readings.reading import Quantity, reading_to_json
from assistant.readings.wordgraph import WordArc, WordGraph
from assistant.speech.audio import EAR_RATE, read_sound, resample
from assistant.speech.calibration import builtin_calibration
from assistant.speech.ear_both import BothEars
from assistant.speech.ear_sphinx import SphinxEar
from assistant.speech.ear_vosk import BuiltinEar, VoskModelEar
from assistant.speech.events import Heard, Recogniser, spoken_graph
from assistant.speech.fstfile import write_fst
from assistant.speech.hearing import meant
from assistant.speech.lexicon import network_lexicon
from assistant.speech.phonegraph import GraphCosts, build_graph, builtin_phones

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from assistant.speech.audio import Samples

__all__ = ["degraded", "main"]

_DIGITS: Final = "digits"
_DIGIT_WORDS: Final = (
    *("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"),
)
_COLUMNS: Final = ("clips", "words", "value", "taken", "wrong", "asked", "other", "margin")


@dataclass(frozen=True, slots=True)
class _Clip:
    path: Path
    words: str
    row: dict[str, str]

    @property
    def quantity(self) -> Quantity | None:
        expect = self.row.get("expect") or ""
        return expect if expect in get_args(Quantity) else None  # type: ignore[return-value]


@dataclass(slots=True)
class _Tally:
    """Counts over clips, and how long they lasted and took."""

    counts: Counter[str] = field(default_factory=Counter)
    margins: list[tuple[float, bool]] = field(default_factory=list)
    seconds: float = 0.0
    spent: float = 0.0


def _graph(name: str) -> WordGraph:
    if name != _DIGITS:
        return spoken_graph(name)
    arcs = tuple(WordArc(source=0, target=1, word=word) for word in _DIGIT_WORDS)
    return WordGraph(start=0, finals=frozenset({1}), arcs=arcs)


def _clips(folder: Path, wanted: Sequence[str]) -> list[_Clip]:
    manifest = folder / "manifest.tsv"
    if not manifest.is_file():
        raise GivenError(f"{manifest} is missing.", next_step="Give a directory of clips with one.")
    with manifest.open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines, delimiter="\t"))
    pairs = [pair.partition("=")[::2] for pair in wanted]
    return [
        _Clip(folder / row["file"], row["words"], row)
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


def _understood(text: str, clip: _Clip) -> tuple[Any, str | None]:
    """Give the reading in JSON and the command that ``text`` holds."""
    readings, command = meant(text, clip.quantity)
    return (reading_to_json(readings[0]) if len(readings) == 1 else None), command


def _right(heard: Heard, clip: _Clip) -> bool:
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


def _rivalry(heard: Heard, clip: _Clip) -> float:
    """Give the margin to the best alternative that is understood otherwise."""
    if not heard.hypotheses:
        return 0.0
    first = _understood(heard.text, clip)
    for other in heard.hypotheses[1:]:
        if _understood(other.text, clip) != first:
            return heard.hypotheses[0].score - other.score
    return math.inf


def _hear(ear: Recogniser, sound: Samples, grammar: str) -> Heard:
    stream = ear.begin(grammar)
    stream.feed(sound)
    return stream.finish()


def _grammar(clip: _Clip, given: str | None) -> str:
    return given or grammar_for(clip.quantity or "dc_voltage")


def _noises(folder: Path | None) -> list[Samples]:
    if folder is None:
        return []
    files = sorted(path for path in folder.iterdir() if path.suffix in {".flac", ".wav", ".ogg"})
    return [read_sound(path).samples for path in files]


def _run(ear: Recogniser, clips: list[_Clip], asked: argparse.Namespace) -> dict[str, _Tally]:
    noises = _noises(asked.noise)
    tallies: dict[str, _Tally] = defaultdict(_Tally)
    for number, clip in enumerate(clips):
        sound = read_sound(clip.path).samples
        if noises or asked.telephone:
            noise = noises[number % len(noises)] if noises else None
            sound = degraded(
                sound, noise=noise, snr_db=asked.snr, telephone=asked.telephone, seed=number
            )
        begun = time.perf_counter()
        heard = _hear(ear, sound, _grammar(clip, asked.grammar))
        spent = time.perf_counter() - begun
        groups = {"all", clip.row.get(asked.by, "") if asked.by else "all"}
        for group in groups:
            _count(tallies[group], heard, clip, others=asked.others)
            tallies[group].seconds += len(sound) / EAR_RATE
            tallies[group].spent += spent
        if asked.details and not _right(heard, clip):
            found = [
                (one.text, round(one.score - heard.hypotheses[0].score, 1))
                for one in heard.hypotheses[:3]
            ]
            print(f"  {clip.path.name}: {clip.words!r} heard {heard.kind} {found}")
    return tallies


def _count(tally: _Tally, heard: Heard, clip: _Clip, *, others: bool) -> None:
    right = not others and _right(heard, clip)
    rivalry = _rivalry(heard, clip)
    taken = heard.kind == "phrase" and rivalry >= FusionSettings().margin
    tally.counts["clips"] += 1
    tally.counts["words"] += not others and heard.text == clip.words
    tally.counts["value"] += right
    tally.counts["taken"] += taken
    tally.counts["wrong"] += taken and not right
    tally.counts["asked"] += heard.kind == "phrase" and not taken
    tally.counts["other"] += heard.kind != "phrase"
    if heard.hypotheses:
        tally.margins.append((rivalry, right))


def _table(name: str, tallies: dict[str, _Tally]) -> Iterator[str]:
    yield f"\n{name}"
    yield f"{'':16}" + "".join(f"{column:>8}" for column in _COLUMNS[:-1]) + f"{'AUC':>8}{'RTF':>8}"
    for group, tally in sorted(tallies.items(), key=lambda pair: (pair[0] != "all", pair[0])):
        total = max(1, tally.counts["clips"])
        shares = "".join(f"{100 * tally.counts[c] / total:8.1f}" for c in _COLUMNS[1:-1])
        pace = tally.spent / max(1e-9, tally.seconds)
        yield f"{group[:16]:16}{total:8d}{shares}{_auc(tally.margins):8.3f}{pace:8.3f}"


def _auc(pairs: list[tuple[float, bool]]) -> float:
    """Give the chance that a right phrase has a higher margin than a wrong one."""
    good = np.array([min(margin, 99.0) for margin, right in pairs if right])
    bad = np.array([min(margin, 99.0) for margin, right in pairs if not right])
    if not len(good) or not len(bad):
        return math.nan
    above = (good[:, None] > bad[None, :]).mean() + (good[:, None] == bad[None, :]).mean() / 2
    return float(above)


def _limits(clips: list[_Clip], asked: argparse.Namespace) -> Iterator[str]:
    """Say what each limit against other words would let through, to choose ``loop_ahead``."""
    figures = builtin_calibration().model_copy(update={"loop_ahead": 1000.0})
    ear = BuiltinEar(_graph, figures)
    rows = []
    for clip in clips:
        heard = _hear(ear, read_sound(clip.path).samples, _grammar(clip, asked.grammar))
        if heard.hypotheses and heard.other_words is not None:
            gap = heard.hypotheses[0].score - heard.other_words - 1000.0 * figures.sharpness
            rows.append((gap, not asked.others and _right(heard, clip)))
    heads = ("loop_ahead", "right kept", "wrong kept")
    yield "\n" + "".join(f"{head:>12}" for head in heads) + f"   percent of {len(clips)} clips"
    for limit in (-2, -1, 0, 1, 2, 3, 4, 5, 6, 8, 10, 15):
        kept = [right for gap, right in rows if gap >= -limit]
        shares = (sum(kept), len(kept) - sum(kept))
        yield f"{limit:12d}" + "".join(f"{100 * n / max(1, len(clips)):12.1f}" for n in shares)


def _graphs() -> Iterator[str]:
    """Time the building of decoding graphs; the best of five runs."""
    heads = ("words", "arcs in", "states", "arcs", "kB", "ms")
    yield "\n" + f"{'decoding graph':16}" + "".join(f"{head:>8}" for head in heads)
    figures = builtin_calibration()
    costs = GraphCosts(blank=figures.blank, word=figures.word, loop_phone=figures.loop_phone)
    for name in ("volts", "ohms", "continuity", "light", "any"):
        words = _graph(name)
        times = []
        for _ in range(5):
            begun = time.perf_counter()
            graph = build_graph(words, network_lexicon(), builtin_phones(), costs)
            raw = write_fst(graph.fst)
            times.append(time.perf_counter() - begun)
        arcs = sum(map(len, graph.fst.arcs))
        yield (
            f"{name:16}{len(words.words):8d}{len(words.arcs):8d}{len(graph.fst.arcs):8d}{arcs:8d}"
            f"{len(raw) / 1000:8.0f}{min(times) * 1000:8.1f}"
        )


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m assistant.benchmarks ear", description=__doc__)
    parser.add_argument("folder", type=Path, nargs="?", help="clips and manifest.tsv")
    parser.add_argument("--peer", action="store_true", help="pocketsphinx too, and both together")
    parser.add_argument(
        "--model", type=Path, help="another vosk model in place of the built-in one"
    )
    parser.add_argument("--grammar", help="one grammar for all clips; also 'digits' and 'any'")
    parser.add_argument("--where", action="append", default=[], metavar="COLUMN=A,B")
    parser.add_argument("--by", help="group by this column")
    parser.add_argument("--limit", type=int, help="at most so many clips, evenly chosen")
    parser.add_argument("--noise", type=Path, help="directory of noise to add")
    parser.add_argument("--snr", type=float, default=10.0, help="dB of speech over noise (10)")
    parser.add_argument("--telephone", action="store_true", help="through a telephone line")
    parser.add_argument("--others", action="store_true", help="all clips are other words")
    parser.add_argument("--limits", action="store_true", help="table to choose loop_ahead by")
    parser.add_argument("--details", action="store_true", help="say what was misheard")
    return parser


def main(arguments: list[str]) -> int:
    """Run the benchmark; give 0, or 2 when the clips cannot be used."""
    asked = _parser().parse_args(arguments)
    print("\n".join(_graphs()))
    if asked.folder is None:
        print("\nNo clips were given; see --help.")
        return 0
    try:
        clips = _clips(asked.folder, asked.where)
        if asked.limit and len(clips) > asked.limit:
            clips = [clips[k * len(clips) // asked.limit] for k in range(asked.limit)]
        if asked.limits:
            print("\n".join(_limits(clips, asked)))
            return 0
        ears: list[Recogniser] = [
            VoskModelEar(asked.model, _graph("any").words, _graph)
            if asked.model
            else BuiltinEar(_graph)
        ]
        if asked.peer:
            sphinx = SphinxEar(_graph)
            ears += [sphinx, BothEars(ears[0], sphinx)]
        print(
            "\nPercent of clips. words: exact; value: understood right; taken: sure enough not to"
            "\nask; wrong: taken and wrong; asked: too close; other: refused as no phrase."
        )
        for ear in ears:
            print("\n".join(_table(ear.name, _run(ear, clips, asked))))
    except ProbetellError as error:
        sys.stderr.write(f"{error}\n")
        return 2
    return 0
