"""The dialogue: events in, actions out. No I/O, no clock, nothing at random.

``Dialogue`` looks each event up in the table and carries out the move that stands there. An
event that raises has changed nothing. The same events in the same order give the same actions,
so that a case is rebuilt from its stored events.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.conversation.events import (
    Complain,
    Ended,
    Event,
    Given,
    GiveVerdict,
    Heard,
    Opened,
    ShowBelief,
    Store,
    Told,
    Typed,
)
from assistant.conversation.ledger import Ledger
from assistant.conversation.lexicon import lexicon_for
from assistant.conversation.phrases import refusal
from assistant.conversation.scene import column_of
from assistant.conversation.soundness import sound_expectation
from assistant.conversation.stage import Actions, Lexicons, Opener, Sound, of_kind
from assistant.conversation.table import TABLE, Column, State
from assistant.conversation.telling import Telling
from assistant.conversation.understanding import understand
from assistant.conversation.wording import Wording
from assistant.errors import GivenError, MisuseError

if TYPE_CHECKING:
    from collections.abc import Iterable

    from assistant.diagnosis.records import NextCheck

__all__ = ["Dialogue", "replay"]


class Dialogue(Telling):
    """One case as a conversation.

    ``opener`` makes the diagnosis when the case is opened, ``lexicons`` the words for its
    installation, ``sound`` what a check reads in a sound car.
    """

    def __init__(
        self,
        opener: Opener,
        lexicons: Lexicons = lexicon_for,
        sound: Sound = sound_expectation,
    ) -> None:
        super().__init__(opener, lexicons, sound)

    @property
    def state(self) -> State:
        """Where the dialogue stands."""
        return self._scene.state

    @property
    def grammar(self) -> str:
        """The grammar whose phrases, with the commands, may answer the open question."""
        step = self._scene.step
        if step is None or self._scene.state is State.CAUTIONING:
            return "yes_no"
        return step.check.grammar

    def handle(self, event: Given) -> Actions:
        """Take one event; the first action is to store it.

        Raises ``GivenError`` for what cannot be used and ``MisuseError`` for what has no place in
        this state; either way nothing was changed and nothing is to be stored.
        """
        if not isinstance(event, Given):
            raise MisuseError(
                f"{type(event).__name__} is made by the dialogue itself.",
                next_step="Pass what was said, typed or sent.",
            )
        held = (self._scene, self._ledger, self._wording)
        mark = self._ledger.mark() if self._ledger else ()
        self._meanings = []
        try:
            actions = self._dispatch(event)
        except BaseException:
            self._scene, self._ledger, self._wording = held
            if self._ledger is not None:
                self._ledger.roll_back(mark)
            raise
        return (Store(event=event, meaning="; ".join(self._meanings)), *actions)

    def present(self) -> Actions:
        """Put the open question again; changes nothing and is not to be stored."""
        return self._present()

    def prepare(self) -> None:
        """Do ahead what the next answer will need, while the person measures; changes nothing."""
        if self._ledger is not None and self._scene.state is not State.CLOSED:
            self._ledger.diagnosis.prepare()

    def meaning_of(self, text: str) -> Event:
        """Tell what a typed text would mean at the open question; changes nothing.

        Raises ``MisuseError`` before the case is opened.
        """
        return understand(Typed(text=text), self._scene, self.diagnosis, self._last_check())

    # --- looking up --------------------------------------------------------------------

    def _dispatch(self, event: Event) -> Actions:
        move = TABLE[self._scene.state][column_of(event)]
        actions: Actions = getattr(self, f"_{move}")(event)
        return actions

    def _refuse(self, event: Event) -> Actions:
        key = {State.WAITING: "refuse_waiting", State.CLOSED: "refuse_closed"}.get(
            self._scene.state, "refuse_open"
        )
        if column_of(event) is Column.OPENED and self._scene.state is State.CLOSED:
            key = "refuse_closed"
        raise MisuseError(refusal(key), next_step=refusal(f"{key}_next"))

    def _ignore(self, _event: Event) -> Actions:
        return ()

    # --- the ends of a case ------------------------------------------------------------

    def _begin(self, event: Event) -> Actions:
        opened = of_kind(event, Opened)
        self._ledger = Ledger(self._opener(opened))
        self._wording = Wording(opened.channel, self._lexicons(opened.installation))
        self._set(channel=opened.channel)
        return self._next(self._say("opened"))

    def _finish(self, _event: Event) -> Actions:
        verdict = self.diagnosis.verdict()
        said = self.wording.verdict(verdict, settled=False)
        self._set(
            state=State.CLOSED,
            verdict=verdict,
            step=None,
            pending=None,
            proof=None,
            revising=False,
            parked_from=None,
        )
        return (
            ShowBelief(belief=self.diagnosis.belief()),
            GiveVerdict(verdict=verdict, say=f"{said} {self._say('closed')}"),
            Ended(),
        )

    # --- texts -------------------------------------------------------------------------

    def _understood(self, event: Event) -> Event:
        if not isinstance(event, Heard | Typed):
            raise MisuseError("That is no text.", next_step="Pass what was said or typed.")
        meant = understand(event, self._scene, self.diagnosis, self._last_check())
        self._meanings.append(self.wording.meaning(meant, self.diagnosis))
        return meant

    def _last_check(self) -> NextCheck | None:
        """Give the check that was answered last, as it stood then."""
        last = self.ledger.last
        step = None if last is None else last.scene.step
        if last is None or step is None:
            return None
        checks = [e.check for e in last.entries if isinstance(e, Told)]
        return step if step.check.id in checks else None

    def _read(self, event: Event) -> Actions:
        mark, scene = self.ledger.mark(), self._scene
        try:
            return self._dispatch(self._understood(event))
        except GivenError as error:
            self._scene = scene
            self.ledger.roll_back(mark)
            return (Complain(message=error.message, next_step=error.next_step),)


def replay(dialogue: Dialogue, events: Iterable[Given]) -> None:
    """Bring a fresh dialogue to where ``events`` had brought another one."""
    for event in events:
        dialogue.handle(event)
