"""One text of a number: the case it is for, the exchange's own questions, intake, dialogue."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from assistant.conversation.events import Close
from assistant.conversation.table import State
from assistant.messaging.cars import (
    cars_text,
    label_text,
    named_car,
    other_car,
    which_car,
)
from assistant.messaging.casetalk import CaseTalk, needs_meter
from assistant.messaging.facts import facts_of
from assistant.messaging.fragments import WHOLE, broken_off, glued, part_of, whole_of, without_end
from assistant.messaging.intake import ask, label_of, next_topic, opening, summary, take
from assistant.messaging.memory import CaseNote, Draft, Memory, Question
from assistant.messaging.reading_texts import answer, bound
from assistant.messaging.segments import plain
from assistant.messaging.terms import asked_about
from assistant.messaging.texts import means, say, spoken_words

if TYPE_CHECKING:
    from assistant.messaging.records import CaseEvent, Dialogues, IncomingText, Thread
    from assistant.messaging.shop import Shop

__all__ = ["Turn"]

_SHOWN = 40


@dataclass(slots=True, kw_only=True)
class Turn:
    """Answers one text; what is to be kept stands in its fields afterwards."""

    thread: Thread
    message: IncomingText
    dialogues: Dialogues
    shop: Shop
    new_case_id: str
    memory: Memory
    later: bool = False
    events: tuple[CaseEvent, ...] = ()
    closed: tuple[str, ...] = ()

    # --- the text ------------------------------------------------------------------------

    def answered(self, text: str) -> str:
        """Answer a text; an empty answer means that more of the text is waited for."""
        part = part_of(text)
        if part is not None:
            parts = self.memory.parts if self.memory.parts.get(WHOLE) == str(part.whole) else {}
            parts = {**parts, WHOLE: str(part.whole), part.part: part.text}
            whole = whole_of(parts)
            self._remember(parts={} if whole is not None else parts)
            if whole is None:
                left = say("part_kept", part=str(part.part), whole=str(part.whole))
                return "" if self.later else left
            text = whole
        elif self.memory.parts:
            self._remember(parts={})
        return self._questioned(text)

    def open_question(self) -> str:
        """Put what is open now once more, in few words."""
        draft = self.memory.draft
        if draft is not None:
            topic = draft.asked or next_topic(draft)
            return ask(draft, topic) if topic else ""
        if self.thread.case_id is None:
            return self._intake(Draft(), "")
        talk = self._talk(self.thread.case_id)
        if talk.state is State.CLOSED:
            return say("no_trouble")
        text = talk.text(brief=True)
        self.memory = self.memory.with_note(talk.case_id, talk.note)
        return text

    def _remember(self, **changes: Any) -> None:
        self.memory = self.memory.model_copy(update=changes)

    def _questioned(self, text: str) -> str:
        """Take the answer to a question of the exchange itself; any other text drops it."""
        question = self.memory.question
        self._remember(question=None)
        reply = self._settled(question, text) if question else None
        if question is not None and question.kind == "rest":
            return self._routed(self._completed(question.text, text), complete=True)
        return self._routed(text) if reply is None else reply

    def _settled(self, question: Question, text: str) -> str | None:
        """Do what the answer to a question says; None when the text does not answer it."""
        number = _number(text, max(3, len(question.options) + 1))
        if question.kind == "again" and 0 < number <= 3:
            return self._again(number, question.text)
        if question.kind == "car" and 0 < number <= len(question.options):
            return self._switch(int(question.options[number - 1]), question.text)
        if question.kind == "car" and number == len(question.options) + 1:
            return self._new_car(question.text)
        if question.kind == "bind" and self.thread.case_id is not None:
            talk = self._talk(self.thread.case_id)
            return self._finish(talk) if bound(talk, question, text) else None
        return None

    def _completed(self, held: str, text: str) -> str:
        """Put a text behind the one that broke off; what makes no sense so stands alone."""
        if means(text, "all") or not spoken_words(text):
            return without_end(held)
        whole = glued(held, text)
        if self.thread.case_id is None or held.strip()[-1:] in {".", ","}:
            return whole
        talk = self._talk(self.thread.case_id)
        return whole if talk.makes_sense(whole) or not talk.makes_sense(text) else text

    def _routed(self, text: str, *, complete: bool = False) -> str:
        """Find the car that a text is about."""
        if self.memory.cases and (reply := self._about_cars(text)) is not None:
            return reply
        if means(text, "person"):
            about = say("person", shop=self.shop.name, contact=self.shop.contact)
            return f"{about} {self.open_question()}"
        case_id = self.thread.case_id
        if self.memory.draft is not None:
            return self._intake(self.memory.draft, text)
        if case_id is None:
            greeting = say("greeting", shop=self.shop.name)
            return f"{greeting[:1].upper()}{greeting[1:]} {self._intake(Draft(), text)}"
        if self.memory.note(case_id).closed:
            return self._after_close(case_id, text)
        return self._case(case_id, text, complete=complete)

    def _about_cars(self, text: str) -> str | None:
        """Answer a text that names another car or asks for the cars; None for any other."""
        if which_car(text):
            return f"{cars_text(self.memory)} {self.open_question()}"
        if (named := named_car(text)) is not None:
            return self._switch(*named)
        other = other_car(text)
        return None if other is None else self._other(*other)

    # --- cars ----------------------------------------------------------------------------

    def _switch(self, number: int, text: str) -> str:
        if number not in self.memory.cars:
            return say("car_unknown", number=str(number), cars=cars_text(self.memory)).strip()
        case_id = self.memory.cars[number]
        self.thread = replace(self.thread, case_id=case_id)
        self._remember(draft=None)
        lead = say("car_switched", car=label_text(self.memory, number))
        if self.memory.note(case_id).closed:
            return f"{lead} {self._after_close(case_id, text)}"
        if text:
            return f"{lead} {self._case(case_id, text)}".strip()
        talk = self._talk(case_id)
        talk.in_full()
        return f"{lead} {self._finish(talk)}"

    def _other(self, surely_new: bool, text: str) -> str:  # noqa: FBT001 - as found in the text
        others = sorted(self.memory.cars)
        if surely_new or len(others) < 2:
            return self._new_car(text)
        choices = ", ".join(
            f"{at} = {label_text(self.memory, number)}" for at, number in enumerate(others, start=1)
        )
        options = tuple(map(str, others))
        self._remember(question=Question(kind="car", options=options, text=text))
        return say("car_which", choices=choices, last=str(len(others) + 1))

    def _new_car(self, text: str) -> str:
        number = max((*self.memory.cars, 0)) + 1
        return f"{say('new_car', number=str(number))} {self._intake(Draft(car=number), text)}"

    def _after_close(self, case_id: str, text: str) -> str:
        """Ask a number whose case is closed what it is about."""
        if means(text, "thanks", "wait"):
            return f"{say('thanks')} {say('no_trouble')}"
        note = self.memory.note(case_id)
        self._remember(question=Question(kind="again", text=text))
        return say("again", label=note.label or "car audio")

    def _again(self, number: int, text: str) -> str:
        case_id = self.thread.case_id
        if number == 3 or case_id is None:
            return self._new_car(text)
        note = self.memory.note(case_id)
        before = note.draft or self._draft_of(case_id, note)
        if number == 1:
            return self._open(before.model_copy(update={"car": note.car}))
        known = Draft(
            car=note.car,
            meter=before.meter,
            installation=before.installation,
            done=("meter", "channels", "speakers", "source", "supply"),
        )
        return self._intake(known, text)

    def _draft_of(self, case_id: str, note: CaseNote) -> Draft:
        """Make the draft of a case of which nothing but its events is remembered."""
        diagnosis = self.dialogues.stored(case_id)[0].diagnosis
        told = diagnosis.installation.model_dump(mode="json", by_alias=True, exclude_unset=True)
        complaint = diagnosis.complaint
        return Draft(
            car=note.car,
            symptom=complaint.symptom,
            when=complaint.when,
            where=complaint.where,
            installation=told,
        )

    # --- intake --------------------------------------------------------------------------

    def _intake(self, draft: Draft, text: str) -> str:
        if draft.asked is not None and (aside := _aside(text)):
            return f"{aside} {ask(draft, draft.asked)}"
        taken = take(draft, text)
        lead = taken.problem or summary(taken.noted)
        topic = next_topic(taken.draft)
        if topic is not None:
            tries = taken.draft.tries if topic == taken.draft.asked else 0
            asked = taken.draft.model_copy(update={"asked": topic, "tries": tries})
            self._remember(draft=asked)
            return f"{lead} {ask(asked, topic)}".strip()
        return f"{lead} {self._open(taken.draft)}".strip()

    def _open(self, draft: Draft) -> str:
        return self._finish(self._fresh(draft))

    def _fresh(self, draft: Draft) -> CaseTalk:
        """Open the case of a draft; texts go to it from now on."""
        case_id = self.new_case_id
        talk = CaseTalk(
            case_id=case_id,
            dialogue=self.dialogues.fresh(),
            count=0,
            note=CaseNote(
                car=draft.car,
                label=label_of(draft),
                no_meter=draft.meter is False,
                draft=draft.model_copy(update={"asked": None}),
            ),
            message_id=self.message.message_id,
            at=self.shop.now,
        )
        if not talk.feed(opening(draft, self.shop, case_id)):
            # what was told of the car cannot be worked with: go on without it
            talk.feed(opening(draft.model_copy(update={"installation": {}}), self.shop, case_id))
        self.thread = replace(self.thread, case_id=case_id, cases=(*self.thread.cases, case_id))
        self._remember(draft=None)
        return talk

    # --- the open case -------------------------------------------------------------------

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

    def _case(self, case_id: str, text: str, *, complete: bool = False) -> str:
        talk = self._talk(case_id)
        if talk.state is State.CLOSED:
            # closed at the shop, or its memory was lost
            talk.remember(closed=True)
            self.memory = self.memory.with_note(case_id, talk.note)
            return self._after_close(case_id, text)
        if talk.note.no_meter and means(text, "meter"):
            return self._meter_found(talk)
        reading = talk.step is not None and needs_meter(talk.step.check)
        if not complete and broken_off(text, reading=reading):
            self._remember(question=Question(kind="rest", text=text))
            return "" if self.later else say("rest", text=plain(text)[-_SHOWN:])
        return self._finish(talk, answer(talk, text))

    def _meter_found(self, old: CaseTalk) -> str:
        """Go on with a meter: a case of the same car that is told what this one was told."""
        draft = old.note.draft or self._draft_of(old.case_id, old.note)
        answers = old.dialogue.ledger.mark()
        old.feed(Close(), meaning="goes on as a case with a meter")
        self._finish(old)
        talk = self._fresh(draft.model_copy(update={"car": old.note.car, "meter": True}))
        kept = {"confirmed": old.note.confirmed, "told": old.note.told}
        talk.remember(**kept, explained=old.note.explained)
        talk.put_again(answers)
        talk.leads[:] = [say("meter_found")]
        return self._finish(talk)

    def _finish(self, talk: CaseTalk, question: Question | None = None) -> str:
        text = talk.text()
        self.events += tuple(talk.events)
        if talk.note.closed and not self.memory.note(talk.case_id).closed:
            self.closed += (talk.case_id,)
        self.memory = self.memory.with_note(talk.case_id, talk.note)
        self._remember(question=question)
        return text


def _aside(text: str) -> str:
    """Answer what is no answer to a question about the car; empty for all else."""
    if (term := asked_about(text)) is not None and not facts_of(text):
        return say("term", name=term.name, text=term.text)
    if means(text, "thanks"):
        return say("thanks")
    return say("waiting") if means(text, "wait") else ""


def _number(text: str, most: int) -> int:
    """Give the number of a choice that a whole text is, 0 when it is none."""
    said = spoken_words(text)
    return int(said) if said.isdecimal() and len(said) == 1 and 0 < int(said) <= most else 0
