"""The moves that take, ask back, leave out, take back and correct answers."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from assistant.conversation.events import (
    AskConfirm,
    Asked,
    CannotDo,
    Complain,
    Event,
    Exact,
    Mismatched,
    NotUnderstood,
    Repaired,
    Told,
    Understood,
    Unsure,
)
from assistant.conversation.scene import Pending, Scene
from assistant.conversation.stage import Actions, Stage, of_kind
from assistant.conversation.table import State
from assistant.conversation.understanding import understand_argument
from assistant.errors import GivenError
from assistant.readings.reading import Reading, Unstable, Value

if TYPE_CHECKING:
    from assistant.conversation.ledger import Entry

__all__ = ["Answering", "require_showable"]

_SHOWABLE = 1e9


class Answering(Stage):
    """Answers and what is done about them."""

    # --- taking ------------------------------------------------------------------------

    def _before(self) -> Scene:
        """Give the scene that taking back the coming answer leads to."""
        scene = self._scene
        if scene.proof is not None:
            return replace(
                scene, state=State.CONCLUDED, proof=None, step=None, pending=None, revising=False
            )
        if scene.state in {State.CONFIRMING, State.CONTRASTING}:
            return replace(scene, state=State.MEASURING, pending=None)
        return scene

    def _answer(self, entries: tuple[Entry, ...]) -> None:
        """Tell an answer; it takes the place of the last one when that is being revised."""
        step = self._scene.step
        checks = {e.check for e in entries if not isinstance(e, Repaired)}
        if self._scene.revising and step is not None and step.check.id in checks:
            self.ledger.replace_last(entries)
        else:
            self.ledger.tell(replace(self._before(), revising=False), entries)

    def _take(self, event: Event) -> Actions:
        told = of_kind(event, Understood).told
        noted = self.wording.noted(told, self.diagnosis, self._scene.step)
        self._answer(told)
        return self._next(noted)

    def _take_exact(self, event: Event) -> Actions:
        exact = of_kind(event, Exact)
        self._require_check(exact.check)
        require_showable(exact.reading)
        told = Told(check=exact.check, reading=exact.reading)
        noted = self.wording.noted((told,), self.diagnosis, self._scene.step)
        self._answer((told,))
        return self._next(noted)

    def _take_settled(self, event: Event) -> Actions:
        self._set(state=State.PROVING if self._scene.proof else State.MEASURING, pending=None)
        return self._dispatch(event)

    def _settle(self, _event: Event) -> Actions:
        pending = self._scene.pending
        told = pending.candidates[:1] if pending else ()
        return self._take_settled(Understood(told=told))

    # --- asking back -------------------------------------------------------------------

    def _ask_back(self, event: Event) -> Actions:
        unsure = of_kind(event, Unsure)
        many = len(unsure.candidates) > 1
        self._set(
            state=State.CONTRASTING if many else State.CONFIRMING,
            pending=Pending(
                candidates=unsure.candidates, reason=unsure.reason, vehicle=unsure.vehicle
            ),
        )
        return self._present()

    def _drop(self, _event: Event) -> Actions:
        self._set(state=State.PROVING if self._scene.proof else State.MEASURING, pending=None)
        return self._present(self._say("dropped"), reminders=False)

    def _ask_which(self, _event: Event) -> Actions:
        pending = self._scene.pending
        if pending is not None and len(pending.candidates) > 1:
            hint = self._say("ask_which_many", choices=self.wording.choices(pending))
        else:
            hint = self._say("ask_which")
        readings = tuple(t.reading for t in pending.candidates) if pending else ()
        return (AskConfirm(say=hint, candidates=readings, slow=self._scene.slow),)

    # --- what cannot be used -------------------------------------------------------------

    def _object(self, event: Event) -> Actions:
        said = of_kind(event, Mismatched).say
        hint = self._say("mismatch_next", asked=self.wording.prompt(self._open_step()))
        return (Complain(message=said, next_step=hint),)

    def _puzzle(self, event: Event) -> Actions:
        reason = of_kind(event, NotUnderstood).reason
        if self._scene.step is None:
            hint = self._say("puzzle_concluded_next")
        else:
            example = self._say(f"example_{self._scene.step.check.do.quantity}")
            hint = self._say("puzzle_next", example=example)
        return (Complain(message=reason, next_step=hint),)

    def _want_reading(self, _event: Event) -> Actions:
        hint = self._say("mismatch_next", asked=self.wording.prompt(self._open_step()))
        return (Complain(message=self._say("want_reading"), next_step=hint),)

    def _ask_which_check(self, _event: Event) -> Actions:
        return (
            Complain(message=self._say("no_check_open"), next_step=self._say("no_check_open_next")),
        )

    def _insist(self, _event: Event) -> Actions:
        return (self._ask_caution("", "caution_insist"),)

    def _go_on(self, _event: Event) -> Actions:
        due = self._due(self._open_step())
        self._meanings.append(f"acknowledged {', '.join(due)}")
        self._set(
            acknowledged=self._scene.acknowledged | frozenset(due),
            state=State.PROVING if self._scene.proof else State.MEASURING,
        )
        return self._present(reminders=False)

    # --- leaving out -------------------------------------------------------------------

    def _set_aside(self, event: Event) -> Actions:
        cannot = of_kind(event, CannotDo)
        return self._leave_out(cannot.check, cannot.why, "noted_cannot")

    def _skip_check(self, _event: Event) -> Actions:
        if self._scene.revising:
            return self._next()
        return self._leave_out(None, "skipped", "noted_skip")

    def _leave_out(self, check: str | None, why: str, key: str) -> Actions:
        if check is None:
            if self._scene.step is None:
                raise self._given_error("nothing_open_to_leave")
            check = self._scene.step.check.id
        self._require_check(check)
        noted = self._say(key, name=self.diagnosis.checks[check].name)
        self._answer((CannotDo(check=check, why=why),))
        return self._next(noted)

    # --- taking back and correcting ------------------------------------------------------

    def _take_back(self, event: Event) -> Actions:
        if self._scene.proof is not None:
            return self._leave_proof(event)
        if self.ledger.last is None:
            raise self._given_error("nothing_to_take_back")
        undone = self.wording.answer(self.diagnosis.steps[-1])
        restored = self.ledger.take_back().scene
        self._scene = replace(
            restored, acknowledged=self._scene.acknowledged, slow=self._scene.slow
        )
        return self._present(self._say("taken_back", what=undone))

    def _go_back(self, event: Event) -> Actions:
        if self._scene.proof is not None:
            return self._leave_proof(event)
        if self._scene.revising:
            return self._next()
        last = self.ledger.last
        if last is None:
            raise self._given_error("nothing_to_take_back")
        entry = last.entries[-1]
        if isinstance(entry, Repaired) or entry.check is None:
            raise self._given_error("nothing_to_correct")
        step = last.scene.step
        if step is None or step.check.id != entry.check:
            step = self.diagnosis.describe(entry.check)
        self._set(state=State.MEASURING, step=step, pending=None, revising=True)
        if isinstance(entry, Told):
            lead = self._say("going_back", reading=self.wording.reading(entry.reading))
        else:
            lead = self._say("going_back_cannot")
        return self._present(lead, reminders=False)

    def _correct_last(self, event: Event) -> Actions:
        if self.ledger.last is None:
            raise self._given_error("nothing_to_correct")
        again = self._go_back(event)
        return self._correction(event, again)

    def _correct_pending(self, event: Event) -> Actions:
        argument = of_kind(event, Asked).argument
        if not argument:
            return self._drop(event)
        self._set(state=State.PROVING if self._scene.proof else State.MEASURING, pending=None)
        return self._correction(event, self._present(self._say("dropped"), reminders=False))

    def _correction(self, event: Event, otherwise: Actions) -> Actions:
        """Take the reading that came with a correction, or ask for it."""
        argument = of_kind(event, Asked).argument
        if not argument or self._scene.step is None:
            return otherwise
        meant = understand_argument(argument, self._scene.step, self.diagnosis)
        if isinstance(meant, Understood | Unsure):
            return self._dispatch(meant)
        return otherwise

    def _leave_proof(self, event: Event) -> Actions:
        raise NotImplementedError

    # --- helpers -----------------------------------------------------------------------

    def _require_check(self, check: str) -> None:
        if check not in self.diagnosis.checks:
            raise GivenError(
                f"There is no check {check!r} for this installation.",
                next_step="Use the id of a check that was offered.",
            )


def require_showable(reading: Reading) -> None:
    """Refuse numbers that no meter shows; they could not be read back either."""
    numbers: tuple[float | None, ...] = ()
    if isinstance(reading, Value):
        numbers = (reading.value,)
    elif isinstance(reading, Unstable):
        numbers = (reading.low, reading.high)
    if any(n is not None and not abs(n) < _SHOWABLE for n in numbers):
        raise GivenError(
            "No meter shows a number like that.", next_step="Send the number on the display."
        )
