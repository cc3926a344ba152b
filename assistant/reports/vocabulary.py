"""What a report calls faults, repairs and cautions, from the knowledge of the project.

An id that the knowledge does not hold (an older case, another program's) is written as its
own words, so that a report is never refused for a name.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.knowledge import load

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assistant.knowledge.schema import Caution, Fault, Installation, Repair

__all__ = ["Vocabulary", "vocabulary_for"]


def _spelt(identifier: str) -> str:
    text = identifier.replace("_", " ").replace(".", ", ")
    return text[:1].upper() + text[1:]


@dataclass(frozen=True, slots=True, kw_only=True)
class Vocabulary:
    """Words by id for one installation."""

    faults: Mapping[str, Fault]
    repairs: Mapping[str, Repair]
    cautions: Mapping[str, Caution]

    @property
    def fault_repairs(self) -> Mapping[str, str]:
        """The repair that ends each fault."""
        return {fault.id: fault.repair for fault in self.faults.values()}

    def fault(self, identifier: str) -> str:
        """Name a fault."""
        known = self.faults.get(identifier)
        return _spelt(identifier) if known is None else known.words

    def repair(self, identifier: str) -> str:
        """Say what to do for a repair."""
        known = self.repairs.get(identifier)
        return _spelt(identifier) if known is None else known.words

    def beyond(self, identifier: str) -> str:
        """Say where the repair stops being the user's, "" where it does not."""
        known = self.repairs.get(identifier)
        return "" if known is None else known.beyond_user or ""

    def caution(self, identifier: str) -> tuple[str, str]:
        """Give a caution's short name and its sentence, "" where no sentence is known."""
        known = self.cautions.get(identifier)
        return (_spelt(identifier), "") if known is None else (known.short, known.text)


def vocabulary_for(installation: Installation) -> Vocabulary:
    """Read the words for ``installation`` from the package's data."""
    knowledge = load()
    return Vocabulary(
        faults=knowledge.faults(installation),
        repairs=knowledge.repairs(installation),
        cautions=knowledge.cautions,
    )
