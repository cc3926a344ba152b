"""What every move of the dialogue stands on: the scene, the ledger, and how questions are put."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final, TypeAlias, TypeVar

from assistant.conversation.events import (
    Action,
    AskCaution,
    AskCheck,
    AskConfirm,
    Event,
    GiveVerdict,
    Opened,
    ShowBelief,
)
from assistant.conversation.lexicon import Lexicon
from assistant.conversation.phrases import load_phrases
from assistant.conversation.scene import Scene
from assistant.conversation.table import State
from assistant.diagnosis.records import Diagnosing, Expectation, NextCheck, Verdict
from assistant.errors import GivenError, MisuseError
from assistant.knowledge.schema import Installation

if TYPE_CHECKING:
    from assistant.conversation.ledger import Ledger
    from assistant.conversation.wording import Wording

__all__ = ["Actions", "Lexicons", "Opener", "Sound", "Stage", "of_kind"]

Actions: TypeAlias = tuple[Action, ...]
Opener: TypeAlias = Callable[[Opened], Diagnosing]
Lexicons: TypeAlias = Callable[[Installation], Lexicon]
Sound: TypeAlias = Callable[[Diagnosing, str], Expectation]

_Kind = TypeVar("_Kind")
_NO_WAITING: Final = frozenset({"machine"})


class Stage:
    """Holds the scene and puts the open question; the moves are in the classes above it."""

    def __init__(self, opener: Opener, lexicons: Lexicons, sound: Sound) -> None:
        self._opener = opener
        self._sound = sound
        self._lexicons = lexicons
        self._scene = Scene()
        self._ledger: Ledger | None = None
        self._wording: Wording | None = None
        self._meanings: list[str] = []

    # --- what is held ------------------------------------------------------------------

    @property
    def scene(self) -> Scene:
        """Where the dialogue stands."""
        return self._scene

    @property
    def ledger(self) -> Ledger:
        """The answers so far; raises ``MisuseError`` before the case is opened."""
        if self._ledger is None:
            raise MisuseError("No case is open.", next_step="Open a case first.")
        return self._ledger

    @property
    def diagnosis(self) -> Diagnosing:
        """The diagnosis of the case; raises ``MisuseError`` before it is opened."""
        return self.ledger.diagnosis

    @property
    def wording(self) -> Wording:
        """The sentences of the case; raises ``MisuseError`` before it is opened."""
        if self._wording is None:
            raise MisuseError("No case is open.", next_step="Open a case first.")
        return self._wording

    def _say(self, key: str, **slots: str) -> str:
        return self.wording.book.say(key, **slots)

    def _set(self, **changes: Any) -> None:
        self._scene = replace(self._scene, **changes)

    def _dispatch(self, event: Event) -> Actions:
        raise NotImplementedError

    # --- the open question ---------------------------------------------------------------

    def _open_step(self) -> NextCheck:
        if self._scene.step is None:
            raise MisuseError("No check is open.", next_step="Ask for the next step first.")
        return self._scene.step

    def _due(self, step: NextCheck) -> tuple[str, ...]:
        """Name the cautions that must be acknowledged before ``step``, in order."""
        if self._scene.channel in _NO_WAITING:
            return ()
        file = load_phrases()
        known = self._scene.acknowledged
        first = () if file.first_caution in known else (file.first_caution,)
        wanted = [c for c in step.cautions if c not in known or c in file.always_acknowledge]
        return tuple(dict.fromkeys((*first, *wanted)))

    def _next(self, lead: str = "") -> Actions:
        """Put the next check, or give the verdict when it is time."""
        step = self.diagnosis.next_step()
        if isinstance(step, Verdict):
            return self._conclude(step, lead, settled=False)
        self._set(verdict=None, settled=False, proof=None)
        return self._open(step, lead)

    def _open(self, step: NextCheck, lead: str = "") -> Actions:
        """Put ``step``: its cautions first where some are due."""
        due = self._due(step)
        proving = self._scene.proof is not None
        state = State.PROVING if proving else State.MEASURING
        self._set(state=State.CAUTIONING if due else state, step=step, pending=None, revising=False)
        return self._present(lead)

    def _conclude(self, verdict: Verdict, lead: str, *, settled: bool) -> Actions:
        self._set(
            state=State.CONCLUDED,
            verdict=verdict,
            settled=settled,
            step=None,
            pending=None,
            proof=None,
            revising=False,
        )
        return self._present(lead)

    def _present(self, lead: str = "", *, reminders: bool = True) -> Actions:
        """Put the open question as it stands, after ``lead``; changes nothing."""
        scene = self._scene
        state = scene.parked_from if scene.state is State.PARKED else scene.state
        match state:
            case State.CAUTIONING:
                return (self._ask_caution(lead, "caution"),)
            case State.MEASURING | State.PROVING:
                step = self._open_step()
                remind = step.cautions if reminders else ()
                return (
                    ShowBelief(belief=self.diagnosis.belief()),
                    AskCheck(
                        step=step,
                        say=_joined(lead, self.wording.check(step, reminders=remind)),
                        cautions=self.wording.cautions(step.cautions),
                        slow=scene.slow,
                    ),
                )
            case State.CONFIRMING | State.CONTRASTING if scene.pending is not None:
                return (
                    AskConfirm(
                        say=_joined(lead, self.wording.pending(scene.pending, self._open_step())),
                        candidates=tuple(t.reading for t in scene.pending.candidates),
                        slow=scene.slow,
                    ),
                )
            case State.CONCLUDED | State.CLOSED if scene.verdict is not None:
                said = self.wording.verdict(scene.verdict, settled=scene.settled)
                return (
                    ShowBelief(belief=self.diagnosis.belief()),
                    GiveVerdict(verdict=scene.verdict, say=_joined(lead, said), slow=scene.slow),
                )
            case _:
                return ()

    def _ask_caution(self, lead: str, key: str) -> AskCaution:
        step = self._open_step()
        texts = self.wording.cautions(self._due(step))
        return AskCaution(
            step=step,
            say=_joined(lead, self._say(key, cautions=" ".join(texts))),
            cautions=texts,
            slow=self._scene.slow,
        )

    def _given_error(self, key: str) -> GivenError:
        return GivenError(self._say(key), next_step=self._say(f"{key}_next"))


def of_kind(event: Event, kind: type[_Kind]) -> _Kind:
    """Give ``event`` as the kind that its column holds; raise ``MisuseError`` otherwise."""
    if not isinstance(event, kind):
        raise MisuseError(
            f"A {type(event).__name__} stands in the column of {kind.__name__}.",
            next_step="Correct the table of the dialogue.",
        )
    return event


def _joined(*parts: str) -> str:
    return " ".join(part for part in parts if part)
