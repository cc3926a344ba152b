"""The ear on vosk: strict graphs with the built-in network, or another model directory.

With the built-in network every grammar is a decoding graph that accepts its phrases, silence and
other words, nothing else; the network is computed once for all three. Another model directory
gets the grammar's phrases as vosk's runtime grammar, which only biases it: whatever is not a whole
phrase of the grammar is dropped.
"""

from __future__ import annotations

import json
from collections import deque
from dataclasses import replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

from assistant.errors import GivenError
from assistant.speech.audio import EAR_RATE
from assistant.speech.calibration import Calibration, builtin_calibration
from assistant.speech.events import GraphSource, acceptor, spoken_graph
from assistant.speech.lexicon import network_lexicon
from assistant.speech.modeldir import write_model
from assistant.speech.opinion import Opinion
from assistant.speech.parts import need
from assistant.speech.phonegraph import GraphCosts, build_graph, builtin_phones, with_other_words
from assistant.speech.secondnet import builtin_second
from assistant.speech.vosk_stream import Told, VoskStream

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from assistant.readings.wordgraph import WordGraph

__all__ = ["BuiltinEar", "VoskModelEar", "phrase_cover"]

_KEPT_GRAPHS: Final = 24
_GRAPH_SCALE: Final = 0.9  # vosk counts costs of the graph by so much in what it tells
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


class BuiltinEar:
    """The built-in network; one vosk model per grammar, the last one kept.

    Every model holds the network anew, so memory allows one. A graph is built once in the
    process's life; its model is loaded again, in some 30 ms, when another was used in between.
    ``graphs`` gives word graphs by name, ``figures`` are the network's, left out those that come
    with it. ``listed_behind`` of the figures is what the loop's branch costs: the decoder lists
    what is up to 9 behind the best, so phrases up to 9 more than that behind the loop, and the
    loop where it is no more than 9 less that behind a phrase. An ear that does not refuse gives
    phrases also where the loop is ahead, to measure by how much.
    """

    def __init__(
        self,
        graphs: GraphSource = spoken_graph,
        figures: Calibration | None = None,
        *,
        refuses: bool = True,
    ) -> None:
        self._vosk = _vosk()
        self._graphs = graphs
        self._figures = figures or builtin_calibration()
        self._refuses = refuses
        # What a phrase may be behind the loop is paid in the graph, phone by phone, so that
        # neither is lost on the way; the decoder lists both, and not the loop's thousand ways.
        allowed = self._figures.loop_per_phone / _GRAPH_SCALE
        self._costs = GraphCosts(
            blank=self._figures.blank,
            word=self._figures.word,
            loop_phone=self._figures.loop_phone + allowed,
            other_words=self._figures.listed_behind,
        )
        self._opinion = None
        if self._figures.second:
            paid = self._costs.scaled(_GRAPH_SCALE)
            self._opinion = Opinion(builtin_second().posteriors, network_lexicon(), paid)
        self._directory = lru_cache(maxsize=_KEPT_GRAPHS)(self._build)
        self._kept: tuple[str, Any, Told] | None = None

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

    def _build(self, grammar: str) -> tuple[Path, Told]:
        words = self._graphs(grammar)
        phones = builtin_phones()
        graph = build_graph(words, network_lexicon(), phones, self._costs)
        directory = write_model(grammar, with_other_words(graph, phones, self._costs))
        told = Told(
            accepts=acceptor(words),
            name=self.name,
            sharpness=self._figures.sharpness,
            other_words=self._costs.other_words * _GRAPH_SCALE - self._figures.loop_ahead,
            asked_behind=self._figures.asked_behind,
            number_behind=self._figures.number_behind,
            silence_behind=self._figures.silence_behind,
            unusual=self._figures.unusual,
            expected=self._figures.expected,
            opinion=self._opinion,
            looks=self._figures.looks,
            worst=self._figures.worst,
            first=self._figures.first,
            nearer=self._figures.nearer,
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

    def _phrases(self, grammar: str) -> tuple[str, Told]:
        known = _without(self._graphs(grammar), frozenset(self.missing))
        phrases = [*phrase_cover(known), _UNKNOWN]
        return json.dumps(phrases), Told(accepts=acceptor(known), name=self.name)


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
