"""What a diagnosis tells: belief, the next step, the verdict, and the steps taken so far.

These are the shapes that the conversation, the machine interface and the report rely on.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assistant.knowledge.schema import Check, Complaint, Installation
    from assistant.readings.reading import BaseUnit, Reading

__all__ = [
    "Belief",
    "Contradiction",
    "Diagnosing",
    "Expectation",
    "NextCheck",
    "NextStep",
    "RepairOption",
    "Step",
    "Verdict",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Belief:
    """Probabilities in [0, 1], most probable first; faults may be present together."""

    repairs: tuple[tuple[str, float], ...]
    faults: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Expectation:
    """Central 90 % of what is predicted for a check.

    ``low`` and ``high`` are in ``unit`` for numbers and None where the answer is no number
    (then ``states`` gives each answer and its probability: ``open_line``, ``beep``, ``no_beep``,
    ``unstable`` and the answers of the quantity). ``range_with_open`` is the central 90 % in V, A
    or ohm with open line counted as 1e9 ohm, None for what is seen, heard or felt.
    """

    low: float | None
    high: float | None
    unit: BaseUnit | None
    states: tuple[tuple[str, float], ...] = ()
    range_with_open: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Contradiction:
    """Answers that can hardly be true together, and the check most likely to have slipped."""

    check: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NextCheck:
    """The check to do next; ``bits`` is its information about the repair.

    ``recheck`` is set when the check is offered again because of a contradiction;
    ``notes`` are sentences to say first (a contradiction, an unknown installation key).
    """

    check: Check
    minutes: float
    bits: float
    expect: Expectation
    cautions: tuple[str, ...]
    recheck: bool = False
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class RepairOption:
    """One entry of the verdict's list, sorted by probability over cost."""

    repair: str
    probability: float
    minutes: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What to repair first and why. ``reply`` is for the customer, in plain words.

    ``holds`` is False when the case was closed before the evidence sufficed.
    """

    repair: str
    probability: float
    faults: tuple[tuple[str, float], ...]
    order: tuple[RepairOption, ...]
    evidence: tuple[str, ...]
    reply: str
    surer: str = ""
    holds: bool = True


NextStep: TypeAlias = NextCheck | Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One thing that was told: an answer, a check that cannot be done, or a repair's outcome."""

    kind: str  # "reading", "cannot" or "repaired"
    check: Check | None
    reading: Reading | None
    repair: str | None
    note: str
    minutes: float
    expected: Expectation | None
    before: Belief
    after: Belief


class Diagnosing(Protocol):
    """What the conversation needs of a diagnosis.

    Implemented by ``assistant.diagnosis.session.Diagnosis``. Deterministic for a seed: the same
    calls in the same order give the same answers. A call that raises changes nothing.
    """

    @property
    def installation(self) -> Installation:
        """The installation at hand."""
        ...

    @property
    def complaint(self) -> Complaint:
        """What the customer says."""
        ...

    @property
    def checks(self) -> Mapping[str, Check]:
        """Every check that the installation allows, by id."""
        ...

    @property
    def steps(self) -> tuple[Step, ...]:
        """Everything that was told, in order."""
        ...

    def next_step(self) -> NextStep:
        """Give the check that tells most per minute, or the verdict when it is time."""
        ...

    def belief(self) -> Belief:
        """Give the probability of each repair and each fault."""
        ...

    def observe(self, check: str, reading: Reading) -> None:
        """Weigh the worlds by ``reading``; raise ``GivenError`` on a wrong kind or unit."""
        ...

    def cannot(self, check: str, why: str) -> None:
        """Leave ``check`` out from now on."""
        ...

    def repaired(self, repair: str, *, fixed: bool) -> None:
        """Take into account what came of a repair."""
        ...

    def undo(self) -> Step:
        """Take back the last step; raise ``GivenError`` when there is none."""
        ...

    def describe(self, check: str) -> NextCheck:
        """Give any check, open or not, as the next step would show it."""
        ...

    def weigh(self, check: str, readings: Sequence[Reading]) -> Sequence[float]:
        """Predictive density of each candidate under the present belief."""
        ...

    def would_change(self, check: str, first: Reading, second: Reading) -> bool:
        """Tell whether two candidate readings would lead to different next steps."""
        ...

    def verdict(self) -> Verdict:
        """Give the verdict as far as it goes."""
        ...

    def prepare(self) -> None:
        """Do ahead what the next answer will need; changes no answer."""
        ...
