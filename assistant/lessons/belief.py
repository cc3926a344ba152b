"""The program's belief, run over what a trainee did: what each turn told.

The car shares nothing with the program's reasoning; this module only lets that reasoning look
on. It is behind by as many turns as nobody has asked about.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.diagnosis.session import Diagnosis

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from assistant.diagnosis.records import Belief, NextStep
    from assistant.knowledge.schema import Complaint, Installation
    from assistant.lessons.events import Turn

__all__ = ["BeliefRun", "Insight"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Insight:
    """What one turn told. ``bits`` is what its check was worth at that moment, 0 for others."""

    bits: float
    before: Belief
    after: Belief


class BeliefRun:
    """A diagnosis that follows a lesson; deterministic for a seed."""

    def __init__(
        self, installation: Installation, complaint: Complaint, *, seed: int, worlds: int | None
    ) -> None:
        self._opening = (installation, complaint, seed, worlds)
        self._opened: Diagnosis | None = None
        self._insights: list[Insight] = []

    @property
    def _diagnosis(self) -> Diagnosis:
        if self._opened is None:
            installation, complaint, seed, worlds = self._opening
            self._opened = Diagnosis.open(
                installation=installation, complaint=complaint, seed=seed, worlds=worlds
            )
        return self._opened

    def follow(
        self, turns: Sequence[Turn], *, progress: Callable[[int], None] | None = None
    ) -> tuple[Insight, ...]:
        """Catch up with ``turns``, of which those followed before must be the first.

        ``progress`` is told the number of turns followed.
        """
        for turn in turns[len(self._insights) :]:
            self._insights.append(self._step(turn))
            if progress is not None:
                progress(len(self._insights))
        return tuple(self._insights)

    def _step(self, turn: Turn) -> Insight:
        diagnosis = self._diagnosis
        before, bits = diagnosis.belief(), 0.0
        if turn.kind == "check" and turn.reading is not None:
            bits = diagnosis.describe(turn.id).bits
            diagnosis.observe(turn.id, turn.reading)
        elif turn.kind == "repair" and turn.minutes > 0:
            # The repair that ends the trouble costs no minutes and is not told: the belief that
            # led to it stays the last one.
            if turn.complaint is None:
                diagnosis.repaired(turn.id, fixed=False)
            else:
                self._open_anew(turn.complaint)
        return Insight(bits=bits, before=before, after=self._diagnosis.belief())

    def _open_anew(self, complaint: Complaint) -> None:
        """One trouble is gone and another one shows: a new case, as in a shop.

        What was measured with the old fault in the car says little about the new one.
        """
        installation, _, seed, worlds = self._opening
        self._opening = (installation, complaint, seed, worlds)
        self._opened = None

    def next_step(self, turns: Sequence[Turn]) -> NextStep:
        """Give the program's own next step after ``turns``."""
        self.follow(turns)
        return self._diagnosis.next_step()

    def belief(self, turns: Sequence[Turn]) -> Belief:
        """Give the program's belief after ``turns``."""
        self.follow(turns)
        return self._diagnosis.belief()
