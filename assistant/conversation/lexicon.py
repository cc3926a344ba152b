"""The words for what a case is about: cautions, faults and repairs of one installation."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.knowledge.loader import load

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assistant.knowledge.schema import Caution, Installation, Repair

__all__ = ["Lexicon", "lexicon_for"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Lexicon:
    """Cautions and repairs by their ids, and each fault in words."""

    cautions: Mapping[str, Caution]
    repairs: Mapping[str, Repair]
    faults: Mapping[str, str]

    def caution(self, caution_id: str) -> str:
        """Give the sentence of a caution; a sentence that is no id is given as it stands."""
        known = self.cautions.get(caution_id)
        return caution_id if known is None else known.text

    def short(self, caution_id: str) -> str:
        """Give the reminder of a caution."""
        known = self.cautions.get(caution_id)
        return caution_id if known is None else known.short

    def repair(self, repair_id: str) -> str:
        """Give the sentence of a repair, its id where it has none."""
        known = self.repairs.get(repair_id)
        return repair_id if known is None else known.words

    def fault(self, fault_id: str) -> str:
        """Give a fault in words, its id where it has none."""
        return self.faults.get(fault_id, fault_id)


def lexicon_for(installation: Installation) -> Lexicon:
    """Take the words of ``installation`` from the data files."""
    knowledge = load()
    return Lexicon(
        cautions=knowledge.cautions,
        repairs=knowledge.repairs(installation),
        faults={fid: fault.words for fid, fault in knowledge.faults(installation).items()},
    )
