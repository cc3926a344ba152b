"""A reader of decoding graphs that shares no code with the builder: what a graph accepts."""

from __future__ import annotations

import heapq
import itertools
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import random
    from collections.abc import Iterator, Sequence

    from assistant.readings.wordgraph import WordGraph
    from assistant.speech.fstfile import Fst
    from assistant.speech.phonegraph import PhoneTable


def best_words(fst: Fst, frames: Sequence[int]) -> dict[tuple[int, ...], float]:
    """Cheapest cost of each output over the transition ids ``frames``, accepted to the end."""
    alive: dict[tuple[int, tuple[int, ...]], float] = {(fst.start, ()): 0.0}
    for frame in frames:
        after: dict[tuple[int, tuple[int, ...]], float] = {}
        for (state, said), cost in alive.items():
            for arc in fst.arcs[state]:
                assert arc.ilabel != 0, "these graphs have no empty arcs"
                if arc.ilabel == frame:
                    key = (arc.target, (*said, arc.olabel) if arc.olabel else said)
                    after[key] = min(after.get(key, float("inf")), cost + arc.weight)
        alive = after
    found: dict[tuple[int, ...], float] = {}
    for (state, said), cost in alive.items():
        if state in fst.finals:
            found[said] = min(found.get(said, float("inf")), cost + fst.finals[state])
    return found


def walk(fst: Fst, chance: random.Random, longest: int = 60) -> tuple[list[int], list[int], float]:
    """A random way from the start to a final state: its frames, its words, its cost."""
    distance = _to_final(fst)
    state, frames, words, cost = fst.start, [], [], 0.0
    while True:
        if state in fst.finals and (chance.random() < 0.2 or len(frames) > longest):
            return frames, words, cost + fst.finals[state]
        arcs = [arc for arc in fst.arcs[state] if arc.target in distance]
        if len(frames) > longest:
            arcs = [min(arcs, key=lambda arc: distance[arc.target])]
        arc = chance.choice(arcs)
        frames.append(arc.ilabel)
        words += [arc.olabel] if arc.olabel else []
        cost += arc.weight
        state = arc.target


def _to_final(fst: Fst) -> dict[int, int]:
    into: dict[int, list[int]] = {}
    for state, arcs in enumerate(fst.arcs):
        for arc in arcs:
            into.setdefault(arc.target, []).append(state)
    distance = dict.fromkeys(fst.finals, 0)
    waiting = [(0, state) for state in fst.finals]
    heapq.heapify(waiting)
    while waiting:
        steps, state = heapq.heappop(waiting)
        for before in into.get(state, ()):
            if before not in distance:
                distance[before] = steps + 1
                heapq.heappush(waiting, (steps + 1, before))
    return distance


def phone_of(frame: int, phones: PhoneTable) -> str:
    """The phone of a transition id: 2p enters phone p, 2p - 1 stays in it."""
    names = {number: name for name, number in phones.ids.items()}
    return names[(frame + 1) // 2]


def collapse(frames: Sequence[int], phones: PhoneTable) -> list[str]:
    """Read frames as CTC does: repeats of one label merge, then blanks go.

    Source: A. Graves et al., "Connectionist Temporal Classification", ICML 2006, the map B.
    """
    labels = [phone_of(frame, phones) for frame in frames]
    bases = ["" if name in {"SIL", "BLK_I"} else name[:-2] for name in labels]
    return [base for base, _ in itertools.groupby(bases) if base]


def phrases(graph: WordGraph, limit: int) -> Iterator[tuple[str, ...]]:
    """The first ``limit`` phrases of ``graph``, shortest first."""
    waiting: list[tuple[int, tuple[str, ...]]] = [(graph.start, ())]
    given = 0
    while waiting and given < limit:
        state, said = waiting.pop(0)
        if state in graph.finals and said:
            yield said
            given += 1
        if len(said) < 8:
            waiting += [
                (arc.target, (*said, arc.word)) for arc in graph.arcs if arc.source == state
            ]
