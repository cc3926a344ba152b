"""One case while one text of its customer is answered: events in, the reply's words out."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from assistant.casebook.records import StoredEvent
from assistant.conversation.events import (
    Acknowledged,
    AskCaution,
    AskCheck,
    AskConfirm,
    Asked,
    CannotDo,
    Close,
    Complain,
    Ended,
    Exact,
    GiveVerdict,
    Mismatched,
    NotUnderstood,
    Opened,
    Park,
    Repaired,
    Say,
    Store,
    Told,
    Undo,
)
from assistant.conversation.phrases import load_phrases
from assistant.conversation.table import State
from assistant.errors import ProbetellError
from assistant.messaging.records import CaseEvent
from assistant.messaging.texts import load_texts, say
from assistant.messaging.wording import (
    check_text,
    confirm_text,
    prompt_of,
    reply_of,
    settled_text,
    verdict_text,
)
from assistant.readings.reading import SEEN_ANSWERS

if TYPE_CHECKING:
    from collections.abc import Iterable

    from assistant.conversation.dialogue import Dialogue
    from assistant.conversation.events import Action, Given
    from assistant.conversation.ledger import Answer, Entry
    from assistant.diagnosis.records import NextCheck
    from assistant.knowledge.schema import Check
    from assistant.messaging.memory import CaseNote

__all__ = ["NO_METER", "CaseTalk", "needs_meter"]

_MOST_ASKED: Final = 8
NO_METER: Final = "no meter"
"""Why a check is left out where there is no meter."""
_OPEN: Final = frozenset({State.MEASURING, State.PROVING})


def needs_meter(check: Check) -> bool:
    """Tell whether a check is read off a meter."""
    return check.do.quantity not in SEEN_ANSWERS


class CaseTalk:
    """Feeds a dialogue and writes what it asks.

    ``count`` is how many events are stored, ``message_id`` marks the events of this text, ``at``
    is their time. Cautions that may hurt at once are waited for until the customer has confirmed
    each of them once in the case; the others, and those when they come again, stand in front of
    the step.
    """

    def __init__(
        self,
        *,
        case_id: str,
        dialogue: Dialogue,
        count: int,
        note: CaseNote,
        message_id: str,
        at: str,
    ) -> None:
        self.case_id = case_id
        self.dialogue = dialogue
        self.note = note
        self.events: list[CaseEvent] = []
        self.leads: list[str] = []
        self.quiet = False
        self._count = count
        self._message_id = message_id
        self._at = at
        self._just_confirmed = False
        self._settling = False
        self._asks_again = True

    # --- what is open --------------------------------------------------------------------

    @property
    def state(self) -> State:
        """Where the dialogue stands, as if it were not parked."""
        scene = self.dialogue.scene
        parked = scene.state is State.PARKED and scene.parked_from is not None
        return scene.parked_from if parked and scene.parked_from else scene.state

    @property
    def step(self) -> NextCheck | None:
        """The check that is open or cautioned of."""
        return self.dialogue.scene.step

    @property
    def hazards(self) -> tuple[str, ...]:
        """The cautions of the open step that the customer has to confirm first."""
        if self.state not in {State.CAUTIONING, *_OPEN} or self.step is None:
            return ()
        must = load_texts().confirm
        return tuple(c for c in self.step.cautions if c in must and c not in self.note.confirmed)

    # --- feeding -------------------------------------------------------------------------

    def feed(self, event: Given, *, meaning: str = "") -> bool:
        """Have the dialogue take an event; False, and a sentence why, when it cannot."""
        try:
            actions = self.dialogue.handle(event)
        except ProbetellError as error:
            self.leads.append(error.message)
            return False
        for action in actions:
            self._carry_out(action, event, meaning)
        if not self._settling:
            self._settling = True
            while self._go_on():
                pass
            self._settling = False
        return True

    def _go_on(self) -> bool:
        """Do what needs no word of the customer: leave out, pass mild cautions, close."""
        step, state = self.step, self.dialogue.state
        mark = len(self.leads)
        if self.dialogue.scene.settled and state is State.CONCLUDED:
            return self.feed(Close(), meaning="closed after the repair held")
        if step is not None and self.note.no_meter and needs_meter(step.check):
            if self.dialogue.scene.proof is not None:
                return self.feed(Asked(command="skip"), meaning="no meter to prove the repair with")
            if state in {State.MEASURING, State.CAUTIONING}:
                done = self.feed(CannotDo(why=NO_METER))
                del self.leads[mark:]
                return done
        if state is State.CAUTIONING and not self.hazards:
            # they are sent with the step
            return self.feed(Acknowledged(), meaning="the cautions are sent with the step")
        return False

    def remember(self, **changes: Any) -> None:
        """Change what is remembered of the case."""
        self.note = self.note.model_copy(update=changes)

    def understood(self) -> None:
        """Note that the customer has understood the cautions, and go on."""
        self.remember(confirmed=tuple(dict.fromkeys((*self.note.confirmed, *self.hazards))))
        self._just_confirmed = True
        self.feed(Acknowledged())

    def pass_for(self, name: str) -> None:
        """Pass a caution of the open step for an answer that belongs to another check."""
        if self.dialogue.state is State.CAUTIONING:
            self.feed(Acknowledged(), meaning=f"passed for an answer to: {name}")

    def no_meter(self) -> None:
        """Leave out, from now on, all that needs a meter."""
        known = self.note.no_meter
        self.remember(no_meter=True)
        self.leads.append(say("no_meter_known" if known else "no_meter"))
        while self._go_on():
            pass

    def undo(self) -> None:
        """Take back the last answer, and what was left out since for want of a meter."""
        self._settling = True
        mark = len(self.leads)
        while (last := self.dialogue.ledger.last) and _without_meter(last.entries):
            if not self.feed(Undo(), meaning="asked again where there is a meter"):
                break
        del self.leads[mark:]
        self._settling = False
        self.feed(Undo())

    def put_again(self, answers: Iterable[Answer]) -> None:
        """Tell what an earlier case was told, but for what wanted a meter."""
        for entry in (entry for answer in answers for entry in answer.entries):
            self.pass_for("what was answered before")
            match entry:
                case Told(check=check, reading=reading):
                    self.feed(Exact(check=check, reading=reading), meaning="put again")
                case CannotDo() if entry.why == NO_METER:
                    pass
                case CannotDo() | Repaired():
                    self.feed(entry, meaning="put again")

    def makes_sense(self, text: str) -> bool:
        """Tell whether the open question can use a text; changes nothing."""
        return not isinstance(self.dialogue.meaning_of(text), Mismatched | NotUnderstood)

    def in_full(self) -> None:
        """Put the open question again as when it came first."""
        self._asks_again = False
        self.remember(explained=())

    def _carry_out(self, action: Action, event: Given, meaning: str) -> None:
        match action:
            case Store(event=stored, meaning=meant):
                number = len(self.events)
                entry = StoredEvent(
                    sequence=self._count + number,
                    at=self._at,
                    event=stored,
                    meaning=meaning or meant,
                    key=f"{self._message_id}/{number}",
                )
                self.events.append(CaseEvent(case_id=self.case_id, entry=entry))
            case AskConfirm() if self.state is State.CONCLUDED:
                pass  # whether the repair helped: put in few words
            case AskCheck() | AskCaution() | AskConfirm() | GiveVerdict():
                if not isinstance(event, Opened | Acknowledged | Close):
                    self.leads.append(self._lead(action))
                self._asks_again = False
            case Say(say=said):
                self.leads.append(said)
            case Park():
                self.leads.append(say("waiting"))
                self.quiet = True
            case Complain(message=message):
                self.leads.append(self._complaint(message))
            case Ended():
                self.remember(closed=True)
            case _:
                pass

    def _complaint(self, message: str) -> str:
        """Give a complaint; those about checks without a meter would name a carrier's word."""
        if self.step is None or needs_meter(self.step.check):
            return message
        return say("not_answer")

    def _lead(self, action: AskCheck | AskCaution | AskConfirm | GiveVerdict) -> str:
        """Give what an action says in front of its question, such as the read-back."""
        wording, scene = self.dialogue.wording, self.dialogue.scene
        ends: list[str] = []
        match action:
            case AskCheck(step=step):
                ends = [wording.check(step, reminders=step.cautions), wording.check(step)]
            case AskCaution(cautions=cautions):
                ends = [wording.book.say("caution", cautions=" ".join(cautions))]
            case AskConfirm() if scene.pending is not None and scene.step is not None:
                ends = [wording.pending(scene.pending, scene.step)]
            case GiveVerdict(verdict=verdict):
                ends = [wording.verdict(verdict, settled=scene.settled)]
            case _:
                pass
        return next(
            (action.say.removesuffix(e).strip() for e in ends if action.say.endswith(e)), ""
        )

    def _due(self, step: NextCheck) -> tuple[str, ...]:
        """Name the cautions whose whole sentences belong in front of a step."""
        ids = dict.fromkeys((load_phrases().first_caution, *step.cautions))
        last = step.cautions if self._just_confirmed else self.note.last
        again = load_texts().confirm - set(last)
        return tuple(c for c in ids if c not in self.note.told or c in again)

    # --- writing -------------------------------------------------------------------------

    def text(self, *, brief: bool = False) -> str:
        """Write the reply: what was taken, then the open question.

        ``brief`` asks again in few words; so does an answer that put no new question.
        """
        lead = " ".join(part for part in dict.fromkeys(self.leads) if part)
        if self.quiet:
            return lead
        brief = brief or self._asks_again
        step = self.step
        if step is not None and self.hazards:
            return _joined(lead, self._hazard(step, brief=brief))
        if step is not None and self.state in _OPEN:
            return self._check(step, lead, brief=brief)
        return _joined(lead, self._other_question(brief=brief))

    def _other_question(self, *, brief: bool) -> str:
        scene, wording = self.dialogue.scene, self.dialogue.wording
        match self.state:
            case State.CONFIRMING | State.CONTRASTING if scene.pending and scene.step:
                return confirm_text(scene.pending, scene.step, wording)
            case State.CONCLUDED if scene.verdict is not None and not brief:
                return verdict_text(scene.verdict, wording, no_meter=self.note.no_meter)
            case State.CONCLUDED if scene.verdict is not None:
                return say("outcome_later")
            case State.CLOSED if scene.verdict is not None and scene.settled:
                return settled_text(scene.verdict, wording)
            case _:
                return ""

    def _hazard(self, step: NextCheck, *, brief: bool) -> str:
        ids = self.hazards if brief else self._due(step)
        self.remember(told=tuple(dict.fromkeys((*self.note.told, *ids))))
        sentences = self.dialogue.wording.cautions(ids)
        return say("hazard", cautions=" ".join(sentences))

    def _check(self, step: NextCheck, lead: str, *, brief: bool) -> str:
        check = step.check
        asked = (*(c for c in self.note.asked if c != check.id), check.id)[-_MOST_ASKED:]
        self.remember(asked=asked)
        if brief:
            return _joined(lead, prompt_of(check, meter=False), reply_of(check))
        lexicon, due = self.dialogue.wording.lexicon, self._due(step)
        text, explained = check_text(
            step,
            lead=lead,
            cautions=[lexicon.caution(c) for c in due],
            reminders=[lexicon.short(c) for c in step.cautions if c not in due],
            known=self.note.explained,
        )
        self.remember(
            explained=(*self.note.explained, *explained),
            told=tuple(dict.fromkeys((*self.note.told, *due))),
            last=step.cautions,
        )
        return text


def _without_meter(entries: tuple[Entry, ...]) -> bool:
    return any(isinstance(e, CannotDo) and e.why == NO_METER for e in entries)


def _joined(*parts: str) -> str:
    return " ".join(part for part in parts if part)
