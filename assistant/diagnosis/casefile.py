"""What is kept of one case for its report: the installation, what was told, and the verdict."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from assistant.diagnosis.records import Step, Verdict
    from assistant.knowledge.schema import Complaint, Installation

__all__ = ["CaseFile"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseFile:
    """One case as a report shows it.

    ``steps`` are in the order in which they were told, without those taken back. ``verdict`` is
    None while the case is open. ``opened`` is the ISO 8601 text of when the case began, None
    where no clock was given.
    """

    case_id: str
    installation: Installation
    complaint: Complaint
    steps: tuple[Step, ...]
    verdict: Verdict | None
    opened: str | None
    workshop: str
