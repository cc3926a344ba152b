"""Finite acceptors of words: building, making deterministic, making minimal.

All languages here are finite, so that the minimal acceptor comes from one pass over the states
from the ends back (Revuz, "Minimisation of acyclic deterministic automata in linear time",
Theoretical Computer Science 92, 1992).
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.readings.wordgraph import WordArc, WordGraph

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = ["Acceptor", "Builder", "minimal", "union", "word_graph"]


@dataclass(frozen=True, slots=True)
class Acceptor:
    """A deterministic acceptor: ``rows[state]`` gives the next state of each word; start is 0."""

    rows: tuple[dict[str, int], ...]
    finals: frozenset[int]


class Builder:
    """A non-deterministic acceptor under construction; state 0 is its start, 1 its end."""

    def __init__(self) -> None:
        self.words: list[list[tuple[str, int]]] = [[], []]
        self.empties: list[list[int]] = [[], []]

    def state(self) -> int:
        """Add a state."""
        self.words.append([])
        self.empties.append([])
        return len(self.words) - 1

    def splice(self, part: Acceptor, source: int, target: int) -> None:
        """Put ``part`` between two states."""
        offset = len(self.words)
        for row in part.rows:
            self.words.append([(word, state + offset) for word, state in row.items()])
            self.empties.append([])
        self.empties[source].append(offset)
        for final in part.finals:
            self.empties[final + offset].append(target)

    def closure(self, states: Iterable[int]) -> frozenset[int]:
        """All states reached without a word."""
        seen = set(states)
        stack = list(seen)
        while stack:
            for state in self.empties[stack.pop()]:
                if state not in seen:
                    seen.add(state)
                    stack.append(state)
        return frozenset(seen)


def minimal(builder: Builder) -> Acceptor:
    """Give the smallest deterministic acceptor of the builder's language."""
    start = builder.closure([0])
    numbers = {start: 0}
    rows: list[dict[str, int]] = []
    finals: set[int] = set()
    todo = deque([start])
    while todo:
        subset = todo.popleft()
        if 1 in subset:
            finals.add(len(rows))
        targets: dict[str, set[int]] = {}
        for state in subset:
            for word, target in builder.words[state]:
                targets.setdefault(word, set()).add(target)
        row: dict[str, int] = {}
        for word, reached in targets.items():
            closed = builder.closure(reached)
            if closed not in numbers:
                numbers[closed] = len(numbers)
                todo.append(closed)
            row[word] = numbers[closed]
        rows.append(row)
    return _merge(rows, finals)


def _merge(rows: list[dict[str, int]], finals: set[int]) -> Acceptor:
    """Merge states with the same future and drop those that lead nowhere."""
    merged: dict[int, int | None] = {}
    known: dict[tuple[bool, frozenset[tuple[str, int]]], int] = {}
    futures: list[frozenset[tuple[str, int]]] = []
    for state in _ends_first(rows):
        future = frozenset(
            (word, target)
            for word, old in rows[state].items()
            if (target := merged[old]) is not None
        )
        is_final = state in finals
        if not future and not is_final:
            merged[state] = None
            continue
        key = (is_final, future)
        if key not in known:
            known[key] = len(futures)
            futures.append(future)
        merged[state] = known[key]
    start = merged[0]
    if start is None:
        return Acceptor(({},), frozenset())
    # start first, the rest in the order in which a search from the start meets them
    order = {start: 0}
    queue = deque([start])
    while queue:
        for _, target in sorted(futures[queue.popleft()]):
            if target not in order:
                order[target] = len(order)
                queue.append(target)
    final_states = {number for (is_final, _), number in known.items() if is_final}
    return Acceptor(
        tuple({word: order[target] for word, target in sorted(futures[old])} for old in order),
        frozenset(order[old] for old in order if old in final_states),
    )


def _ends_first(rows: list[dict[str, int]]) -> list[int]:
    """States so that each comes after all that it leads to (the graph has no cycles)."""
    done: list[int] = []
    seen = {0}
    stack = [(0, iter(rows[0].values()))]
    while stack:
        state, targets = stack[-1]
        for target in targets:
            if target not in seen:
                seen.add(target)
                stack.append((target, iter(rows[target].values())))
                break
        else:
            stack.pop()
            done.append(state)
    return done


def union(parts: Iterable[Acceptor]) -> Acceptor:
    """Give the acceptor of whatever any of ``parts`` accepts."""
    builder = Builder()
    for part in parts:
        builder.splice(part, 0, 1)
    return minimal(builder)


def word_graph(acceptor: Acceptor) -> WordGraph:
    """Give the shared form that the ear takes."""
    return WordGraph(
        start=0,
        finals=acceptor.finals,
        arcs=tuple(
            WordArc(source=source, target=target, word=word)
            for source, row in enumerate(acceptor.rows)
            for word, target in row.items()
        ),
    )
