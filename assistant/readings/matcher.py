"""Matching tokens against the sentences of a grammar, with what stands in each slot.

The templates become a non-deterministic machine whose empty arcs carry marks: a sentence
begins, a slot opens or closes, a list entry was taken. All paths are followed side by side, so
that a text with two readings gives both.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Final, Literal, TypeAlias

from assistant.readings.grammarfile import GrammarFile, Sentence, load_grammar
from assistant.readings.template import Choice, Keep, Node, Refer, TextOnly, Word
from assistant.readings.template import Sequence as Series
from assistant.readings.tokens import Token, word_key

__all__ = ["Match", "Matcher", "Slot", "matcher"]

_Mark: TypeAlias = tuple[Literal["sentence", "open", "close", "entry"], str]
_Trail: TypeAlias = tuple[tuple[_Mark, int], ...]
_MOST_PATHS: Final = 4000


@dataclass(frozen=True, slots=True)
class Slot:
    """What stands in a slot: its tokens, and the ids of the list entries taken in it."""

    tokens: tuple[Token, ...]
    entries: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Match:
    """One way in which tokens ``start`` to ``end`` are a sentence; repeated slots in order."""

    sentence: int
    start: int
    end: int
    slots: Mapping[str, tuple[Slot, ...]] = field(hash=False)


@dataclass(slots=True)
class _Moves:
    """Where a state leads: by each label, and to the end, with the marks on the way."""

    by_label: dict[str, list[tuple[tuple[_Mark, ...], int]]] = field(default_factory=dict)
    ends: list[tuple[_Mark, ...]] = field(default_factory=list)


class Matcher:
    """All sentences of one grammar, ready to match; made by ``matcher``."""

    def __init__(self, file: GrammarFile) -> None:
        self.file = file
        self._words: list[list[tuple[str, int]]] = [[], []]
        self._empties: list[list[tuple[_Mark | None, int]]] = [[], []]
        self._moves: dict[int, _Moves] = {}
        for number, sentence in enumerate(file.sentences):
            start = self._state()
            self._empties[0].append((("sentence", str(number)), start))
            self._draw(file, sentence.node, start, 1)

    def _state(self) -> int:
        self._words.append([])
        self._empties.append([])
        return len(self._words) - 1

    def _draw(self, file: GrammarFile, node: Node, source: int, target: int) -> None:
        match node:
            case Word(text=text):
                self._words[source].append((word_key(text), target))
            case Series(parts=parts):
                at = source
                for part in parts:
                    after = self._state()
                    self._draw(file, part, at, after)
                    at = after
                self._empties[at].append((None, target))
            case Choice(options=options):
                for option in options:
                    self._draw(file, option, source, target)
            case TextOnly(part=part):
                self._draw(file, part, source, target)
            case Keep(slot=slot, part=part):
                first, last = self._state(), self._state()
                self._empties[source].append((("open", slot), first))
                self._empties[last].append((("close", slot), target))
                self._draw(file, part, first, last)
            case Refer(name=name):
                self._draw_named(file, name, source, target)

    def _draw_named(self, file: GrammarFile, name: str, source: int, target: int) -> None:
        owner, found = file.find(name)
        if not isinstance(found, Mapping):
            self._draw(owner, found, source, target)
            return
        for entry, inner in found.items():
            taken = self._state()
            self._draw(owner, inner, source, taken)
            self._empties[taken].append((("entry", entry), target))

    @property
    def labels(self) -> frozenset[str]:
        """All words of the grammar, as texts are compared."""
        return frozenset(label for row in self._words for label, _ in row)

    def _moves_of(self, state: int) -> _Moves:
        if state in self._moves:
            return self._moves[state]
        moves = _Moves()
        seen: set[tuple[int, tuple[_Mark, ...]]] = set()
        stack: list[tuple[int, tuple[_Mark, ...]]] = [(state, ())]
        while stack:
            here = stack.pop()
            if here in seen:
                continue
            seen.add(here)
            at, marks = here
            if at == 1:
                moves.ends.append(marks)
            for label, target in self._words[at]:
                moves.by_label.setdefault(label, []).append((marks, target))
            for mark, target in self._empties[at]:
                stack.append((target, marks if mark is None else (*marks, mark)))
        self._moves[state] = moves
        return moves

    def matches(self, tokens: Sequence[Token], start: int = 0) -> list[Match]:
        """Give every sentence that begins at ``start``, whatever follows it."""
        found: dict[tuple[int, _Trail], Match] = {}
        paths: set[tuple[int, _Trail]] = {(0, ())}
        for at in range(start, len(tokens) + 1):
            further: set[tuple[int, _Trail]] = set()
            for state, trail in paths:
                moves = self._moves_of(state)
                if at > start:
                    for marks in moves.ends:
                        whole = (*trail, *((mark, at) for mark in marks))
                        found.setdefault((at, whole), self._match(tokens, start, at, whole))
                if at < len(tokens):
                    for marks, target in moves.by_label.get(tokens[at].label, ()):
                        further.add((target, (*trail, *((mark, at) for mark in marks))))
            if not further or len(further) > _MOST_PATHS:
                break
            paths = further
        return sorted(found.values(), key=lambda match: (match.end, match.sentence))

    def _match(self, tokens: Sequence[Token], start: int, end: int, trail: _Trail) -> Match:
        sentence = 0
        slots: dict[str, tuple[Slot, ...]] = {}
        opened: list[tuple[int, list[str]]] = []
        for (kind, name), at in trail:
            if kind == "sentence":
                sentence = int(name)
            elif kind == "open":
                opened.append((at, []))
            elif kind == "entry":
                if opened:
                    opened[-1][1].append(name)
            else:
                since, entries = opened.pop()
                slot = Slot(tuple(tokens[since:at]), tuple(entries))
                slots[name] = (*slots.get(name, ()), slot)
        return Match(sentence, start, end, slots)

    def sentence(self, match: Match) -> Sentence:
        """Give the sentence of the grammar that ``match`` is one of."""
        return self.file.sentences[match.sentence]


@cache
def matcher(name: str) -> Matcher:
    """Give the matcher of one grammar, made once a process."""
    return Matcher(load_grammar(name))
