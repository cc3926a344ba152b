"""One utterance through vosk, and what the second network makes of it.

Each phrase that vosk lists is scored by the second network too, and the two count alike; where it
is close then, the sound is changed a little and the second network hears it again (``looks``). In
that the first counts somewhat more than each of the second's hearings, which are much alike.
Quiet at the ends of the sound goes to neither.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from assistant.errors import MisuseError
from assistant.speech.audio import EAR_RATE, Samples
from assistant.speech.events import Heard, Hypothesis
from assistant.speech.habits import is_expected, is_number, oddities
from assistant.speech.looks import Look, changed, spoken_part, together
from assistant.speech.phonegraph import OTHER_WORDS
from assistant.speech.quietends import QuietEnds
from assistant.speech.roomtone import Loudness, RoomTone, louder

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.speech.opinion import Opinion

__all__ = ["Told", "VoskStream"]

_ALTERNATIVES: Final = 10
_LONGEST: Final = 30 * EAR_RATE
"""Of longer sounds the second network is not asked: what it needs grows with their square."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """How decoders' answers are read; the figures are those of ``Calibration``."""

    accepts: Callable[[tuple[str, ...]], bool]
    name: str
    sharpness: float = 1.0
    other_words: float = 0.0  # what the loop's branch cost, less what it may be ahead
    asked_behind: float = 0.0
    number_behind: float = 0.0
    silence_behind: float = 0.0
    unusual: float = 0.0
    expected: float = 0.0
    opinion: Opinion | None = None
    looks: tuple[Look, ...] = ()
    worst: float = 1.0
    first: float = 1.0
    nearer: float = 0.0
    doubt: float = 0.0
    refuses: bool = True
    grammar: str = ""


class VoskStream:
    """One utterance through vosk; ``decoder`` makes a decoder for it.

    Sound that turns out faint at its end is heard once more, as loud as plain speech.
    """

    def __init__(self, decoder: Callable[[], Any], told: Told) -> None:
        self._make: Callable[[], Any] | None = decoder
        self._decoder = decoder()
        self._told = told
        self._sound: list[Samples] = []
        self._ends = QuietEnds()
        self._tone = RoomTone()
        self._loudness = Loudness()
        self._frames = 0
        self._parts: list[list[Hypothesis]] = []
        self._begun = False
        self._decoder.SetMaxAlternatives(_ALTERNATIVES + 1)  # one may be that of other words

    def feed(self, pcm: Samples) -> None:
        """Take more sound."""
        self._require_open()
        self._frames += len(pcm)
        self._loudness.take(pcm)
        self._sound.append(pcm)
        self._on(self._ends.take(pcm))

    def finish(self) -> Heard:
        """Tell what was heard in all the sound."""
        self._require_open()
        self._on(self._ends.rest())
        if not self._ends.ends_in_quiet:
            self._accept(self._tone.after())
        make, self._make = self._make, None  # a stream that is over holds no model
        gain = self._loudness.gain
        if gain > 1.0 and make is not None:
            self._decoder = None
            again = VoskStream(make, self._told)
            again.feed(louder(np.concatenate(self._sound), gain))
            return again.finish()
        self._parts.append(_alternatives(self._decoder.FinalResult()))
        self._decoder = None
        found = self._weighed(_joined(self._parts))
        return self._heard(found if self._loudness.silent else self._with_opinion(found))

    def _require_open(self) -> None:
        if self._decoder is None:
            raise MisuseError("This stream is finished.", next_step="Begin a new one.")

    def _on(self, pcm: Samples) -> None:
        """Let sound go on to the decoder, with room tone ahead where no quiet is."""
        if not len(pcm):
            return
        if not self._begun and not self._ends.begins_in_quiet:
            self._accept(self._tone.before())
        self._begun = True
        self._accept(self._tone.under(pcm))

    def _with_opinion(self, found: list[Hypothesis]) -> list[Hypothesis]:
        """Give what both networks make of it; looks again where that comes out close."""
        told, texts = self._told, [one.text for one in found]
        if told.opinion is None or not {*texts} - {"", OTHER_WORDS}:
            return found
        sound = spoken_part(np.concatenate(self._sound))
        if len(sound) > _LONGEST:
            return found
        apart, opinion = ("", OTHER_WORDS), told.opinion
        hearings = [found, self._weighed(opinion.of(sound, texts))]
        joined = together(hearings, apart, told.worst)
        if not told.looks or not self._close(joined):
            return joined
        again = (changed(sound, look) for look in told.looks)
        hearings += [self._weighed(opinion.of(one, texts)) for one in again]
        return together(hearings, apart, told.worst, told.first)

    def _weighed(self, found: list[Hypothesis]) -> list[Hypothesis]:
        """Give phrases what they are due by what people say, the loop by what it may be ahead."""
        told = self._told

        def due(one: Hypothesis) -> float:
            if one.text == OTHER_WORDS:
                return told.other_words
            words = one.text.split()
            liked = told.expected * is_expected(words, told.grammar)
            return liked - told.unusual * oddities(words, told.grammar)

        weighed = [replace(one, score=one.score + due(one)) for one in found]
        return sorted(weighed, key=lambda one: -one.score)

    def _close(self, found: list[Hypothesis]) -> bool:
        """Whether the best phrase is close to another, or to where it would be refused."""
        scores = {one.text: one.score for one in found}
        other = scores.pop(OTHER_WORDS, -math.inf)
        quiet = scores.pop("", -math.inf) + self._told.silence_behind
        if not scores:
            return False
        best, *rivals = sorted(scores.values(), reverse=True)
        return any(abs(best - limit) < self._told.doubt for limit in (quiet, other, *rivals[:1]))

    def _sharpened(self, one: Hypothesis, best: Hypothesis) -> float:
        """Give a score on the scale of weights; what rivals the best is nearer than it came."""
        nearer = one.score if one is best else min(best.score, one.score + self._told.nearer)
        return nearer * self._told.sharpness

    def _accept(self, pcm: Samples) -> None:
        # The built-in model never ends an utterance by itself; another may, in a pause.
        if self._decoder.AcceptWaveform(pcm.tobytes()):
            self._parts.append(_alternatives(self._decoder.Result()))

    def _heard(self, found: list[Hypothesis]) -> Heard:
        """Sort what was found: phrases of the grammar, silence, or words outside it."""
        told, scores = self._told, {one.text: one.score for one in found}
        heard = Heard(kind="silence", seconds=self._frames / EAR_RATE, recogniser=told.name)
        if self._loudness.silent or not scores:
            return heard
        loop = scores.pop(OTHER_WORDS, None)
        other = None if loop is None else loop * told.sharpness
        best = max(scores.values(), default=-math.inf)
        if scores and best < scores.get("", -math.inf) + told.silence_behind:
            return heard
        listed = [one for one in found if one.text and one.text in scores]
        phrases = tuple(
            Hypothesis(text=one.text, score=self._sharpened(one, listed[0]))
            for one in listed
            if told.accepts(tuple(one.text.split()))
        )
        if not phrases or phrases[0].score < best * told.sharpness:
            return replace(heard, kind="other_words")
        behind = -math.inf if other is None else other - phrases[0].score
        asked = told.number_behind if is_number(phrases[0].text) else told.asked_behind
        if told.refuses and behind > asked * told.sharpness:
            return replace(heard, kind="other_words", other_words=other)
        return replace(heard, kind="phrase", hypotheses=phrases, other_words=other)


def _alternatives(answer: str) -> list[Hypothesis]:
    """Read vosk's JSON: phrases, best first, each text once."""
    best: dict[str, float] = {}
    for one in json.loads(answer).get("alternatives", []):
        text = " ".join(str(one["text"]).split())
        best[text] = max(best.get(text, -math.inf), float(one["confidence"]))
    ranked = sorted(best.items(), key=lambda pair: (-pair[1], pair[0]))
    return [Hypothesis(text=text, score=score) for text, score in ranked]


def _joined(parts: list[list[Hypothesis]]) -> list[Hypothesis]:
    """Join what was heard before and after pauses, each part's phrases with each other's."""
    whole = [Hypothesis(text="", score=0.0)]
    for part in parts:
        if not part:
            continue
        whole = sorted(
            (
                Hypothesis(text=f"{a.text} {b.text}".strip(), score=a.score + b.score)
                for a in whole
                for b in part
            ),
            key=lambda one: -one.score,
        )[:_ALTERNATIVES]
    return whole
