"""What was told so far, in the order in which it was told."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

from assistant.diagnosis.likelihood import SLIP

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.readings.reading import Reading

__all__ = ["Evidence", "ReadingEvidence", "RepairEvidence", "answered", "last_epoch", "tried"]


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


def last_epoch(evidence: Sequence[Evidence]) -> int:
    """Give the index of the first evidence after the last repair."""
    repairs = [i for i, item in enumerate(evidence) if isinstance(item, RepairEvidence)]
    return repairs[-1] + 1 if repairs else 0


def answered(evidence: Sequence[Evidence]) -> set[str]:
    """Name the checks that were answered."""
    return {item.check for item in evidence if isinstance(item, ReadingEvidence)}


def tried(evidence: Sequence[Evidence]) -> frozenset[str]:
    """Name the repairs that were done and did not help."""
    return frozenset(item.repair for item in evidence if isinstance(item, RepairEvidence))
