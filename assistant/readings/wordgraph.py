"""Word graphs: the finite language of one grammar, shared by the parser and the ear."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["WordArc", "WordGraph"]


@dataclass(frozen=True, slots=True, kw_only=True)
class WordArc:
    """One word between two states; ``cost`` is a negative log weight, 0 for a plain arc."""

    source: int
    target: int
    word: str
    cost: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class WordGraph:
    """A word acceptor without empty arcs: every path from ``start`` to a final is a phrase."""

    start: int
    finals: frozenset[int]
    arcs: tuple[WordArc, ...]

    @property
    def words(self) -> frozenset[str]:
        """All words on the arcs."""
        return frozenset(arc.word for arc in self.arcs)
