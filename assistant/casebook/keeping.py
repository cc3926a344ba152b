"""A dialogue whose events are kept before they are answered."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.casebook.records import StoredEvent
from assistant.conversation.events import Close, Store
from assistant.diagnosis.casefile import CaseFile
from assistant.errors import MisuseError

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.casebook.records import Casebook
    from assistant.conversation.dialogue import Dialogue
    from assistant.conversation.events import Action, Given

__all__ = ["KeptCase"]


class KeptCase:
    """One case: its dialogue and its place in the casebook.

    ``now`` gives the time of each event as ISO 8601 text. When an event cannot be kept, the case
    is of no more use: load it again, and it is as it was before the event.
    """

    def __init__(
        self, *, dialogue: Dialogue, casebook: Casebook, case_id: str, now: Callable[[], str]
    ) -> None:
        self.dialogue = dialogue
        self.case_id = case_id
        self._casebook = casebook
        self._now = now
        self._count = 0
        self._keys: set[str] = set()
        self._opened: str | None = None
        self._usable = True

    def resume(self) -> None:
        """Bring a fresh dialogue to where the kept events had brought it."""
        for entry in self._casebook.events(self.case_id):
            self.dialogue.handle(entry.event)
            self._count = entry.sequence + 1
            self._opened = self._opened or entry.at
            if entry.key is not None:
                self._keys.add(entry.key)

    @property
    def begun(self) -> bool:
        """Whether any event was kept."""
        return self._count > 0

    def handle(self, event: Given, *, key: str | None = None) -> tuple[Action, ...]:
        """Take one event, keep it, and give the actions that are left to carry out.

        An event whose ``key`` was kept before is not taken a second time: the open question is
        put again. Raises what the dialogue and the casebook raise.
        """
        if not self._usable:
            raise MisuseError(
                f"The last event of case {self.case_id!r} could not be kept.",
                next_step="Load the case again; it stands as it was before that event.",
            )
        if key is not None and key in self._keys:
            return self.dialogue.present()
        actions = self.dialogue.handle(event)
        for action in actions:
            if isinstance(action, Store):
                self._keep(action, key)
        if isinstance(event, Close):
            self._casebook.close_case(self.case_id, at=self._now())
        return tuple(action for action in actions if not isinstance(action, Store))

    def _keep(self, action: Store, key: str | None) -> None:
        entry = StoredEvent(
            sequence=self._count,
            at=self._now(),
            event=action.event,
            meaning=action.meaning,
            key=key,
        )
        self._usable = False
        if self._count == 0:
            self._casebook.open_case(self.case_id, entry)
            self._opened = entry.at
        else:
            self._casebook.append(self.case_id, entry)
        self._usable = True
        self._count += 1
        if key is not None:
            self._keys.add(key)

    def case_file(self, *, workshop: str) -> CaseFile:
        """Give what a report shows of the case so far."""
        diagnosis = self.dialogue.diagnosis
        return CaseFile(
            case_id=self.case_id,
            installation=diagnosis.installation,
            complaint=diagnosis.complaint,
            steps=diagnosis.steps,
            verdict=self.dialogue.scene.verdict,
            opened=self._opened,
            workshop=workshop,
        )
