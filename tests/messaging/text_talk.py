"""A customer who texts: threads, dialogues and ids as the worker would give them."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from assistant.conversation.dialogue import Dialogue
from assistant.diagnosis.session import Diagnosis
from assistant.messaging.exchange import Shop, exchange
from assistant.messaging.records import IncomingText, Thread
from assistant.messaging.segments import is_gsm, segments

if TYPE_CHECKING:
    from assistant.casebook.records import StoredEvent
    from assistant.conversation.events import Opened
    from assistant.conversation.stage import Opener
    from assistant.diagnosis.records import NextStep
    from assistant.messaging.records import Outcome

SHOP = Shop(
    name="Harbour Street Audio", now="", phone="212 555 0199", hours="9 to 5", worlds=1500, seed=7
)


class Ordered(Diagnosis):
    """The real diagnosis, which asks for the checks of ``order`` first."""

    order: tuple[str, ...] = ()

    def next_step(self) -> NextStep:
        told = {step.check.id for step in self.steps if step.check}
        left = [c for c in self.order if c not in told and c in self.checks]
        return self.describe(left[0]) if left and not self._fixed else super().next_step()


def opener(order: tuple[str, ...] = ()) -> Opener:
    def open_case(opened: Opened) -> Diagnosis:
        made = Ordered.open(
            installation=opened.installation,
            complaint=opened.complaint,
            seed=opened.seed,
            worlds=opened.worlds,
        )
        made.order = order
        return made

    return open_case


@dataclass
class Kept:
    """Keeps events and gives dialogues, as the store and the worker's cache do together."""

    opener: Opener
    events: dict[str, list[StoredEvent]] = field(default_factory=dict)
    live: dict[str, Dialogue] = field(default_factory=dict)
    made: list[Dialogue] = field(default_factory=list)

    def stored(self, case_id: str) -> tuple[Dialogue, int]:
        return self.live[case_id], len(self.events[case_id])

    def fresh(self) -> Dialogue:
        self.made.append(Dialogue(self.opener))
        return self.made[-1]

    def keep(self, outcome: Outcome) -> None:
        for event in outcome.events:
            rows = self.events.setdefault(event.case_id, [])
            assert event.entry.sequence == len(rows)
            assert event.entry.key not in {row.key for row in rows}
            rows.append(event.entry)
            if event.entry.sequence == 0:
                self.live[event.case_id] = self.made[-1]


class Customer:
    """Texts one number's messages and checks of every reply what holds for all of them."""

    def __init__(self, *, order: tuple[str, ...] = (), opener_: Opener | None = None) -> None:
        self.kept = Kept(opener_ or opener(order))
        self.thread = Thread(number_id="n1")
        self.count = 0

    def text(self, text: str, **more: object) -> Outcome:
        self.count += 1
        message = IncomingText(
            message_id=f"SM{self.count:04d}",
            number="+12125550142",
            text=text,
            received="2026-03-02T10:00:00+00:00",
            media=int(bool(more.get("media"))),
            place=bool(more.get("place")),
        )
        outcome = exchange(
            replace(self.thread, held_by=str(more.get("held", ""))),
            message,
            dialogues=self.kept,
            shop=replace(SHOP, now=f"2026-03-02T10:00:{self.count % 60:02d}+00:00"),
            new_case_id=f"case-{self.count}",
            later=bool(more.get("later")),
        )
        self.kept.keep(outcome)
        self.thread = outcome.thread
        assert len(outcome.replies) <= 3, outcome.replies
        for body in outcome.replies:
            assert body
            assert is_gsm(body)
            assert segments(body) <= 2
        return outcome

    @property
    def dialogue(self) -> Dialogue:
        assert self.thread.case_id is not None
        return self.kept.live[self.thread.case_id]

    def readings(self) -> dict[str, str]:
        """Every answer that the open case's diagnosis holds, by check, as it is read back."""
        from assistant.readings.readback import read_back_typed

        told = [s for s in self.dialogue.diagnosis.steps if s.check and s.reading]
        return {s.check.id: read_back_typed(s.reading) for s in told if s.check and s.reading}
