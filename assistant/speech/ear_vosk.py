"""The ear on vosk: strict graphs with the built-in network, or another model directory.

With the built-in network every grammar is a decoding graph that accepts its phrases, silence and
other words, nothing else; the network is computed once for all three. Another model directory
gets the grammar's phrases as vosk's runtime grammar, which only biases it: whatever is not a whole
phrase of the grammar is dropped.
"""

from __future__ import annotations

import json
import math
from collections import deque
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from assistant.errors import GivenError, MisuseError
from assistant.speech.audio import EAR_RATE, Samples
from assistant.speech.calibration import Calibration, builtin_calibration
from assistant.speech.events import GraphSource, Heard, Hypothesis, acceptor, spoken_graph
from assistant.speech.habits import is_expected, is_number, oddities
from assistant.speech.lexicon import network_lexicon
from assistant.speech.looks import Look, changed, spoken_part, together
from assistant.speech.modeldir import write_model
from assistant.speech.parts import need
from assistant.speech.phonegraph import (
    OTHER_WORDS,
    GraphCosts,
    build_graph,
    builtin_phones,
    with_other_words,
)
from assistant.speech.roomtone import Loudness, RoomTone, louder

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from pathlib import Path

    from assistant.readings.wordgraph import WordGraph

__all__ = ["BuiltinEar", "VoskModelEar", "phrase_cover"]

_ALTERNATIVES: Final = 10
_KEPT_GRAPHS: Final = 24
_GRAPH_SCALE: Final = 0.9  # vosk counts costs of the graph by so much in what it tells
_MOST_TO_ENTER: Final = 8.0  # well below the beam, or the loop is never entered
_UNKNOWN: Final = "[unk]"


def _vosk() -> Any:
    """Import vosk and keep it from writing to the terminal."""
    vosk = need("vosk")
    vosk.SetLogLevel(-3)
    return vosk


def _load(vosk: Any, directory: Path) -> Any:
    try:
        return vosk.Model(str(directory))
    except Exception as error:  # vosk raises the base class
        raise GivenError(
            f"vosk cannot load a model from {directory}.",
            next_step="Give the directory of a vosk model, the one that holds am/ and conf/.",
        ) from error


@dataclass(frozen=True, slots=True, kw_only=True)
class _Told:
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
    looks: tuple[Look, ...] = ()
    worst: float = 1.0
    doubt: float = 0.0
    refuses: bool = True
    grammar: str = ""


class BuiltinEar:
    """The built-in network; one vosk model per grammar, the last one kept.

    Every model holds the network anew, so memory allows one. A graph is built once in the
    process's life; its model is loaded again, in some 30 ms, when another was used in between.
    ``graphs`` gives word graphs by name, ``figures`` are the network's, left out those that come
    with it. ``enter``, up to 8, is what the loop's branch costs: the decoder lists what is up to
    9 behind the best, so phrases up to 9 more than that behind the loop, and the loop where it is
    no more than 9 less that behind a phrase. Left out it is ``loop_ahead`` of the figures. An ear
    that does not refuse gives phrases also where the loop is ahead, to measure by how much.
    """

    def __init__(
        self,
        graphs: GraphSource = spoken_graph,
        figures: Calibration | None = None,
        *,
        enter: float | None = None,
        refuses: bool = True,
    ) -> None:
        self._vosk = _vosk()
        self._graphs = graphs
        self._figures = figures or builtin_calibration()
        self._refuses = refuses
        # What a phrase may be behind the loop is paid in the graph, phone by phone, so that
        # neither is lost on the way; the decoder lists both, and not the loop's thousand ways.
        allowed = self._figures.loop_per_phone / _GRAPH_SCALE
        enter = self._figures.loop_ahead if enter is None else enter
        self._costs = GraphCosts(
            blank=self._figures.blank,
            word=self._figures.word,
            loop_phone=self._figures.loop_phone + allowed,
            other_words=min(max(enter, 0.0), _MOST_TO_ENTER),
        )
        self._directory = lru_cache(maxsize=_KEPT_GRAPHS)(self._build)
        self._kept: tuple[str, Any, _Told] | None = None

    @property
    def name(self) -> str:
        """What it is, in words for a person."""
        return "vosk with the built-in model"

    def begin(self, grammar: str) -> VoskStream:
        """Open a stream for ``grammar``; the first time its graph is built and loaded."""
        kept = self._kept
        if kept is None or kept[0] != grammar:
            directory, told = self._directory(grammar)
            self._kept = kept = None  # let go of its memory before the next is loaded
            kept = self._kept = (grammar, _load(self._vosk, directory), told)
        model, told = kept[1:]
        return VoskStream(lambda: self._vosk.KaldiRecognizer(model, EAR_RATE), told)

    def _build(self, grammar: str) -> tuple[Path, _Told]:
        words = self._graphs(grammar)
        phones = builtin_phones()
        graph = build_graph(words, network_lexicon(), phones, self._costs)
        directory = write_model(grammar, with_other_words(graph, phones, self._costs))
        told = _Told(
            accepts=acceptor(words),
            name=self.name,
            sharpness=self._figures.sharpness,
            other_words=self._costs.other_words * _GRAPH_SCALE - self._figures.loop_ahead,
            asked_behind=self._figures.asked_behind,
            number_behind=self._figures.number_behind,
            silence_behind=self._figures.silence_behind,
            unusual=self._figures.unusual,
            expected=self._figures.expected,
            looks=self._figures.looks,
            worst=self._figures.worst,
            doubt=self._figures.doubt,
            refuses=self._refuses,
            grammar=grammar,
        )
        return directory, told


class VoskModelEar:
    """Any other vosk model, from a directory.

    ``words`` are checked against the model's vocabulary when it is loaded; ``missing`` names
    those that it does not have, and phrases with them cannot be heard. Raises ``GivenError``
    when the directory holds no model or none of the words.
    """

    def __init__(
        self, directory: Path, words: Iterable[str], graphs: GraphSource = spoken_graph
    ) -> None:
        if (
            not (directory / "am" / "final.mdl").is_file()
            and not (directory / "final.mdl").is_file()
        ):
            raise GivenError(
                f"There is no vosk model in {directory}.",
                next_step="Set model_dir to the directory of a vosk model, the one that holds am/.",
            )
        self._vosk = _vosk()
        self._directory = directory
        self._graphs = graphs
        self._model = _load(self._vosk, directory)
        wanted = frozenset(words)
        self.missing = tuple(
            sorted(word for word in wanted if self._model.vosk_model_find_word(word) < 0)
        )
        if wanted and len(self.missing) == len(wanted):
            raise GivenError(
                f"The model in {directory} has none of the words that are needed.",
                next_step="Give an English vosk model.",
            )
        self._grammar = lru_cache(maxsize=_KEPT_GRAPHS)(self._phrases)

    @property
    def name(self) -> str:
        """What it is, in words for a person."""
        return f"vosk with the model in {self._directory.name}"

    def begin(self, grammar: str) -> VoskStream:
        """Open a stream for ``grammar``."""
        phrases, told = self._grammar(grammar)
        return VoskStream(lambda: self._vosk.KaldiRecognizer(self._model, EAR_RATE, phrases), told)

    def _phrases(self, grammar: str) -> tuple[str, _Told]:
        known = _without(self._graphs(grammar), frozenset(self.missing))
        phrases = [*phrase_cover(known), _UNKNOWN]
        return json.dumps(phrases), _Told(accepts=acceptor(known), name=self.name)


class VoskStream:
    """One utterance through vosk; ``decoder`` makes a decoder for it.

    Sound that turns out faint at its end is heard once more, as loud as plain speech.
    """

    def __init__(self, decoder: Callable[[], Any], told: _Told) -> None:
        self._make: Callable[[], Any] | None = decoder
        self._decoder = decoder()
        self._told = told
        self._sound: list[Samples] = []
        self._tone = RoomTone()
        self._loudness = Loudness()
        self._frames = 0
        self._parts: list[list[Hypothesis]] = []
        self._decoder.SetMaxAlternatives(_ALTERNATIVES + 1)  # one may be that of other words
        self._accept(self._tone.before())

    def feed(self, pcm: Samples) -> None:
        """Take more sound."""
        self._frames += len(pcm)
        self._loudness.take(pcm)
        if len(pcm):
            self._accept(self._tone.under(pcm))
            self._sound.append(pcm)

    def finish(self) -> Heard:
        """Tell what was heard in all the sound."""
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
        if make is not None and self._close(found):
            told, sound = self._told, spoken_part(np.concatenate(self._sound))
            looks = [_heard_once(make, changed(sound, look)) for look in told.looks]
            hearings = [found, *(self._weighed(look) for look in looks)]
            found = together(hearings, ("", OTHER_WORDS), told.worst)
        return self._heard(found)

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
        if not scores or self._loudness.silent:
            return False
        best, *rivals = sorted(scores.values(), reverse=True)
        return any(abs(best - limit) < self._told.doubt for limit in (quiet, other, *rivals[:1]))

    def _accept(self, pcm: Samples) -> None:
        if self._decoder is None:
            raise MisuseError("This stream is finished.", next_step="Begin a new one.")
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
        phrases = tuple(
            Hypothesis(text=one.text, score=one.score * told.sharpness)
            for one in found
            if one.text and one.text in scores and told.accepts(tuple(one.text.split()))
        )
        if not phrases or phrases[0].score < best * told.sharpness:
            return replace(heard, kind="other_words")
        behind = -math.inf if other is None else other - phrases[0].score
        asked = told.number_behind if is_number(phrases[0].text) else told.asked_behind
        if told.refuses and behind > asked * told.sharpness:
            return replace(heard, kind="other_words", other_words=other)
        return replace(heard, kind="phrase", hypotheses=phrases, other_words=other)


def _heard_once(make: Callable[[], Any], sound: Samples) -> list[Hypothesis]:
    """Give what a new decoder hears in all of ``sound``."""
    decoder, tone = make(), RoomTone()
    decoder.SetMaxAlternatives(_ALTERNATIVES + 1)
    for piece in (tone.before(), tone.under(sound), tone.after()):
        decoder.AcceptWaveform(piece.tobytes())
    return _alternatives(decoder.FinalResult())


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


def _without(graph: WordGraph, words: frozenset[str]) -> WordGraph:
    """Give the graph without the arcs of ``words``."""
    return replace(graph, arcs=tuple(arc for arc in graph.arcs if arc.word not in words))


def phrase_cover(graph: WordGraph) -> tuple[str, ...]:
    """Give phrases that together use every arc of ``graph`` that lies on some phrase.

    Each is a shortest way from the start through one arc to an end. Sorted, no repetitions.
    """
    ahead = _nearest(graph, {graph.start}, forward=True)
    behind = _nearest(graph, set(graph.finals), forward=False)
    found = {
        " ".join((*ahead[arc.source], arc.word, *behind[arc.target]))
        for arc in graph.arcs
        if arc.source in ahead and arc.target in behind
    }
    return tuple(sorted(found))


def _nearest(graph: WordGraph, goals: set[int], *, forward: bool) -> dict[int, tuple[str, ...]]:
    """Shortest words between every state and the nearest of ``goals``."""
    steps: dict[int, list[tuple[str, int]]] = {}
    for arc in sorted(graph.arcs, key=lambda arc: (arc.source, arc.word, arc.target)):
        here, there = (arc.source, arc.target) if forward else (arc.target, arc.source)
        steps.setdefault(here, []).append((arc.word, there))
    words: dict[int, tuple[str, ...]] = dict.fromkeys(sorted(goals), ())
    waiting = deque(words)
    while waiting:
        state = waiting.popleft()
        for word, after in steps.get(state, ()):
            if after not in words:
                known = words[state]
                words[after] = (*known, word) if forward else (word, *known)
                waiting.append(after)
    return words
