"""The moves that tell something and leave the open question open: why, status, safety, help."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.conversation.events import Event, Park, Say
from assistant.conversation.phrases import load_phrases
from assistant.conversation.repairing import Repairing
from assistant.conversation.scene import column_of
from assistant.conversation.table import Column, State

if TYPE_CHECKING:
    from assistant.conversation.stage import Actions

__all__ = ["Telling"]

_ONLY_WAKES = frozenset(
    {
        Column.ACKNOWLEDGED,
        Column.NOT_UNDERSTOOD,
        Column.MISMATCHED,
        Column.REPEAT,
        Column.SLOWER,
        Column.YES,
        Column.NO,
        Column.DONE,
    }
)
"""What only wakes a parked case: the question it answered may be long forgotten."""


class Telling(Repairing):
    """Explanations, and parking."""

    def _tell(self, text: str) -> Actions:
        return (Say(say=text, slow=self._scene.slow),)

    def _present_again(self, _event: Event) -> Actions:
        return self._present()

    def _slow_down(self, _event: Event) -> Actions:
        self._set(slow=True)
        return self._present()

    def _explain(self, _event: Event) -> Actions:
        scene = self._scene
        if scene.pending is not None:
            return self._tell(self._say("why_confirm"))
        if scene.step is None:
            evidence = scene.verdict.evidence if scene.verdict else ()
            return self._tell(self._say("why_verdict", evidence=" ".join(evidence)))
        if scene.proof is not None:
            return self._tell(self._say("why_proof"))
        return self._tell(self.wording.why(scene.step, self.diagnosis.belief()))

    def _report(self, _event: Event) -> Actions:
        return self._tell(self.wording.status(self.diagnosis.steps, self.diagnosis.belief()))

    def _list_words(self, _event: Event) -> Actions:
        return self._tell(self.wording.words())

    def _warn(self, _event: Event) -> Actions:
        step = self._scene.step
        ids = dict.fromkeys((load_phrases().first_caution, *(step.cautions if step else ())))
        texts = self.wording.cautions(tuple(ids))
        return self._tell(self._say("safety", cautions=" ".join(texts)))

    def _park_quietly(self, _event: Event) -> Actions:
        self._set(state=State.PARKED, parked_from=self._scene.state)
        return (Park(),)

    def _park_aloud(self, _event: Event) -> Actions:
        self._set(state=State.PARKED, parked_from=self._scene.state)
        return (Park(say=self._say("parked")),)

    def _resume(self, event: Event) -> Actions:
        self._set(state=self._scene.parked_from or State.WAITING, parked_from=None)
        if column_of(event) is Column.TEXT:
            event = self._understood(event)
        if column_of(event) in _ONLY_WAKES:
            return self._present(self._say("going_on"))
        return self._dispatch(event)

    def _understood(self, event: Event) -> Event:
        raise NotImplementedError
