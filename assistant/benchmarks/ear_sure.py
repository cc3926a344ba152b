"""How sure a score of the built-in ear is: what share of phrases is right, by its scores.

Tables over clips: by the margin to the best phrase with another meaning, and what other limits on
it would ask back and let through; by the weight that the ear gives to what it understood first,
with a curve; and, with other words beside the phrases, by how far the loop over phones is ahead.
Nothing is refused as other words while these are made; what is close is heard again as ever.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from assistant.benchmarks.ear_clips import (
    Clip,
    degraded,
    grammar_graph,
    grammar_of,
    hear,
    meaning_weight,
    noises_in,
    right,
    rivalry,
)
from assistant.readings.fusion import FusionSettings
from assistant.speech.audio import Samples, read_sound
from assistant.speech.calibration import builtin_calibration
from assistant.speech.ear_vosk import BuiltinEar

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from pathlib import Path

    from assistant.speech.calibration import Calibration
    from assistant.speech.events import Heard

__all__ = ["Score", "scores", "sure"]

_MARGINS: Final = (0.0, 1.0, 2.0, 3.0, 5.0, 8.0, math.inf)
_GAPS: Final = (-math.inf, 0.0, 2.0, 4.0, 6.0, 9.0, math.inf)
_WEIGHTS: Final = (0.0, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.98, 1.0)
_LIMITS: Final = (0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0)
_WIDE: Final = 50
_SORTS: Final = ("right", "wrong", "other words")


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """A clip that was heard as a phrase.

    ``margin`` is to the best phrase with another meaning or to other words, whichever is nearer,
    infinite without either; ``ahead`` is by how much the loop is better than the phrase, less what
    its phones are allowed, minus infinity where the loop did not come near; ``weight`` in [0, 1] is
    the share of all phrases with the meaning of the first.
    """

    sort: str
    margin: float
    ahead: float
    weight: float


def _scored(heard: Heard, clip: Clip, *, other: bool, scale: float) -> Score:
    good = not other and right(heard, clip)
    ahead = -math.inf
    if heard.other_words is not None:
        ahead = (heard.other_words - heard.hypotheses[0].score) / scale
        ahead += builtin_calibration().loop_ahead
    return Score(
        sort="other words" if other else "right" if good else "wrong",
        margin=rivalry(heard, clip),
        ahead=ahead,
        weight=meaning_weight(heard, clip),
    )


def _ways(
    sound: Samples, number: int, noises: Sequence[Samples], *, telephone: bool
) -> Iterator[Samples]:
    """Give the sound as it is, and once more over noise and through a telephone line."""
    yield sound
    if noises:
        noise = noises[number % len(noises)]
        yield degraded(sound, noise=noise, snr_db=10.0, telephone=False, seed=number)
    if telephone:
        yield degraded(sound, noise=None, snr_db=0.0, telephone=True, seed=number)


def scores(
    clips: Iterable[Clip],
    *,
    grammar: str | None = None,
    others: Iterable[Clip] = (),
    noise: Path | None = None,
    telephone: bool = False,
    figures: Calibration | None = None,
) -> list[Score]:
    """Hear all clips, and ``others`` while anything may come; give those heard as phrases."""
    ear = BuiltinEar(grammar_graph, figures, refuses=False)
    scale = builtin_calibration().sharpness
    noises = noises_in(noise)
    named = [(one, grammar_of(one, grammar), False) for one in clips]
    named += [(one, "any", True) for one in others]
    found = []
    for number, (clip, name, other) in enumerate(sorted(named, key=lambda row: row[1])):
        for sound in _ways(read_sound(clip.path).samples, number, noises, telephone=telephone):
            heard = hear(ear, sound, name)
            if heard.hypotheses:
                found.append(_scored(heard, clip, other=other, scale=scale))
    return found


def _row(head: str, cells: Iterable[str]) -> str:
    return f"{head:24}" + "".join(f"{cell:>9}" for cell in cells)


def _bounds(edges: Sequence[float]) -> list[str]:
    def one(low: float, high: float) -> str:
        if math.isinf(low):
            return f"below {high:g}"
        return f"over {low:g}" if math.isinf(high) else f"{low:g}-{high:g}"

    return [one(low, high) for low, high in itertools.pairwise(edges)]


def _shares(values: Sequence[float], edges: Sequence[float]) -> list[int]:
    """Count the values from each edge up to the next; the last edge belongs to its class."""
    placed = np.searchsorted(edges, values, side="right") - 1
    counts = np.bincount(np.clip(placed, 0, len(edges) - 2), minlength=len(edges) - 1)
    return [int(count) for count in counts]


def _of(part: int, whole: int) -> str:
    return f"{100 * part / whole:.1f}" if whole else "-"


def _by_margin(kept: Sequence[Score]) -> Iterator[str]:
    every = _shares([one.margin for one in kept], _MARGINS)
    good = _shares([one.margin for one in kept if one.sort == "right"], _MARGINS)
    yield _row("margin", _bounds(_MARGINS))
    yield _row("phrases", map(str, every))
    yield _row("right, %", map(_of, good, every))
    yield f"The program asks below {FusionSettings().margin:g}."


def _by_limit(kept: Sequence[Score]) -> Iterator[str]:
    """Give what other limits would ask back and let through, to choose the margin by."""
    good = [one.margin for one in kept if one.sort == "right"]
    bad = [one.margin for one in kept if one.sort == "wrong"]
    yield _row("if asked below", (f"{limit:g}" for limit in _LIMITS))
    asked = (sum(margin < limit for margin in good) for limit in _LIMITS)
    yield _row("of right ones asked, %", (_of(count, len(good)) for count in asked))
    taken = (sum(margin >= limit for margin in bad) for limit in _LIMITS)
    yield _row("taken and wrong, %", (_of(count, len(kept)) for count in taken))


def _by_weight(kept: Sequence[Score]) -> Iterator[str]:
    """Give the curve: what the ear states against what is so, a bar for each class."""
    every = _shares([one.weight for one in kept], _WEIGHTS)
    good = _shares([one.weight for one in kept if one.sort == "right"], _WEIGHTS)
    summed = np.zeros(len(every))
    placed = np.searchsorted(_WEIGHTS, [one.weight for one in kept], side="right") - 1
    np.add.at(summed, np.clip(placed, 0, len(every) - 1), [one.weight for one in kept])
    yield f"{'weight of the first':24}{'phrases':>9}{'stated':>9}{'right':>9}"
    for name, count, stated, true in zip(_bounds(_WEIGHTS), every, summed, good, strict=True):
        if count:
            share = true / count
            bar = "#" * round(_WIDE * share)
            mark = round(_WIDE * float(stated) / count)
            drawn = f"{bar:{_WIDE}} "
            drawn = f"{drawn[:mark]}|{drawn[mark + 1 :]}".rstrip()
            yield f"{name:24}{count:9d}{stated / count:9.3f}{share:9.3f}  {drawn}"
    yield "In each bar # is the share that was right and | what the ear states."
    apart = sum(abs(true - stated) for stated, true in zip(summed, good, strict=True))
    yield f"Stated and right are {apart / max(1, len(kept)):.3f} apart on average."


def _by_loop(found: Sequence[Score]) -> Iterator[str]:
    yield _row("loop ahead, %", _bounds(_GAPS))
    for sort in _SORTS:
        counts = _shares([one.ahead for one in found if one.sort == sort], _GAPS)
        if sum(counts):
            yield _row(f"{sort} ({sum(counts)})", (_of(count, sum(counts)) for count in counts))
    yield f"A phrase stands up to {builtin_calibration().loop_ahead:g}."


def sure(found: Sequence[Score]) -> Iterator[str]:
    """Give the lines of the tables, all but the last over phrases that the loop lets stand."""
    limit = builtin_calibration().loop_ahead
    kept = [one for one in found if one.sort != "other words" and one.ahead <= limit]
    for table in (_by_margin(kept), _by_limit(kept), _by_weight(kept), _by_loop(found)):
        yield ""
        yield from table
