"""How long a piece of work takes."""

from __future__ import annotations

import statistics
import time
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["median_ms"]


def median_ms(work: Callable[[], object], repeats: int) -> float:
    """Give the median processor time of ``work`` in milliseconds."""
    took = []
    for _ in range(repeats):
        began = time.process_time()
        work()
        took.append(1e3 * (time.process_time() - began))
    return statistics.median(took)
