"""What an ear gives: phrases with scores, and the protocol that every recogniser keeps."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, Protocol, TypeAlias

from assistant.readings import any_graph, combined_graph
from assistant.readings.fusion import Hypothesis
from assistant.readings.wordgraph import WordGraph

if TYPE_CHECKING:
    from assistant.speech.audio import Samples

__all__ = [
    "ANY",
    "GraphSource",
    "Heard",
    "HeardKind",
    "Hypothesis",
    "Recogniser",
    "Stream",
    "acceptor",
    "accepts",
    "spoken_graph",
]

ANY = "any"
"""The name of the graph of all grammars, for when nothing is expected."""

HeardKind: TypeAlias = Literal["phrase", "silence", "other_words"]
GraphSource: TypeAlias = Callable[[str], WordGraph]
"""Gives the word graph of a grammar by its name."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """What was heard in one stretch of sound.

    ``hypotheses`` are phrases of the grammar, best first, without repetition; empty unless
    ``kind`` is ``phrase``. Scores are natural logarithms, scaled per recogniser so that their
    exponentials are relative weights: a margin of 3 is about twenty to one.
    ``other_words`` is the score of the best explanation by words outside the grammar, on the
    same scale, where the recogniser has one and it came close. It may be a little above that of
    the best phrase, which is then to be asked back. ``seconds`` is how long the sound lasted.
    """

    kind: HeardKind
    hypotheses: tuple[Hypothesis, ...] = ()
    other_words: float | None = None
    seconds: float = 0.0
    recogniser: str = ""

    @property
    def text(self) -> str:
        """The best phrase, or nothing."""
        return self.hypotheses[0].text if self.hypotheses else ""

    @property
    def margin(self) -> float:
        """Score of the best phrase above the next one; infinite where it stands alone."""
        if len(self.hypotheses) < 2:
            return math.inf
        return self.hypotheses[0].score - self.hypotheses[1].score

    @property
    def outweighed(self) -> bool:
        """Whether words outside the grammar explain the sound better than the best phrase."""
        if not self.hypotheses or self.other_words is None:
            return False
        return self.other_words > self.hypotheses[0].score

    @property
    def weights(self) -> tuple[float, ...]:
        """Share of each hypothesis in [0, 1]; what is missing to 1 goes to other words."""
        if not self.hypotheses:
            return ()
        top = self.hypotheses[0].score
        parts = [math.exp(found.score - top) for found in self.hypotheses]
        rest = 0.0 if self.other_words is None else math.exp(min(50.0, self.other_words - top))
        return tuple(part / (sum(parts) + rest) for part in parts)


class Stream(Protocol):
    """One utterance on its way in; used once, from begin to finish."""

    def feed(self, pcm: Samples) -> None:
        """Take more sound: 16 kHz mono samples, any number of them."""
        ...

    def finish(self) -> Heard:
        """Tell what was heard; nothing may be fed afterwards (``MisuseError``)."""
        ...


class Recogniser(Protocol):
    """An ear. One may be shared by a process; every stream has a decoder of its own."""

    @property
    def name(self) -> str:
        """What it is, in words for a person."""
        ...

    def begin(self, grammar: str) -> Stream:
        """Open a stream that listens for the phrases of ``grammar``, ready for sound."""
        ...


def spoken_graph(name: str) -> WordGraph:
    """Give the graph of an open check's grammar with all commands, or of everything (``any``)."""
    return any_graph() if name == ANY else combined_graph(name)


def accepts(graph: WordGraph, words: tuple[str, ...]) -> bool:
    """Tell whether ``words`` is a whole phrase of ``graph``."""
    return acceptor(graph)(words)


def acceptor(graph: WordGraph) -> Callable[[tuple[str, ...]], bool]:
    """Give ``accepts`` for one graph, for many phrases: its arcs are sorted only once."""
    arcs: dict[tuple[int, str], set[int]] = {}
    for arc in graph.arcs:
        arcs.setdefault((arc.source, arc.word), set()).add(arc.target)

    def accept(words: tuple[str, ...]) -> bool:
        states = {graph.start}
        for word in words:
            states = {target for state in states for target in arcs.get((state, word), ())}
        return bool(states & graph.finals)

    return accept
