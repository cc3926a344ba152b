"""What a customer's text leads to: events of a case, replies, and what is kept of the number.

Pure: ids and the time come in by arguments, dialogues are given by the caller, nothing is sent.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from assistant.messaging.casetalk import CaseTalk
from assistant.messaging.intake import ask, label_of, next_topic, opening, summary, take
from assistant.messaging.memory import CaseNote, Draft, Memory, Question, recall
from assistant.messaging.reading_texts import answer, bound
from assistant.messaging.records import Outcome
from assistant.messaging.reserved import reserved
from assistant.messaging.segments import bodies, segments
from assistant.messaging.shop import Shop
from assistant.messaging.texts import say

if TYPE_CHECKING:
    from assistant.messaging.records import CaseEvent, Dialogues, IncomingText, Thread

__all__ = ["Shop", "exchange"]

_MOST_SEGMENTS: Final = 10


def exchange(
    thread: Thread,
    message: IncomingText,
    *,
    dialogues: Dialogues,
    shop: Shop,
    new_case_id: str,
    later: bool = False,
) -> Outcome:
    """Answer one text of the number of ``thread``.

    ``new_case_id`` is the id of the case that this text may open. ``later`` tells that more texts
    of the number wait behind this one. The dialogues that are asked for go on to the new events;
    when the outcome is not kept, they have to be dropped. Never raises on any text.
    """
    del later
    turn = _Turn(
        thread=thread,
        message=message,
        dialogues=dialogues,
        shop=shop,
        new_case_id=new_case_id,
        memory=recall(thread),
    )
    return turn.outcome()


@dataclass(slots=True, kw_only=True)
class _Turn:
    """One text while it is answered."""

    thread: Thread
    message: IncomingText
    dialogues: Dialogues
    shop: Shop
    new_case_id: str
    memory: Memory
    events: tuple[CaseEvent, ...] = ()
    closed: tuple[str, ...] = ()

    def outcome(self) -> Outcome:
        word = reserved(self.message.text)
        if word == "leave":
            return self._kept(opted_out=True)
        if self.thread.opted_out and word != "back":
            return self._kept()
        if word == "help":
            return self._kept(self._help())
        if self.thread.opted_out:
            return self._kept(
                f"{say('back', shop=self.shop.name)} {self._open_question()}", opted_out=False
            )
        if self.thread.held_by:
            return self._kept()
        if self.message.media or self.message.place:
            return self._kept(
                f"{say('picture' if self.message.media else 'place')} {self._open_question()}"
            )
        if segments(self.message.text) > _MOST_SEGMENTS:
            return self._kept(f"{say('too_long')} {self._open_question()}")
        return self._kept(self._answered(self.message.text))

    def _kept(self, text: str = "", *, opted_out: bool | None = None) -> Outcome:
        thread = self.thread if opted_out is None else replace(self.thread, opted_out=opted_out)
        return Outcome(
            thread=replace(thread, memory=self.memory.written()),
            events=self.events,
            replies=bodies(text),
            closed=self.closed,
        )

    def _help(self) -> str:
        contact = (say("contact_phone", phone=self.shop.phone) if self.shop.phone else "") + (
            say("contact_hours", hours=self.shop.hours) if self.shop.hours else ""
        )
        return say("help", shop=self.shop.name, contact=contact)

    # --- cases ---------------------------------------------------------------------------

    def _talk(self, case_id: str) -> CaseTalk:
        dialogue, count = self.dialogues.stored(case_id)
        return CaseTalk(
            case_id=case_id,
            dialogue=dialogue,
            count=count,
            note=self.memory.note(case_id),
            message_id=self.message.message_id,
            at=self.shop.now,
        )

    def _finish(self, talk: CaseTalk, question: Question | None = None) -> str:
        text = talk.text()
        self.events += tuple(talk.events)
        if talk.note.closed and not self.memory.note(talk.case_id).closed:
            self.closed += (talk.case_id,)
        self.memory = self.memory.with_note(talk.case_id, talk.note).model_copy(
            update={"question": question}
        )
        return text

    def _open_question(self) -> str:
        if self.memory.draft is not None and self.memory.draft.asked:
            return ask(self.memory.draft, self.memory.draft.asked)
        case_id = self.thread.case_id
        if case_id is None or self.memory.note(case_id).closed:
            return ""
        return self._talk(case_id).text(brief=True)

    def _answered(self, text: str) -> str:
        if self.memory.draft is not None:
            return self._intake(self.memory.draft, text)
        case_id = self.thread.case_id
        if case_id is None:
            return f"{say('greeting', shop=self.shop.name)} {self._intake(Draft(), text)}"
        talk = self._talk(case_id)
        question = self.memory.question
        if question is not None and question.kind == "bind" and bound(talk, question, text):
            return self._finish(talk)
        return self._finish(talk, answer(talk, text))

    # --- intake --------------------------------------------------------------------------

    def _intake(self, draft: Draft, text: str) -> str:
        taken = take(draft, text)
        lead = summary(taken.noted)
        if taken.problem:
            lead = say("not_taken_car", why=taken.problem)
        topic = next_topic(taken.draft)
        if topic is not None:
            asked = taken.draft.model_copy(update={"asked": topic})
            self.memory = self.memory.model_copy(update={"draft": asked})
            return f"{lead} {ask(asked, topic)}".strip()
        return f"{lead} {self._open(taken.draft)}".strip()

    def _open(self, draft: Draft) -> str:
        case_id = self.new_case_id
        note = CaseNote(car=draft.car, label=label_of(draft), no_meter=draft.meter is False)
        talk = CaseTalk(
            case_id=case_id,
            dialogue=self.dialogues.fresh(),
            count=0,
            note=note,
            message_id=self.message.message_id,
            at=self.shop.now,
        )
        talk.feed(opening(draft, self.shop, case_id))
        self.thread = replace(self.thread, case_id=case_id, cases=(*self.thread.cases, case_id))
        self.memory = self.memory.model_copy(update={"draft": None})
        return self._finish(talk)
