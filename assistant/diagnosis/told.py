"""What was told as it was told, and a case as it stood before the last thing was told."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from assistant.diagnosis.labour import Bench
    from assistant.diagnosis.records import NextStep, Step
    from assistant.diagnosis.weighing import Weighed
    from assistant.readings.reading import Reading

__all__ = ["State", "Told"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """One thing that was told, as it was told; the case is rebuilt from these."""

    kind: str
    check: str = ""
    reading: Reading | None = None
    repair: str = ""
    why: str = ""
    fixed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """A case as it stood before the last thing was told; arrays are shared, never changed."""

    weighed: Weighed
    bench: Bench
    cannot: frozenset[str]
    fixed: str | None
    told: tuple[Told, ...]
    steps: tuple[Step, ...]
    next: NextStep | None
