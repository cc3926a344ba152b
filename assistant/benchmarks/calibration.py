"""How well stated probabilities agree with what came true."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["Bin", "calibration_bins", "expected_error"]

Bin: TypeAlias = tuple[float, float, int]
"""Mean stated probability, frequency, and number of the cases in one part of 0 to 1."""


def calibration_bins(stated: Sequence[tuple[float, bool]], parts: int) -> list[Bin]:
    """Sort (stated probability, whether it came true) into ``parts`` of equal width.

    Parts without a case are left out; 1 belongs to the last part.
    """
    found = []
    for part in range(parts):
        inside = [case for case in stated if min(int(case[0] * parts), parts - 1) == part]
        if inside:
            said = sum(p for p, _ in inside) / len(inside)
            was = sum(right for _, right in inside) / len(inside)
            found.append((said, was, len(inside)))
    return found


def expected_error(bins: Sequence[Bin]) -> float:
    """Give the mean distance of stated from true over all cases, 0 to 1."""
    return sum(abs(said - was) * n for said, was, n in bins) / sum(n for _, _, n in bins)
