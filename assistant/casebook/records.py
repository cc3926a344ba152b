"""What the casebook keeps, and what any store of it must do."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.conversation.events import Given

__all__ = ["CaseRow", "Casebook", "StoredEvent"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseRow:
    """One case: when it was opened and when it was closed, as ISO 8601 texts."""

    case_id: str
    opened: str
    closed: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredEvent:
    """One event as it was kept; ``sequence`` counts from 0 within its case.

    ``key`` is the sender's own mark of the event: a second event with the same key is the same
    event sent again.
    """

    sequence: int
    at: str
    event: Given
    meaning: str = ""
    key: str | None = None


class Casebook(Protocol):
    """A store of cases. Ids and times are given by the caller; nothing is made up here."""

    def open_case(self, case_id: str, first: StoredEvent) -> None:
        """Begin a case with its first event; raise ``MisuseError`` when the id is taken."""
        ...

    def append(self, case_id: str, entry: StoredEvent) -> None:
        """Keep one event; on return it survives a power cut.

        Raise ``MisuseError`` when the case is unknown, when ``entry.sequence`` is not the next
        one (another process has gone on with the case) or when the key was kept before.
        """
        ...

    def events(self, case_id: str) -> Sequence[StoredEvent]:
        """Give the events of a case in order; raise ``MisuseError`` when it is unknown."""
        ...

    def close_case(self, case_id: str, *, at: str) -> None:
        """Mark a case as closed; its events stay."""
        ...

    def has_case(self, case_id: str) -> bool:
        """Tell whether a case is in the book, without reading it."""
        ...

    def cases(self) -> Sequence[CaseRow]:
        """Give all cases, the last to be opened first."""
        ...
