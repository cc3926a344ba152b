"""Live dialogues of a worker: the ones used last stay in memory, the others are built anew.

A dialogue is nothing but its events, so one that was dropped comes back the same. Another worker
may have gone on with a case meanwhile: the stored events are asked for every time, and what is
missing is handed to the dialogue.
"""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.conversation.dialogue import Dialogue

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from assistant.casebook.records import StoredEvent
    from assistant.conversation.stage import Opener
    from assistant.messaging.records import Outcome

__all__ = ["DialogueCache"]


@dataclass(slots=True)
class _Live:
    """A dialogue and how many stored events it has taken."""

    dialogue: Dialogue
    count: int


class DialogueCache:
    """The ``Dialogues`` of one worker; at most ``limit`` of them live between messages.

    ``case_events`` gives the stored events of a case, ``opener`` makes a diagnosis, ``rest`` has
    a dialogue let go of what it can compute again. What was given out since the last ``settle``
    or ``drop`` counts as touched.
    """

    def __init__(
        self,
        *,
        case_events: Callable[[str], Sequence[StoredEvent]],
        opener: Opener,
        limit: int,
        rest: Callable[[Dialogue], None] = lambda _: None,
    ) -> None:
        self._case_events = case_events
        self._opener = opener
        self._limit = limit
        self._rest = rest
        self._live: OrderedDict[str, _Live] = OrderedDict()
        self._touched: set[str] = set()
        self._fresh: list[Dialogue] = []

    def __len__(self) -> int:
        return len(self._live)

    def live(self, case_id: str) -> Dialogue | None:
        """Give a dialogue that is in memory, as it stands there."""
        live = self._live.get(case_id)
        return None if live is None else live.dialogue

    def stored(self, case_id: str) -> tuple[Dialogue, int]:
        """Give the dialogue of a case as far as it is stored, and how many events that is."""
        events = self._case_events(case_id)
        live = self._live.pop(case_id, None)
        if live is None or live.count > len(events):
            self._make_room()
            live = _Live(Dialogue(self._opener), 0)
        self._hand(live.dialogue, events[live.count :])
        live.count = len(events)
        self._live[case_id] = live
        self._touched.add(case_id)
        return live.dialogue, live.count

    def glance(self, case_id: str) -> Dialogue:
        """Give the dialogue of a case to look at only; no other has to make room for it."""
        if case_id in self._live:
            return self.stored(case_id)[0]
        dialogue = Dialogue(self._opener)
        self._hand(dialogue, self._case_events(case_id))
        return dialogue

    def _hand(self, dialogue: Dialogue, entries: Sequence[StoredEvent]) -> None:
        """Hand stored events to a dialogue, which rests after all but the last."""
        for place, entry in enumerate(entries, start=1):
            dialogue.handle(entry.event)
            if place < len(entries):
                self._rest(dialogue)

    def fresh(self) -> Dialogue:
        """Give a dialogue whose case is not opened yet."""
        self._make_room()
        dialogue = Dialogue(self._opener)
        self._fresh.append(dialogue)
        return dialogue

    def settle(self, outcome: Outcome) -> None:
        """Keep what was given out: ``outcome`` is stored, and the dialogues have gone on to it."""
        opened = [each.case_id for each in outcome.events if each.entry.sequence == 0]
        if len(opened) == len(self._fresh):
            for case_id, dialogue in zip(opened, self._fresh, strict=True):
                self._live[case_id] = _Live(dialogue, 0)
                self._touched.add(case_id)
        for event in outcome.events:
            live = self._live.get(event.case_id)
            if live is not None:
                live.count += 1
        for case_id in outcome.closed:
            self._live.pop(case_id, None)
        self.rest()
        self._fresh.clear()
        while len(self._live) > self._limit:
            self._live.popitem(last=False)

    def rest(self) -> None:
        """Have the touched dialogues let go of what they can compute again."""
        for case_id in self._touched:
            live = self._live.get(case_id)
            if live is not None:
                self._rest(live.dialogue)
        self._touched.clear()

    def drop(self) -> None:
        """Drop what was given out: it may have taken events that are not stored."""
        for case_id in self._touched:
            self._live.pop(case_id, None)
        self._touched.clear()
        self._fresh.clear()

    def _make_room(self) -> None:
        """Let go of the oldest before another is built, so that memory has one peak less."""
        while len(self._live) >= self._limit:
            self._live.popitem(last=False)
