"""Readings of a case as the drawing shows them: numbered, and gathered by node."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.reports.phrases import (
    probe_words,
    reading_words,
    setup_words,
    state_words,
)

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assistant.diagnosis.records import Step
    from assistant.knowledge.schema import Do

__all__ = ["Measured", "NodeNotes", "measured_steps", "notes_by_node"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One reading; ``number`` is that of its step, counted from 1 over all steps."""

    number: int
    do: Do
    value: str
    state: str
    setup: str
    where: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NodeNotes:
    """What was measured at one node: readings with the red probe on it, numbers with the black."""

    red: tuple[Measured, ...] = ()
    black: tuple[int, ...] = ()

    @property
    def seen_only(self) -> bool:
        """True where no probe was needed: a light, a sound, a warm case."""
        return not self.black and all(entry.do.black is None for entry in self.red)


def measured_steps(steps: Sequence[Step]) -> tuple[Measured, ...]:
    """Give the steps that brought a reading, in order, each with its number among all steps."""
    return tuple(
        Measured(
            number=index,
            do=step.check.do,
            value=reading_words(step.reading),
            state=state_words(step.check.do),
            setup=setup_words(step.check.do),
            where=probe_words(step.check.do),
        )
        for index, step in enumerate(steps, start=1)
        if step.kind == "reading" and step.check is not None and step.reading is not None
    )


def notes_by_node(measured: Sequence[Measured]) -> Mapping[str, NodeNotes]:
    """Gather the readings by node or place, nodes in the order of first use."""
    notes: dict[str, NodeNotes] = {}
    for entry in measured:
        old = notes.get(entry.do.red, NodeNotes())
        notes[entry.do.red] = NodeNotes(red=(*old.red, entry), black=old.black)
        if entry.do.black is not None:
            old = notes.get(entry.do.black, NodeNotes())
            notes[entry.do.black] = NodeNotes(red=old.red, black=(*old.black, entry.number))
    return notes
