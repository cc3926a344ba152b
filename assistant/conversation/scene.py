"""What a dialogue remembers between two events, and which column an event stands in."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from assistant.conversation.events import (
    Acknowledged,
    Asked,
    CannotDo,
    Channel,
    Close,
    Event,
    Exact,
    Heard,
    Mismatched,
    NotUnderstood,
    Opened,
    Reason,
    Repaired,
    Silence,
    Told,
    Typed,
    Understood,
    Undo,
    Unsure,
)
from assistant.conversation.table import Column, State

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assistant.diagnosis.records import Expectation, NextCheck, Verdict
    from assistant.knowledge.schema import VehicleState
    from assistant.readings.reading import Reading

__all__ = ["Pending", "Proof", "Scene", "column_of"]

_COLUMNS: Final[Mapping[type[Event], Column]] = {
    Opened: Column.OPENED,
    Heard: Column.TEXT,
    Typed: Column.TEXT,
    Exact: Column.EXACT,
    CannotDo: Column.CANNOT,
    Undo: Column.UNDO,
    Repaired: Column.REPAIRED,
    Acknowledged: Column.ACKNOWLEDGED,
    Silence: Column.SILENCE,
    Close: Column.CLOSE,
    Understood: Column.UNDERSTOOD,
    Unsure: Column.UNSURE,
    Mismatched: Column.MISMATCHED,
    NotUnderstood: Column.NOT_UNDERSTOOD,
}


def column_of(event: Event) -> Column:
    """Name the column of the table that ``event`` stands in."""
    return Column(event.command) if isinstance(event, Asked) else _COLUMNS[type(event)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pending:
    """Readings that await a confirmation, best first."""

    candidates: tuple[Told, ...]
    reason: Reason
    vehicle: VehicleState | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """The observation that is repeated after ``repair``.

    Its check, what it gave before, and what it is expected to give without the fault.
    """

    repair: str
    check: str
    failing: Reading
    healthy: Expectation


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """The dialogue's whole state beside the diagnosis; frozen, so that a move can be dropped.

    ``step`` is the check that is open or to be cautioned of. ``revising`` means that the next
    answer takes the place of the last one. ``settled`` means that a repair is known to hold.
    """

    state: State = State.WAITING
    channel: Channel = "typed"
    step: NextCheck | None = None
    verdict: Verdict | None = None
    pending: Pending | None = None
    proof: Proof | None = None
    revising: bool = False
    settled: bool = False
    slow: bool = False
    acknowledged: frozenset[str] = field(default_factory=frozenset)
    parked_from: State | None = None
