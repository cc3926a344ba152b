"""What a trainee does and what the lesson answers: frozen records, one event to one action."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, TypeAlias

if TYPE_CHECKING:
    from assistant.diagnosis.records import NextStep
    from assistant.knowledge.schema import Caution, Complaint, Repair
    from assistant.lessons.checks import Entry
    from assistant.readings.reading import Reading

__all__ = [
    "Action",
    "Answered",
    "AskHint",
    "AskList",
    "AskNotes",
    "AskRepairs",
    "Cautioned",
    "Event",
    "GiveUp",
    "GivenUp",
    "Go",
    "Hinted",
    "Listed",
    "Noted",
    "Pick",
    "RepairDone",
    "RepairNamed",
    "RepairsListed",
    "SwitchOff",
    "SwitchedOff",
    "Turn",
    "Undo",
]


# --- in ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Pick:
    """Choose a check by its id; with ``go`` its cautions are taken as read."""

    check: str
    go: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Go:
    """The cautions were read: do the check that was chosen."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SwitchOff:
    """Switch engine, ignition and sound off, as before ohms and before unplugging."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AskHint:
    """Ask for the program's own next check."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AskNotes:
    """Ask for what was measured so far."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AskList:
    """Ask for the checks: all, those of one place, or those that words may mean."""

    group: str = ""
    find: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class AskRepairs:
    """Ask for the repairs: all, or those that words may mean."""

    find: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RepairNamed:
    """Do a repair, by its id."""

    repair: str


@dataclass(frozen=True, slots=True, kw_only=True)
class GiveUp:
    """End the lesson and be told the fault."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Undo:
    """Try to take something back."""


Event: TypeAlias = (
    Pick | Go | SwitchOff | AskHint | AskNotes | AskList | AskRepairs | RepairNamed | GiveUp | Undo
)


# --- what happened -------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """One thing that took time, from ``start`` for ``minutes``.

    ``slip`` names the mistake that spoilt the reading (``state``, ``range``, ``sign``, ``digit``,
    ``sense``), "" where there was none. ``danger`` is the id of the caution that was not heeded,
    "" where none was. ``hinted``: the program had named it. ``mended`` are the hidden faults that
    a repair put right; ``complaint`` is what the customer says after that, where it is something
    else. The repair that ends the trouble costs 0 minutes: whoever finds the fault has to do it.
    """

    kind: Literal["check", "off", "repair"]
    id: str
    name: str
    start: float
    minutes: float
    reading: Reading | None = None
    slip: str = ""
    danger: str = ""
    hinted: bool = False
    mended: tuple[str, ...] = ()
    complaint: Complaint | None = None

    @property
    def end(self) -> float:
        """Minutes from the start of the lesson to the end of this turn."""
        return round(self.start + self.minutes, 2)


# --- out -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Cautioned:
    """Cautions to be read before the chosen check; ``minutes`` is what the check will take."""

    entry: Entry
    minutes: float
    cautions: tuple[Caution, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Answered:
    """The car's reading; ``danger`` is the caution that was not heeded."""

    entry: Entry
    turn: Turn
    cautions: tuple[Caution, ...]
    danger: Caution | None
    total: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SwitchedOff:
    """Everything is off now; ``minutes`` is 0 where it was off before."""

    minutes: float
    total: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Hinted:
    """The program's next step: a check, or the repair; ``likely`` are faults, best first."""

    step: NextStep
    minutes: float
    likely: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Noted:
    """Everything that was done so far."""

    turns: tuple[Turn, ...]
    total: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """Checks; ``asked`` are the words that may mean any of them."""

    entries: tuple[Entry, ...]
    asked: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RepairsListed:
    """Repairs with their numbers; ``asked`` are the words that may mean any of them."""

    repairs: tuple[tuple[int, Repair], ...]
    asked: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RepairDone:
    """What came of a repair: ``ended`` when nothing is left to complain of.

    ``complaint`` is what the customer says now, None where the trouble is over.
    """

    repair: Repair
    turn: Turn
    ended: bool
    complaint: Complaint | None
    total: float


@dataclass(frozen=True, slots=True, kw_only=True)
class GivenUp:
    """The lesson was given up; ``faults`` are those that are still there."""

    faults: tuple[str, ...]
    total: float


Action: TypeAlias = (
    Cautioned
    | Answered
    | SwitchedOff
    | Hinted
    | Noted
    | Listed
    | RepairsListed
    | RepairDone
    | GivenUp
)
