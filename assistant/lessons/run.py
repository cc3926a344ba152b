"""One run of a lesson with what each turn told about the repair that was right."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from assistant.diagnosis.records import Belief
    from assistant.lessons.belief import Insight
    from assistant.lessons.events import Turn
    from assistant.lessons.lesson import Lesson

__all__ = ["Run", "Told", "percent", "run_of"]


def percent(probability: float) -> str:
    """Write a probability in per cent; never 0% or 100%, for no evidence proves that much."""
    if probability > 0.995:
        return "over 99%"
    return "under 1%" if probability < 0.005 else f"{probability * 100:.0f}%"


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """A turn, the bits that its check was worth, and the belief in the right repair around it.

    ``before`` and ``after`` are in [0, 1]. ``named`` is the belief in the repair that this turn
    names, before it; None for checks.
    """

    turn: Turn
    bits: float
    before: float
    after: float
    named: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """Who did what when. ``minutes`` are those of checks, of switching off and of vain repairs.

    ``curve`` are points (minute, belief in a right repair in [0, 1]) from minute 0 on.
    """

    told: tuple[Told, ...]
    minutes: float
    checks: int
    vain: int
    hints: int
    right: bool
    curve: tuple[tuple[float, float], ...]

    @property
    def first_right(self) -> bool:
        """Whether the first repair put something right."""
        repairs = [told for told in self.told if told.turn.kind == "repair"]
        return bool(repairs) and bool(repairs[0].turn.mended)


def run_of(
    lesson: Lesson,
    insights: Sequence[Insight],
    share: Callable[[tuple[str, ...], Belief], float],
) -> Run:
    """Join a lesson's turns with what they told.

    ``share`` gives the belief in a right repair for the faults that are still hidden.
    """
    hidden = lesson.plan.faults
    told: list[Told] = []
    curve: list[tuple[float, float]] = []
    for turn, insight in zip(lesson.turns, insights, strict=True):
        before = share(hidden, insight.before)
        left = tuple(fault for fault in hidden if fault not in turn.mended)
        # After the last fault is mended there is no right repair any more: keep what it was.
        after = share(left or hidden, insight.after)
        named = dict(insight.before.repairs).get(turn.id, 0.0) if turn.kind == "repair" else None
        told.append(
            Told(
                turn=turn,
                bits=insight.bits,
                before=before,
                after=after,
                named=named,
            )
        )
        if not curve:
            curve.append((0.0, before))
        curve.append((turn.end, after))
        hidden = left or hidden
    repairs = [item for item in told if item.turn.kind == "repair"]
    if not curve:
        curve.append((0.0, share(hidden, lesson.beliefs.belief(()))))
    return Run(
        told=tuple(told),
        minutes=lesson.minutes,
        checks=sum(item.turn.kind == "check" for item in told),
        vain=sum(not item.turn.mended for item in repairs),
        hints=lesson.hints,
        right=lesson.right,
        curve=tuple(curve),
    )
