"""Which observation shows that a repair held, and whether it does."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from assistant.conversation.scene import Proof
from assistant.readings.reading import Beep, OpenLine, Seen, Unstable, Value

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.diagnosis.records import Diagnosing, Expectation
    from assistant.readings.reading import Reading

__all__ = ["find_failing", "is_sound", "same_answer", "still_failing"]

_RARE: Final = 0.1
"""An answer that fewer sound cars than this give is a failing one (set by hand)."""
_METER: Final = 0.05
"""Readings of one place that differ by less than this share are the same (common practice)."""
_LEFT: Final = 0.25
"""Share of the way back to the sound range that may be left after a repair (set by hand)."""
_WIDER: Final = 0.25
"""The range of 90 % of sound cars is widened on both sides by this share of itself."""
_BEEPS_BELOW_OHM: Final = 30.0
"""A continuity beeper sounds below some tens of ohms (common practice, no source)."""


def find_failing(
    diagnosis: Diagnosing, repair: str, sound: Callable[[Diagnosing, str], Expectation]
) -> Proof | None:
    """Give the first observation since the last repair that a sound car would hardly give.

    ``sound`` tells what a sound car reads. None when nothing that was told fails.
    """
    repairs = [i for i, step in enumerate(diagnosis.steps) if step.kind == "repaired"]
    for step in diagnosis.steps[repairs[-1] + 1 if repairs else 0 :]:
        if step.check is None or step.reading is None:
            continue
        healthy = sound(diagnosis, step.check.id)
        if not is_sound(step.reading, healthy):
            return Proof(repair=repair, check=step.check.id, failing=step.reading, healthy=healthy)
    return None


def is_sound(reading: Reading, healthy: Expectation) -> bool:
    """Tell whether a sound car may well give ``reading``."""
    states = dict(healthy.states)
    match reading:
        case Value() if "beep" in states:
            beeps = abs(reading.si) < _BEEPS_BELOW_OHM
            return states["beep" if beeps else "no_beep"] >= _RARE
        case Value():
            return healthy.low is not None and _beyond(reading, healthy) == 0.0
        case OpenLine():
            return states.get("no_beep", states.get("open_line", 0.0)) >= _RARE
        case Beep(heard=heard):
            return states.get("beep" if heard else "no_beep", 0.0) >= _RARE
        case Unstable():
            return states.get("unstable", 0.0) >= _RARE
        case Seen(state=state):
            return states.get(state, 0.0) >= _RARE


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
    """Give how far a value lies outside the widened range of sound cars, in V, A or ohm."""
    if healthy.low is None or healthy.high is None:
        return 0.0
    room = _WIDER * (healthy.high - healthy.low)
    return max(healthy.low - room - reading.si, reading.si - healthy.high - room, 0.0)


def still_failing(proof: Proof, reading: Reading) -> bool:
    """Tell whether ``reading``, taken after the repair, says that the fault is still there.

    It does not where a sound car may give it, or where a number has come most of the way back;
    it does where it is the answer from before the repair or another that no sound car gives.
    """
    if is_sound(reading, proof.healthy):
        return False
    if same_answer(proof.failing, reading):
        return True
    ranged = proof.healthy.low is not None
    if ranged and isinstance(reading, Value) and isinstance(proof.failing, Value):
        return _beyond(reading, proof.healthy) > _LEFT * _beyond(proof.failing, proof.healthy)
    return True
