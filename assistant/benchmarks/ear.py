"""How well the ear hears: a table over unseen voices and people, or clips of your own.

Without DIR the table is printed: phrases of natural voices that no model was trained on, in
``--voices`` or else spoken there and then, and, where ``--people`` and ``--packages`` say where
recordings are, people; a set without data says so. How far it is goes to stderr. With DIR its
clips go through a recogniser, a peer beside it.

DIR holds sound files and ``manifest.tsv`` (tab-separated, with a head line). Columns ``file`` and
``words`` are needed. ``expect`` (a quantity, or ``command``), ``reading`` (JSON) and ``command``
say what should be understood; without them the words are interpreted. Any other column can choose
(``--where set=fsdd``) or group (``--by noise_db``). ``--sure`` shows how sure a score is: every
clip as it is, with ``--noise`` once more at 10 dB, with ``--telephone`` once more through a line,
with ``--beside`` other words. ``--once`` leaves the second network out, also to choose its figures
by. ``--cost`` shows what the ear costs. Speech is not part of the project:
``audio_fixtures/render.py --benchmark OUT`` makes such a directory, and its README says how the
set of ``--voices`` is made.
"""

from __future__ import annotations

import argparse
import math
import sys
import time
from collections import Counter, defaultdict
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from assistant.benchmarks.ear_clips import (
    Clip,
    degraded,
    grammar_graph,
    grammar_of,
    hear,
    noises_in,
    read_clips,
    right,
    rivalry,
)
from assistant.benchmarks.ear_cost import cost_rows
from assistant.benchmarks.ear_sets import Said
from assistant.benchmarks.ear_sure import scores, sure
from assistant.benchmarks.ear_table import Recordings, show
from assistant.errors import GivenError, ProbetellError
from assistant.readings.fusion import FusionSettings
from assistant.speech.audio import EAR_RATE, read_sound
from assistant.speech.calibration import builtin_calibration
from assistant.speech.ear_both import BothEars
from assistant.speech.ear_sphinx import SphinxEar
from assistant.speech.ear_vosk import BuiltinEar, VoskModelEar
from assistant.speech.fstfile import write_fst
from assistant.speech.lexicon import network_lexicon
from assistant.speech.phonegraph import GraphCosts, build_graph, builtin_phones

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assistant.speech.calibration import Calibration
    from assistant.speech.events import Heard, Recogniser

__all__ = ["main"]

_COLUMNS: Final = ("clips", "words", "value", "taken", "wrong", "asked", "other", "margin")


@dataclass(slots=True)
class _Tally:
    """Counts over clips, and how long they lasted and took."""

    counts: Counter[str] = field(default_factory=Counter)
    margins: list[tuple[float, bool]] = field(default_factory=list)
    seconds: float = 0.0
    spent: float = 0.0


def _run(ear: Recogniser, clips: list[Clip], asked: argparse.Namespace) -> dict[str, _Tally]:
    noises = noises_in(asked.noise)
    tallies: dict[str, _Tally] = defaultdict(_Tally)
    for number, clip in enumerate(clips):
        sound = read_sound(clip.path).samples
        if noises or asked.telephone:
            noise = noises[number % len(noises)] if noises else None
            sound = degraded(
                sound, noise=noise, snr_db=asked.snr, telephone=asked.telephone, seed=number
            )
        begun = time.perf_counter()
        heard = hear(ear, sound, grammar_of(clip, asked.grammar))
        spent = time.perf_counter() - begun
        groups = {"all", clip.row.get(asked.by, "") if asked.by else "all"}
        for group in groups:
            _count(tallies[group], heard, clip, others=asked.others)
            tallies[group].seconds += len(sound) / EAR_RATE
            tallies[group].spent += spent
        if asked.details and not right(heard, clip):
            found = [
                (one.text, round(one.score - heard.hypotheses[0].score, 1))
                for one in heard.hypotheses[:3]
            ]
            print(f"  {clip.path.name}: {clip.words!r} heard {heard.kind} {found}")
    return tallies


def _count(tally: _Tally, heard: Heard, clip: Clip, *, others: bool) -> None:
    good = not others and right(heard, clip)
    ahead = rivalry(heard, clip)
    taken = heard.kind == "phrase" and ahead >= FusionSettings().margin
    tally.counts["clips"] += 1
    tally.counts["words"] += not others and heard.text == clip.words
    tally.counts["value"] += good
    tally.counts["taken"] += taken
    tally.counts["wrong"] += taken and not good
    tally.counts["asked"] += heard.kind == "phrase" and not taken
    tally.counts["other"] += heard.kind != "phrase"
    if heard.hypotheses:
        tally.margins.append((ahead, good))


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


def _limits(clips: list[Clip], asked: argparse.Namespace) -> Iterator[str]:
    """Say what each limit against other words would let through, to choose ``loop_ahead``."""
    figures = builtin_calibration()
    ear = BuiltinEar(grammar_graph, _figures(asked), refuses=False)
    rows = []
    for clip in clips:
        heard = hear(ear, read_sound(clip.path).samples, grammar_of(clip, asked.grammar))
        if heard.hypotheses:
            # Where the loop is so far behind that it is not told, no limit refuses the phrase
            loop = -math.inf if heard.other_words is None else heard.other_words
            gap = (heard.hypotheses[0].score - loop) / figures.sharpness - figures.loop_ahead
            rows.append((gap, not asked.others and right(heard, clip)))
    heads = ("loop_ahead", "right kept", "wrong kept")
    yield "\n" + "".join(f"{head:>12}" for head in heads) + f"   percent of {len(clips)} clips"
    for limit in (-2, -1, 0, 1, 2, 3, 4, 5, 6, 8, 10, 12):
        kept = [right for gap, right in rows if gap >= -limit]
        shares = (sum(kept), len(kept) - sum(kept))
        yield f"{limit:12d}" + "".join(f"{100 * n / max(1, len(clips)):12.1f}" for n in shares)


def _figures(asked: argparse.Namespace) -> Calibration:
    """Give the figures of the built-in networks; with ``--once`` of the first alone."""
    figures = builtin_calibration()
    return figures.model_copy(update={"second": False}) if asked.once else figures


def _sure(clips: list[Clip], asked: argparse.Namespace) -> Iterator[str]:
    """Say how sure a score is."""
    others = read_clips(asked.beside) if asked.beside else []
    named = {"grammar": asked.grammar, "noise": asked.noise, "telephone": asked.telephone}
    yield from sure(scores(clips, others=others, figures=_figures(asked), **named))


def _cost(clips: list[Clip], asked: argparse.Namespace) -> Iterator[str]:
    """Say what the ear costs; with ``--peer`` both ears too."""
    ear = BuiltinEar(grammar_graph, _figures(asked))
    both = BothEars(ear, SphinxEar(grammar_graph)) if asked.peer else None
    said = [
        Said(clip, read_sound(clip.path).samples, grammar_of(clip, asked.grammar)) for clip in clips
    ]
    yield from cost_rows(ear, both, said)


def _graphs() -> Iterator[str]:
    """Time the building of decoding graphs; the best of five runs."""
    heads = ("words", "arcs in", "states", "arcs", "kB", "ms")
    yield "\n" + f"{'decoding graph':16}" + "".join(f"{head:>8}" for head in heads)
    figures = builtin_calibration()
    costs = GraphCosts(
        blank=figures.blank, word=figures.word, loop_phone=figures.loop_phone, other_words=0.0
    )
    for name in ("volts", "ohms", "continuity", "light", "any"):
        words = grammar_graph(name)
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
    table = parser.add_argument_group("the table, without a folder")
    table.add_argument(
        "--count", type=int, help="at most so many phrases a row (all of --voices; else 100)"
    )
    table.add_argument("--voices", type=Path, help="clean clips of unseen natural voices")
    table.add_argument("--people", type=Path, help="recordings of people with manifest.tsv")
    table.add_argument("--packages", type=Path, help="what the step 'gather people' wrote")
    table.add_argument(
        "--peer-every",
        type=int,
        default=5,
        help="pocketsphinx hears one clip in so many of large sets (5; 0: none)",
    )
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
    parser.add_argument("--sure", action="store_true", help="tables of how sure a score is")
    parser.add_argument("--beside", type=Path, help="with --sure: clips of other words")
    parser.add_argument("--cost", action="store_true", help="time after speech, pace, memory")
    parser.add_argument("--once", action="store_true", help="ask the first network only")
    parser.add_argument("--details", action="store_true", help="say what was misheard")
    return parser


def main(arguments: list[str]) -> int:
    """Run the benchmark; give 0, or 2 when the clips cannot be used."""
    asked = _parser().parse_args(arguments)
    print("\n".join(_graphs()))
    try:
        if asked.peer_every < 0:
            raise GivenError(
                f"One clip in {asked.peer_every} is none.", next_step="Give 0 or more."
            )
        if asked.folder is None:
            given = Recordings(
                voices=asked.voices,
                people=asked.people,
                packages=asked.packages,
                noise=asked.noise,
            )
            show(asked.count, given, peer_every=asked.peer_every)
            return 0
        clips = read_clips(asked.folder, asked.where)
        if asked.limit and len(clips) > asked.limit:
            clips = [clips[k * len(clips) // asked.limit] for k in range(asked.limit)]
        if asked.sure or asked.limits or asked.cost:
            told = _sure if asked.sure else _limits if asked.limits else _cost
            print("\n".join(told(clips, asked)))
            return 0
        ears: list[Recogniser] = [
            VoskModelEar(asked.model, grammar_graph("any").words, grammar_graph)
            if asked.model
            else BuiltinEar(grammar_graph, _figures(asked))
        ]
        if asked.peer:
            sphinx = SphinxEar(grammar_graph)
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
