"""Which observation shows that a repair held, and whether it does."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from assistant.conversation.scene import Proof
from assistant.readings.reading import Reading, Unstable, Value

if TYPE_CHECKING:
    from assistant.diagnosis.records import Diagnosing, Expectation

__all__ = ["find_failing", "same_answer", "still_failing"]

_CLEARLY: Final = 3.0
"""How much likelier a reading must be with the fault than without it (set by hand)."""
_METER: Final = 0.05
"""Readings of one place that differ by less than this share are the same (common practice)."""
_LEFT: Final = 0.25
"""Share of the way back to the expected range that may be left after a repair (set by hand)."""


def find_failing(diagnosis: Diagnosing, repair: str) -> Proof | None:
    """Give the first observation that a car with ``repair`` done would hardly give.

    Only what was told since the last repair counts. None when no reading speaks of the fault.
    The diagnosis is as before afterwards.
    """
    repairs = [i for i, step in enumerate(diagnosis.steps) if step.kind == "repaired"]
    since = diagnosis.steps[repairs[-1] + 1 if repairs else 0 :]
    told = [(s.check.id, s.reading) for s in since if s.check and s.reading is not None]
    present = [diagnosis.weigh(check, [reading])[0] for check, reading in told]
    diagnosis.repaired(repair, fixed=False)
    try:
        for (check, reading), before in zip(told, present, strict=True):
            if before > _CLEARLY * diagnosis.weigh(check, [reading])[0]:
                expect = diagnosis.describe(check).expect
                return Proof(repair=repair, check=check, failing=reading, healthy=expect)
    finally:
        diagnosis.undo()
    return None


def same_answer(first: Reading, second: Reading) -> bool:
    """Tell whether two answers to one check are the same within what a meter repeats."""
    match first, second:
        case Value(), Value():
            return abs(first.si - second.si) <= _METER * max(abs(first.si), abs(second.si))
        case Unstable(), Unstable():
            return True
        case _:
            return first == second


def _beyond(reading: Value, healthy: Expectation) -> float:
    """Give how far a value lies outside the range that is expected after the repair."""
    if healthy.low is None or healthy.high is None:
        return 0.0
    return max(healthy.low - reading.si, reading.si - healthy.high, 0.0)


def still_failing(proof: Proof, reading: Reading) -> bool:
    """Tell whether ``reading``, taken after the repair, says that the fault is still there.

    It does when it is the answer from before the repair, when it jumps about, or when a number
    has not come most of the way back to what is expected without the fault.
    """
    if isinstance(reading, Unstable) or same_answer(proof.failing, reading):
        return True
    if not isinstance(reading, Value):
        return False
    now = _beyond(reading, proof.healthy)
    if isinstance(proof.failing, Value):
        return now > _LEFT * _beyond(proof.failing, proof.healthy)
    return now > 0.0
