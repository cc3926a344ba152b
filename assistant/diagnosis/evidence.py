"""What was told so far, in the order in which it was told."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

from assistant.diagnosis.likelihood import SLIP

if TYPE_CHECKING:
    from assistant.readings.reading import Reading

__all__ = ["Evidence", "ReadingEvidence", "RepairEvidence"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingEvidence:
    """A reading of a check; ``slip`` is the chance that it is one, less when it was repeated."""

    check: str
    reading: Reading
    slip: float = SLIP


@dataclass(frozen=True, slots=True, kw_only=True)
class RepairEvidence:
    """A repair was done and the trouble went on."""

    repair: str


Evidence: TypeAlias = ReadingEvidence | RepairEvidence
