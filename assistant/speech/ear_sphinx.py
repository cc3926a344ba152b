"""The ear on pocketsphinx, for machines on which vosk does not load.

Every stream has a decoder of its own, because a decoder remembers earlier speech. The dictionary
is our lexicon, so that no word of a grammar is missing; the grammar is a finite-state search made
from the word graph. A second search over single phones tells readings from other talk.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from assistant.errors import MisuseError
from assistant.speech.audio import EAR_RATE, Samples
from assistant.speech.events import GraphSource, Heard, Hypothesis, accepts, spoken_graph
from assistant.speech.lexicon import PHONES, builtin_lexicon, require_words
from assistant.speech.modeldir import workspace
from assistant.speech.parts import need
from assistant.speech.roomtone import Loudness, RoomTone

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from assistant.readings.wordgraph import WordGraph

__all__ = ["SphinxEar"]

_ALTERNATIVES: Final = 10
_SEARCHED: Final = 60  # the list of alternatives repeats texts that differ in silences only
_KEPT_GRAPHS: Final = 24
_SCORE_SHIFT: Final = 1024.0  # pocketsphinx keeps acoustic scores shifted by ten bits
_SHARPNESS: Final = 0.1
_LOOP_AHEAD: Final = -4.0
_LOOP_PROBABILITY: Final = 0.01

_Transition = tuple[int, int, float] | tuple[int, int, float, str]


@dataclass(frozen=True, slots=True)
class _Search:
    """A grammar as pocketsphinx takes it."""

    dictionary: Path
    last: int
    transitions: tuple[_Transition, ...]
    best_only: bool = False


class SphinxEar:
    """pocketsphinx with the English acoustic model of its package."""

    def __init__(self, graphs: GraphSource = spoken_graph) -> None:
        self._sphinx = need("pocketsphinx")
        self._graphs = graphs
        self._search = lru_cache(maxsize=_KEPT_GRAPHS)(self._build)
        self._loop = _phone_loop()

    @property
    def name(self) -> str:
        """What it is, in words for a person."""
        return "pocketsphinx with its own English model"

    def begin(self, grammar: str) -> SphinxStream:
        """Open a stream for ``grammar``."""
        graph, search = self._search(grammar)
        decoders = (self._decoder(search), self._decoder(self._loop))
        return SphinxStream(decoders, graph, self.name)

    def _build(self, grammar: str) -> tuple[WordGraph, _Search]:
        graph = self._graphs(grammar)
        require_words(graph.words, builtin_lexicon())
        last = 1 + max(max(arc.source, arc.target) for arc in graph.arcs)
        spoken: list[_Transition] = [
            (arc.source, arc.target, math.exp(-arc.cost), arc.word)
            for arc in sorted(graph.arcs, key=lambda a: (a.source, a.target, a.word, a.cost))
        ]
        ends: list[_Transition] = [(state, last, 1.0) for state in sorted(graph.finals)]
        moved = _starting_at_zero([*spoken, *ends], graph.start)
        dictionary = _write_dictionary(
            (word, said) for word in sorted(graph.words) for said in builtin_lexicon()[word]
        )
        return graph, _Search(dictionary, last, tuple(moved))

    def _decoder(self, search: _Search) -> Any:
        model = self._sphinx.get_model_path("en-us/en-us")
        config = self._sphinx.Config(
            hmm=model,
            dict=str(search.dictionary),
            lm=None,
            loglevel="FATAL",
            bestpath=not search.best_only,  # the lattice of the phone loop takes seconds
        )
        decoder = self._sphinx.Decoder(config)
        decoder.add_fsg(
            "grammar", decoder.create_fsg("grammar", 0, search.last, list(search.transitions))
        )
        decoder.activate_search("grammar")
        return decoder


class SphinxStream:
    """One utterance through pocketsphinx; all of it is decoded at its end."""

    def __init__(self, decoders: tuple[Any, Any], graph: WordGraph, name: str) -> None:
        self._decoders: tuple[Any, Any] | None = decoders
        self._graph = graph
        self._name = name
        self._tone = RoomTone()
        self._blocks = [self._tone.before()]
        self._loudness = Loudness()

    def feed(self, pcm: Samples) -> None:
        """Take more sound."""
        if self._decoders is None:
            raise MisuseError("This stream is finished.", next_step="Begin a new one.")
        self._loudness.take(pcm)
        self._blocks.append(self._tone.under(pcm))

    def finish(self) -> Heard:
        """Tell what was heard in all the sound."""
        if self._decoders is None:
            raise MisuseError("This stream is finished.", next_step="Begin a new one.")
        frames = sum(len(block) for block in self._blocks[1:])
        sound = np.concatenate([*self._blocks, self._tone.after()]).tobytes()
        decoders, self._decoders = self._decoders, None
        silence = Heard(kind="silence", seconds=frames / EAR_RATE, recogniser=self._name)
        if self._loudness.silent:
            return silence
        loop = _decode(decoders[1], sound, best_only=True)
        if not loop:
            return silence  # not even one phone was better than none
        phrases = _decode(decoders[0], sound)
        found = tuple(one for one in phrases if accepts(self._graph, tuple(one.text.split())))
        if not found:
            return replace(silence, kind="other_words")
        other = loop[0].score - _LOOP_AHEAD
        if other > found[0].score:
            return replace(silence, kind="other_words", other_words=other)
        return replace(silence, kind="phrase", hypotheses=found[:_ALTERNATIVES], other_words=other)


def _decode(decoder: Any, sound: bytes, *, best_only: bool = False) -> list[Hypothesis]:
    decoder.start_utt()
    decoder.process_raw(sound, full_utt=True)
    decoder.end_utt()
    best = decoder.hyp()
    if best is None or not best.hypstr:
        return []
    scores = {_plain(best.hypstr): _natural(best.best_score)}
    listed = () if best_only else itertools.islice(decoder.nbest() or (), _SEARCHED)
    for other in listed:
        if other is not None and other.hypstr:
            text = _plain(other.hypstr)
            scores[text] = max(scores.get(text, -math.inf), _natural(other.score))
    ranked = sorted(scores.items(), key=lambda pair: (-pair[1], pair[0]))
    return [Hypothesis(text=text, score=score) for text, score in ranked]


def _natural(score: float) -> float:
    return math.log(max(score, 1e-300)) * _SCORE_SHIFT * _SHARPNESS


def _plain(text: str) -> str:
    """Drop the numbers that tell pronunciations of a word apart."""
    return " ".join(word.partition("(")[0] for word in text.split())


def _starting_at_zero(moves: Iterable[_Transition], start: int) -> list[_Transition]:
    """Swap the start with state 0, where pocketsphinx wants it."""
    swap = {start: 0, 0: start}
    return [(swap.get(a, a), swap.get(b, b), *rest) for a, b, *rest in moves]


def _phone_loop() -> _Search:
    """Any phones in any order: each is a word of one phone."""
    dictionary = _write_dictionary((f"+{phone}+", (phone,)) for phone in PHONES)
    moves: list[_Transition] = [(0, 0, _LOOP_PROBABILITY, f"+{phone}+") for phone in PHONES]
    return _Search(dictionary, 1, (*moves, (0, 1, 1.0)), best_only=True)


def _write_dictionary(entries: Iterable[tuple[str, tuple[str, ...]]]) -> Path:
    """Write pronunciations as pocketsphinx reads them: the second of a word is ``word(2)``."""
    rows = []
    seen: dict[str, int] = {}
    for word, said in entries:
        seen[word] = seen.get(word, 0) + 1
        name = word if seen[word] == 1 else f"{word}({seen[word]})"
        rows.append(f"{name} {' '.join(said)}\n")
    target = workspace() / f"dictionary-{len(list(workspace().glob('dictionary-*')))}.txt"
    target.write_text("".join(rows), encoding="utf-8")
    return target
