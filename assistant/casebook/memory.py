"""A casebook that lasts as long as the process: for trials and tests."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from assistant.casebook.faults import case_taken, case_unknown, key_kept, out_of_order
from assistant.casebook.records import CaseRow, StoredEvent

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["MemoryCasebook"]


class MemoryCasebook:
    """A ``Casebook`` in two dictionaries."""

    def __init__(self) -> None:
        self._cases: dict[str, CaseRow] = {}
        self._events: dict[str, list[StoredEvent]] = {}

    def _known(self, case_id: str) -> list[StoredEvent]:
        if case_id not in self._events:
            raise case_unknown(case_id)
        return self._events[case_id]

    def open_case(self, case_id: str, first: StoredEvent) -> None:
        """Begin a case with its first event."""
        if case_id in self._cases:
            raise case_taken(case_id)
        if first.sequence != 0:
            raise out_of_order(case_id, first.sequence)
        self._cases[case_id] = CaseRow(case_id=case_id, opened=first.at, closed=None)
        self._events[case_id] = [first]

    def append(self, case_id: str, entry: StoredEvent) -> None:
        """Keep one event."""
        kept = self._known(case_id)
        if entry.key is not None and any(e.key == entry.key for e in kept):
            raise key_kept(case_id, entry.key)
        if entry.sequence != len(kept):
            raise out_of_order(case_id, entry.sequence)
        kept.append(entry)

    def events(self, case_id: str) -> Sequence[StoredEvent]:
        """Give the events of a case in order."""
        return tuple(self._known(case_id))

    def close_case(self, case_id: str, *, at: str) -> None:
        """Mark a case as closed."""
        self._known(case_id)
        self._cases[case_id] = replace(self._cases[case_id], closed=at)

    def erase(self, case_id: str) -> None:
        """Let go of a case and its events; nothing happens when it is unknown."""
        self._cases.pop(case_id, None)
        self._events.pop(case_id, None)

    def has_case(self, case_id: str) -> bool:
        """Tell whether a case is in the book."""
        return case_id in self._cases

    def cases(self) -> Sequence[CaseRow]:
        """Give all cases, the last to be opened first."""
        return tuple(reversed(self._cases.values()))
