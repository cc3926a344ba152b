"""What goes into a dialogue and what comes out of it.

Events in are what was said, typed, sent or left unsaid. Some of them are only made by the
dialogue itself, when a text has been understood. Actions out are carried out by whoever runs
the dialogue: nothing here does any I/O.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, TypeAlias

if TYPE_CHECKING:
    from assistant.diagnosis.records import Belief, NextCheck, Verdict
    from assistant.knowledge.schema import Complaint, Installation, VehicleState
    from assistant.readings.reading import Reading

__all__ = [
    "Acknowledged",
    "Action",
    "Alternative",
    "AskCaution",
    "AskCheck",
    "AskConfirm",
    "Asked",
    "CannotDo",
    "Channel",
    "Close",
    "Command",
    "Complain",
    "Ended",
    "Event",
    "Exact",
    "GiveVerdict",
    "Given",
    "Heard",
    "Mismatched",
    "NotUnderstood",
    "Opened",
    "Park",
    "Reason",
    "Repaired",
    "Say",
    "ShowBelief",
    "Silence",
    "Store",
    "Told",
    "Typed",
    "Understood",
    "Undo",
    "Unsure",
]

Channel: TypeAlias = Literal["voice", "typed", "text", "machine"]
"""Where the other side sits: at a microphone, a keyboard, a telephone, or another program."""

Command: TypeAlias = Literal[
    "repeat",
    "slower",
    "back",
    "correct",
    "skip",
    "why",
    "status",
    "help",
    "safety",
    "stop",
    "yes",
    "no",
    "done",
]

Reason: TypeAlias = Literal["surprising", "close", "incomplete", "state", "which"]
"""Why a reading is asked back before it is taken."""


# --- events in -----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened:
    """A case begins; ``seed`` fixes every draw made in it, ``worlds`` how many are drawn."""

    installation: Installation
    complaint: Complaint
    seed: int = 0
    channel: Channel = "typed"
    worlds: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Alternative:
    """One phrase that a recogniser may have heard; ``weight`` is relative to the others."""

    text: str
    weight: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """Something was said: the recogniser's phrases, best first."""

    alternatives: tuple[Alternative, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Typed:
    """Something was typed, or sent as a text message."""

    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Exact:
    """A reading that needs no reading back, for any check of the case."""

    check: str
    reading: Reading


@dataclass(frozen=True, slots=True, kw_only=True)
class CannotDo:
    """A check cannot be done here; ``check`` is None for the one that is open."""

    check: str | None = None
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Undo:
    """Take back the last answer."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Repaired:
    """What came of a repair."""

    repair: str
    fixed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Acknowledged:
    """The cautions that were just given were taken note of."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Silence:
    """Nothing was said for as long as the settings allow."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Close:
    """The case is to end."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A command; ``argument`` is what came with it, such as the number of a correction."""

    command: Command
    argument: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """One reading and the check that it belongs to."""

    check: str
    reading: Reading


@dataclass(frozen=True, slots=True, kw_only=True)
class Understood:
    """A text came to readings that may be taken; made by the dialogue only."""

    told: tuple[Told, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Unsure:
    """A text may have meant any of ``candidates``, best first.

    ``surprising``: one clear reading far from what was expected. ``close``: several readings
    that sound alike. ``incomplete``: the unit or a part of the number was left out. ``state``: it
    was said for another ``vehicle`` state. ``which``: one text held several readings.
    """

    candidates: tuple[Told, ...]
    reason: Reason
    vehicle: VehicleState | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Mismatched:
    """A text held a reading that does not fit the open check; ``say`` is the whole sentence."""

    say: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NotUnderstood:
    """A text held nothing that the open question can use; ``reason`` is a sentence."""

    reason: str


Given: TypeAlias = (
    Opened
    | Heard
    | Typed
    | Exact
    | CannotDo
    | Undo
    | Repaired
    | Acknowledged
    | Silence
    | Close
    | Asked
)
"""What comes from outside and is kept in the casebook."""

Event: TypeAlias = Given | Understood | Unsure | Mismatched | NotUnderstood
"""Everything that the table knows; the last four are made by the dialogue from a text."""


# --- actions out ---------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Store:
    """Keep ``event`` before anything else of this answer is carried out.

    ``meaning`` says in words what a text was taken for, for people who read the store.
    """

    event: Given
    meaning: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Say:
    """Say a sentence that asks nothing."""

    say: str
    slow: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class AskCaution:
    """Give the cautions of a check and wait until they are acknowledged."""

    step: NextCheck
    say: str
    cautions: tuple[str, ...]
    slow: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class AskCheck:
    """Ask for the answer of a check; ``cautions`` are the texts that go with it."""

    step: NextCheck
    say: str
    cautions: tuple[str, ...]
    slow: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class AskConfirm:
    """Ask whether ``candidates`` (one, or several to choose from) is what was meant."""

    say: str
    candidates: tuple[Reading, ...]
    slow: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class GiveVerdict:
    """Tell what to repair first."""

    verdict: Verdict
    say: str
    slow: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ShowBelief:
    """Show how probable each repair and each fault is now."""

    belief: Belief


@dataclass(frozen=True, slots=True, kw_only=True)
class Complain:
    """Say why what came cannot be used; nothing was changed by it."""

    message: str
    next_step: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Park:
    """Stop asking until something comes; an empty ``say`` means to be quiet about it."""

    say: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended:
    """The case is closed; nothing more is taken."""


Action: TypeAlias = (
    Store
    | Say
    | AskCaution
    | AskCheck
    | AskConfirm
    | GiveVerdict
    | ShowBelief
    | Complain
    | Park
    | Ended
)
