"""What a text was found to hold."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, TypeAlias

if TYPE_CHECKING:
    from assistant.readings.reading import Quantity, Reading

__all__ = [
    "Ambiguous",
    "CommandFound",
    "Finding",
    "Interpretation",
    "NothingFound",
    "ReadingFound",
    "VehicleState",
    "WrongUnit",
]

VehicleState: TypeAlias = Literal["off", "accessory", "cranking", "running"]
"""The states of the machine interface; the knowledge house has the same type and lies above."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingFound:
    """One reading, the vehicle state that was told with it, and the words that told it.

    ``quantity`` is the one that was expected, or the one that the grammar and the unit fit.
    ``also`` is set where the same words are a command too: "yes" to a question about sound.
    """

    reading: Reading
    vehicle: VehicleState | None = None
    quantity: Quantity | None = None
    words: tuple[str, ...] = ()
    also: Literal["yes", "no"] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Ambiguous:
    """Words that may mean any of ``candidates``, likeliest first; ``ask`` is what to ask back.

    A single candidate is a reading that stands among other words: it is asked, not taken.
    ``ask`` is to be spoken, ``ask_typed`` is the same for a text message.
    """

    candidates: tuple[Reading, ...]
    ask: str
    ask_typed: str
    vehicle: VehicleState | None = None
    quantity: Quantity | None = None
    words: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class CommandFound:
    """A command by its id in ``grammars/commands.yaml``, ``channel`` with a position, or yes/no.

    The argument of ``cannot`` is what was said, that of ``channel`` is the position.
    """

    command: str
    argument: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class WrongUnit:
    """A reading that does not fit the open check.

    ``given`` and ``expected`` are words ("ohms", "volts"); ``say`` is the sentence for both
    voice and text.
    """

    given: str
    expected: str
    say: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NothingFound:
    """Nothing that can be used, and why, in words for a person."""

    reason: str


Finding: TypeAlias = ReadingFound | Ambiguous | CommandFound | WrongUnit | NothingFound


@dataclass(frozen=True, slots=True, kw_only=True)
class Interpretation:
    """All that ``text`` holds, in the order of the text; at least one finding."""

    text: str
    findings: tuple[Finding, ...]

    @property
    def readings(self) -> tuple[ReadingFound, ...]:
        """The readings among the findings."""
        return tuple(found for found in self.findings if isinstance(found, ReadingFound))

    @property
    def commands(self) -> tuple[CommandFound, ...]:
        """The commands among the findings."""
        return tuple(found for found in self.findings if isinstance(found, CommandFound))
