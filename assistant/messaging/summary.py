"""Where a case stands, in the few words that the shop's list of threads shows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assistant.conversation.dialogue import Dialogue

__all__ = ["Summary", "summary_from_json", "summary_of", "summary_to_json"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """State of a case: ``check`` is the one that is open, ``top`` the likeliest repairs."""

    case_id: str
    state: str
    check: str = ""
    top: tuple[tuple[str, float], ...] = ()
    verdict: str = ""


def summary_of(case_id: str, dialogue: Dialogue, *, most: int = 3) -> Summary:
    """Sum up an opened dialogue."""
    scene, diagnosis = dialogue.scene, dialogue.diagnosis
    belief = diagnosis.belief()
    return Summary(
        case_id=case_id,
        state=scene.state.name.lower(),
        check="" if scene.step is None else scene.step.check.name,
        top=tuple((repair, round(p, 3)) for repair, p in belief.repairs[:most]),
        verdict="" if scene.verdict is None else scene.verdict.repair,
    )


def summary_to_json(summary: Summary) -> dict[str, Any]:
    """Give the JSON form, which ``summary_from_json`` takes back."""
    return {
        "case_id": summary.case_id,
        "state": summary.state,
        "check": summary.check,
        "top": [list(pair) for pair in summary.top],
        "verdict": summary.verdict,
    }


def summary_from_json(raw: Mapping[str, Any]) -> Summary:
    """Take a summary from its JSON form."""
    return Summary(
        case_id=str(raw["case_id"]),
        state=str(raw["state"]),
        check=str(raw["check"]),
        top=tuple((str(repair), float(p)) for repair, p in raw["top"]),
        verdict=str(raw["verdict"]),
    )
