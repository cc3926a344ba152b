"""The ``end`` object of a lesson: what was hidden, both orders side by side, and the advice."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from assistant.lessons.advice import advice_for
from assistant.readings.reading import reading_to_json

if TYPE_CHECKING:
    from assistant.lessons.events import Turn
    from assistant.lessons.review import Review
    from assistant.lessons.run import Run

__all__ = ["review_object", "turn_object"]

Line = dict[str, Any]


def turn_object(turn: Turn) -> Line:
    """Give one turn; ``kind`` is ``check``, ``off`` or ``repair``, times are in minutes."""
    found: Line = {
        "kind": turn.kind,
        "id": turn.id,
        "name": turn.name,
        "start": turn.start,
        "minutes": turn.minutes,
    }
    if turn.reading is not None:
        found["reading"] = reading_to_json(turn.reading)
    return found


def _run(run: Run) -> Line:
    return {
        "minutes": run.minutes,
        "checks": run.checks,
        "repairs_in_vain": run.vain,
        "hints": run.hints,
        "right": run.right,
        "turns": [
            {**turn_object(t.turn), "bits": t.bits, "before": t.before, "after": t.after}
            for t in run.told
        ],
        "belief": [{"minute": minute, "probability": p} for minute, p in run.curve],
    }


def review_object(review: Review) -> Line:
    """Give the ``end`` object. ``before`` and ``after`` are the belief in a right repair.

    ``slips`` are the readings that a mistake had spoilt, with the sort of mistake.
    """
    return {
        "type": "end",
        "right": review.right,
        "minutes": review.trainee.minutes,
        "program_minutes": review.program.minutes,
        "faults": [
            {"id": fault, "words": words}
            for fault, words in zip(review.faults, review.fault_words, strict=True)
        ],
        "repairs": list(review.repairs),
        "trainee": _run(review.trainee),
        "program": _run(review.program),
        "told_nothing": [told.turn.id for told in review.told_nothing],
        "not_cleared": [
            {"group": m.group, "check": m.check, "minutes": m.minutes} for m in review.missed
        ],
        "dangers": [
            {"minute": d.minute, "check": d.check, "caution": d.caution} for d in review.dangers
        ],
        "slips": [{"check": told.turn.id, "slip": told.turn.slip} for told in review.slips],
        "advice": list(advice_for(review)),
    }
