"""From a word graph to the decoding graph of a CTC phone network.

Every word arc becomes its chain of phones: the first frame of a phone takes the forward
transition, each further frame its self-loop. Between two phones of a word a blank may stand, and
must stand where both are the same phone; between two words silence may stand, and must where the
last phone of one is the first of the next. Otherwise a network that writes one phone once would
be read as two. The start is final: silence is no word.

Beside the phrases a loop over all phones may stand, which tells how well the sound is explained
by any words at all. How far the phrases stay behind it tells readings from other talk.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Final

from assistant.errors import GivenError
from assistant.speech.fstfile import Fst
from assistant.speech.lexicon import Lexicon, require_words

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assistant.readings.wordgraph import WordArc, WordGraph

__all__ = [
    "EMPTY_WORD",
    "OTHER_WORDS",
    "DecodingGraph",
    "GraphCosts",
    "PhoneTable",
    "build_graph",
    "builtin_phones",
    "with_other_words",
]

EMPTY_WORD: Final = "<eps>"
OTHER_WORDS: Final = "[other]"
SILENCE: Final = "SIL"
BLANK: Final = "BLK_I"


@dataclass(frozen=True, slots=True, kw_only=True)
class GraphCosts:
    """Costs in the graph: per frame of blank, per word, per phone of the loop, to enter it."""

    blank: float
    word: float
    loop_phone: float
    other_words: float

    def scaled(self, share: float) -> GraphCosts:
        """Give so much of each cost."""
        return GraphCosts(
            blank=share * self.blank,
            word=share * self.word,
            loop_phone=share * self.loop_phone,
            other_words=share * self.other_words,
        )


@dataclass(frozen=True, slots=True)
class PhoneTable:
    """The network's phones by their names (``SIL``, ``BLK_I``, ``AA_B`` ...), numbered from 1."""

    ids: Mapping[str, int]

    def forward(self, phone: str) -> int:
        """Give the transition that enters ``phone`` (its first frame)."""
        return 2 * self.ids[phone]

    def again(self, phone: str) -> int:
        """Give the self-loop of ``phone`` (each further frame)."""
        return 2 * self.ids[phone] - 1

    @property
    def bases(self) -> tuple[str, ...]:
        """The phones without their place in the word."""
        return tuple(sorted({name[:-2] for name in self.ids if name.endswith("_S")}))


@dataclass(frozen=True, slots=True)
class DecodingGraph:
    """The graph and its words; ``words[olabel]`` is what an arc says, entry 0 is empty."""

    fst: Fst
    words: tuple[str, ...]


@cache
def builtin_phones() -> PhoneTable:
    """Give the phones of the built-in model."""
    source = files("assistant.speech").joinpath("builtin", "graph", "phones.txt")
    pairs = (line.split() for line in source.read_text(encoding="ascii").splitlines())
    return PhoneTable({name: int(number) for name, number in pairs if name != EMPTY_WORD})


def build_graph(
    words: WordGraph, lexicon: Lexicon, phones: PhoneTable, costs: GraphCosts
) -> DecodingGraph:
    """Build the decoding graph whose output language is that of ``words``, or nothing.

    The same arguments give the same graph, state by state. Raises ``GivenError`` when a word
    has no phones or when the graph has no arcs.
    """
    if not words.arcs:
        raise GivenError("The grammar has no words.", next_step="Give it at least one phrase.")
    require_words(words.words, lexicon)
    table = (EMPTY_WORD, *sorted(words.words))
    builder = _Builder(words, lexicon, phones, costs, {word: k for k, word in enumerate(table)})
    return DecodingGraph(builder.build(), table)


def with_other_words(graph: DecodingGraph, phones: PhoneTable, costs: GraphCosts) -> DecodingGraph:
    """Give ``graph`` with a branch for other words: any phones, silence between any two.

    The branch says ``OTHER_WORDS`` on its first phone and nothing after, so that a decoder which
    lists what was said lists all the ways through it as one, with the score of the best. It has
    no empty arcs: with them vosk takes minutes over a minute of noise.
    """
    fst = Fst(graph.fst.start, [list(arcs) for arcs in graph.fst.arcs], dict(graph.fst.finals))
    label, enter = len(graph.words), phones.forward(SILENCE)
    before, between = fst.add_state(), fst.add_state()
    nodes = {base: fst.add_state() for base in phones.bases}
    fst.add_arc(fst.start, enter, 0, costs.blank, before)
    for silence in (before, between):
        fst.add_arc(silence, phones.again(SILENCE), 0, costs.blank, silence)
    for source in (fst.start, before):
        for base, node in nodes.items():
            cost = costs.other_words + costs.loop_phone
            fst.add_arc(source, phones.forward(f"{base}_S"), label, cost, node)
    for base, node in nodes.items():
        fst.add_arc(node, phones.again(f"{base}_S"), 0, 0.0, node)
        fst.add_arc(node, enter, 0, costs.blank, between)
    for source in (between, *nodes.values()):
        fst.finals[source] = 0.0
        for base, node in nodes.items():
            if source != node:
                fst.add_arc(source, phones.forward(f"{base}_S"), 0, costs.loop_phone, node)
    return DecodingGraph(fst, (*graph.words, OTHER_WORDS))


@dataclass(frozen=True, slots=True)
class _Entry:
    """How a word is entered: its first phone, and the arc that says it."""

    base: str
    ilabel: int
    olabel: int
    cost: float
    target: int


class _Builder:
    def __init__(
        self,
        words: WordGraph,
        lexicon: Lexicon,
        phones: PhoneTable,
        costs: GraphCosts,
        labels: Mapping[str, int],
    ) -> None:
        self._words = words
        self._lexicon = lexicon
        self._phones = phones
        self._costs = costs
        self._labels = labels
        self._fst = Fst()
        self._chains: dict[tuple[int, tuple[str, ...]], int] = {}
        self._gaps: dict[tuple[int, tuple[str, ...]], int] = {}
        self._after_phone: dict[tuple[int, str], int] = {}
        self._after_silence: dict[int, int] = {}
        self._entries: dict[int, list[_Entry]] = {}

    def build(self) -> Fst:
        fst = self._fst
        start = fst.start = fst.add_state()
        fst.finals[start] = 0.0
        for arc in sorted(self._words.arcs, key=_arc_key):
            for said in self._lexicon[arc.word]:
                self._word(arc, said)
        for (state, phone), node in sorted(self._after_phone.items()):
            self._leave(state, node, last=phone[:-2])
            self._blank_arc(node, SILENCE, self._silence(state))
        self._leave(self._words.start, start, last=None)
        self._blank_arc(start, SILENCE, self._silence(self._words.start))
        fst.finals[self._silence(self._words.start)] = 0.0
        for state, node in sorted(self._after_silence.items()):
            self._leave(state, node, last=None)
        return fst

    def _word(self, arc: WordArc, said: tuple[str, ...]) -> None:
        """Add the chain of one pronunciation, without the arcs that enter it."""
        names = tuple(
            f"{base}_{place}" for base, place in zip(said, _places(len(said)), strict=True)
        )
        entry = _Entry(
            said[0],
            self._phones.forward(names[0]),
            self._labels[arc.word],
            arc.cost + self._costs.word,
            self._chain(arc.target, names),
        )
        self._entries.setdefault(arc.source, []).append(entry)

    def _chain(self, state: int, names: tuple[str, ...]) -> int:
        """Give the node of the first of ``names``, phones that lead to ``state``.

        Words that end alike in the same state share the nodes of that end.
        """
        if (state, names) in self._chains:
            return self._chains[state, names]
        node = self._chains[state, names] = self._looped(names[0], 0.0)
        if len(names) == 1:
            self._after_phone[state, names[0]] = node
            return node
        after, forward = self._chain(state, names[1:]), self._phones.forward(names[1])
        if (state, names[1:]) not in self._gaps:
            gap = self._gaps[state, names[1:]] = self._looped(BLANK, self._costs.blank)
            self._fst.add_arc(gap, forward, 0, 0.0, after)
        self._blank_arc(node, BLANK, self._gaps[state, names[1:]])
        if names[1][:-2] != names[0][:-2]:
            self._fst.add_arc(node, forward, 0, 0.0, after)
        return node

    def _leave(self, state: int, node: int, last: str | None) -> None:
        """Let ``node`` end what came before: the phrase may end, or any next word begins."""
        if state in self._words.finals:
            self._fst.finals[node] = 0.0
        for entry in self._entries.get(state, ()):
            if entry.base != last:
                self._fst.add_arc(node, entry.ilabel, entry.olabel, entry.cost, entry.target)

    def _silence(self, state: int) -> int:
        if state not in self._after_silence:
            self._after_silence[state] = self._looped(SILENCE, self._costs.blank)
        return self._after_silence[state]

    def _looped(self, name: str, cost: float) -> int:
        """Add a node that stays for as long as ``name`` lasts."""
        node = self._fst.add_state()
        self._fst.add_arc(node, self._phones.again(name), 0, cost, node)
        return node

    def _blank_arc(self, source: int, name: str, target: int) -> None:
        self._fst.add_arc(source, self._phones.forward(name), 0, self._costs.blank, target)


def _places(length: int) -> str:
    return "S" if length == 1 else "B" + "I" * (length - 2) + "E"


def _arc_key(arc: WordArc) -> tuple[int, int, str, float]:
    return arc.source, arc.target, arc.word, arc.cost
