"""Phrases to train on: ways through the grammars, readings, and drills.

Every word comes often, and so does what is easily taken for something else. A phrase is a random
way through a grammar's graph that leads over an arc of a wanted word. The wanted word is always
the one furthest behind its share; words that are easily taken for each other have a larger share.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import numpy as np

from assistant.readings.grammarfile import grammar_names
from assistant.readings.graphs import any_graph, combined_graph

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from assistant.readings.wordgraph import WordArc, WordGraph

__all__ = ["SHARES", "PhraseSource", "draw_drills", "draw_phrases", "draw_readings"]

_TEENS: Final = ("thir", "four", "fif", "six", "seven", "eigh", "nine")
SHARES: Final[Mapping[str, float]] = {
    **{f"{stem}teen": 4.0 for stem in _TEENS},
    **dict.fromkeys(("twenty", "thirty", "forty", "fifty", "sixty", "seventy"), 4.0),
    **dict.fromkeys(("eighty", "ninety", "hundred", "point", "oh", "and", "half"), 4.0),
    **dict.fromkeys(("one", "two", "three", "four", "five", "six", "seven", "eight"), 4.0),
    **dict.fromkeys(("nine", "zero", "ten", "eleven", "twelve", "niner"), 3.0),
    **dict.fromkeys(("minus", "negative", "millivolts", "milliamps", "volts", "ohms"), 6.0),
    **dict.fromkeys(("kilohms", "megohms", "amps", "between", "jumping", "around"), 4.0),
    **dict.fromkeys(("lit", "blinking", "off", "distorted", "cool", "warm", "hot"), 3.0),
    **dict.fromkeys(("undo", "why", "skip", "can't", "repeat", "beep", "no", "yes"), 3.0),
}
"""How often a word is wanted, against 1 for a word that is not named."""
_LONGEST: Final = 9
_TRIES: Final = 6


@dataclass(slots=True)
class _Map:
    """A word graph with the arcs that leave and enter each state."""

    graph: WordGraph
    leaving: dict[int, list[WordArc]] = field(default_factory=dict)
    entering: dict[int, list[WordArc]] = field(default_factory=dict)
    saying: dict[str, list[WordArc]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for arc in self.graph.arcs:
            self.leaving.setdefault(arc.source, []).append(arc)
            self.entering.setdefault(arc.target, []).append(arc)
            self.saying.setdefault(arc.word, []).append(arc)


class PhraseSource:
    """Draws phrases. The same seed gives the same phrases, one after the other."""

    def __init__(self, seed: int) -> None:
        self._rng = np.random.default_rng(seed)
        graphs = [*(combined_graph(name) for name in grammar_names()), any_graph()]
        self._maps = [_Map(graph) for graph in graphs]
        self.counts = dict.fromkeys(sorted({w for m in self._maps for w in m.saying}), 0)

    def __iter__(self) -> Iterator[str]:
        while True:
            yield self.draw(self._wanted())

    def draw(self, word: str) -> str:
        """Draw a phrase with ``word`` in it; the shorter of two, to keep the words even."""
        usable = [one for one in self._maps if word in one.saying]
        found = [self._way(usable[int(self._rng.integers(len(usable)))], word) for _ in range(2)]
        for _ in range(_TRIES):
            if min(len(one) for one in found) <= _LONGEST:
                break
            found.append(self._way(usable[int(self._rng.integers(len(usable)))], word))
        shortest = min(found, key=len)
        for said in shortest:
            self.counts[said] += 1
        return " ".join(shortest)

    def _wanted(self) -> str:
        behind = {word: n / SHARES.get(word, 1.0) for word, n in self.counts.items()}
        least = min(behind.values())
        return str(self._rng.choice([word for word, n in behind.items() if n <= least + 0.5]))

    def _way(self, one: _Map, word: str) -> tuple[str, ...]:
        arc = self._pick(one.saying[word])
        before: list[str] = []
        at = arc.source
        while at != one.graph.start:
            step = self._pick(one.entering[at])
            before.append(step.word)
            at = step.source
        after = [word]
        at = arc.target
        while at in one.leaving and not (at in one.graph.finals and self._rng.random() < 0.7):
            step = self._pick(one.leaving[at])
            after.append(step.word)
            at = step.target
        return (*reversed(before), *after)

    def _pick(self, arcs: list[WordArc]) -> WordArc:
        return arcs[int(self._rng.integers(len(arcs)))]


def draw_phrases(count: int, seed: int) -> tuple[str, ...]:
    """Draw ``count`` phrases."""
    source = iter(PhraseSource(seed))
    return tuple(next(source) for _ in range(count))


_SMALL: Final = (
    *("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"),
    *("eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen"),
    *("eighteen", "nineteen"),
)
_TENS: Final = ("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
_UNITS: Final = (
    *("volts", "volts", "volts", "ohms", "ohms", "ohms", "millivolts", "millivolts", "amps"),
    *("amps", "milliamps", "kilohms", "megohms"),
)
_SHORT: Final = (
    *("beep", "no beep", "open line", "open", "overload", "lit", "blinking", "off", "yes", "no"),
    *("distorted", "cool", "warm", "too hot", "hot", "repeat", "undo", "why", "skip", "i can't"),
)


def _below_hundred(number: int) -> str:
    tens, ones = divmod(number, 10)
    if tens < 2:
        return _SMALL[number]
    return _TENS[tens - 2] + (f" {_SMALL[ones]}" if ones else "")


def _number(rng: np.random.Generator) -> str:
    """Say a number as a meter shows it; the teens and the tens come most."""

    def some(low: int, high: int) -> int:
        return int(rng.integers(low, high))

    def digits(count: int) -> str:
        row = (some(0, 10) for _ in range(count))
        return " ".join("oh" if not one and rng.random() < 0.6 else _SMALL[one] for one in row)

    ways = (
        (0.14, lambda: _SMALL[some(13, 20)]),
        (0.14, lambda: _TENS[some(1, 8)]),
        (0.08, lambda: _below_hundred(some(20, 100))),
        (0.14, lambda: f"{_below_hundred(some(0, 100))} point {_SMALL[some(0, 10)]}"),
        (0.12, lambda: f"{_SMALL[some(0, 20)]} point {digits(2)}"),
        (0.05, lambda: f"{rng.choice(['oh ', 'zero ', ''])}point {digits(some(1, 4))}"),
        (0.04, lambda: f"{_SMALL[some(1, 20)]} and a half"),
        (0.12, lambda: f"{_SMALL[some(2, 10)]} hundred and {_below_hundred(some(1, 100))}"),
        (0.06, lambda: f"{_SMALL[some(10, 20)]} {digits(some(1, 3))}"),
        (0.11, lambda: _SMALL[some(0, 10)]),
    )
    way = int(rng.choice(len(ways), p=[share for share, _ in ways]))
    return ways[way][1]().strip()


def draw_readings(count: int, seed: int) -> tuple[str, ...]:
    """Draw ``count`` readings as people say them: numbers with and without a unit, answers."""
    rng = np.random.default_rng(seed)
    drawn = []
    for _ in range(count):
        turn = rng.random()
        if turn < 0.13:
            drawn.append(str(rng.choice(_SHORT)))
            continue
        said = _number(rng)
        if turn > 0.5:
            sign = str(rng.choice(["minus ", "negative "])) if rng.random() < 0.12 else ""
            said = f"{sign}{said} {rng.choice(_UNITS)}"
        drawn.append(said)
    return tuple(drawn)


_SINGLE: Final = (*_SMALL[:13], "oh", "niner", "hundred", "thousand", "point", "minus", "half")


def draw_drills(count: int, seed: int) -> tuple[str, ...]:
    """Draw ``count`` short phrases: teens and tens, single words, digits one by one."""
    rng = np.random.default_rng(seed)

    def pick(words: Sequence[str]) -> str:
        return str(words[int(rng.integers(len(words)))])

    def pair() -> str:
        stem = int(rng.integers(3, 10))
        return _SMALL[stem + 10] if rng.random() < 0.5 else _TENS[stem - 2]

    def digits(low: int, high: int) -> str:
        return " ".join(pick(_SMALL[:10]) for _ in range(int(rng.integers(low, high))))

    ways = (
        (0.20, pair),
        (0.12, lambda: f"{pair()} {pick(_UNITS)}"),
        (0.08, lambda: f"{pair()} point {digits(1, 3)}"),
        (0.05, lambda: f"{pick(('a', 'one', 'two', 'three'))} hundred and {pair()}"),
        (0.20, lambda: pick(_SINGLE)),
        (0.08, lambda: f"{pick(_SMALL[:13])} {pick(_UNITS)}"),
        (0.08, lambda: f"{digits(1, 4)} point {digits(1, 3)}"),
        (0.07, lambda: digits(2, 5)),
        (0.12, lambda: pick(_SHORT)),
    )
    turns = rng.choice(len(ways), count, p=[share for share, _ in ways])
    return tuple(ways[int(turn)][1]() for turn in turns)
