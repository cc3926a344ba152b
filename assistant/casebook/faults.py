"""The errors of a casebook, worded once for every store."""

from __future__ import annotations

from assistant.errors import MisuseError

__all__ = ["case_taken", "case_unknown", "key_kept", "out_of_order"]


def case_unknown(case_id: str) -> MisuseError:
    """Give the error for a case that is not in the book."""
    return MisuseError(
        f"There is no case {case_id!r} in the casebook.",
        next_step="List the cases with: probetell report --list.",
    )


def case_taken(case_id: str) -> MisuseError:
    """Give the error for a second case under one id."""
    return MisuseError(
        f"The case {case_id!r} is in the casebook already.",
        next_step="Go on with it, or take another id.",
    )


def out_of_order(case_id: str, sequence: int) -> MisuseError:
    """Give the error for an event that is not the next one."""
    return MisuseError(
        f"Event {sequence} of case {case_id!r} is not the next one: the case was gone on with "
        "elsewhere.",
        next_step="Load the case again and go on from there.",
    )


def key_kept(case_id: str, key: str) -> MisuseError:
    """Give the error for an event that was kept before."""
    return MisuseError(
        f"Case {case_id!r} has kept the event {key!r} before.",
        next_step="Send each event once, or give a new one its own key.",
    )
