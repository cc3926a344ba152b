"""The machine interface: one JSON object a line in, JSON objects out.

Pure: lines come in, objects go out. Whoever runs it reads, writes and keeps the events. After
each line exactly one of ``check``, ``confirm``, ``verdict`` or ``error`` ends the answer.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, Protocol

from assistant.conversation.events import (
    AskCheck,
    AskConfirm,
    Complain,
    GiveVerdict,
    Opened,
    Park,
    Say,
    ShowBelief,
)
from assistant.conversation.lines import (
    belief_object,
    check_object,
    event_of,
    key_of,
    object_of_line,
    verdict_object,
)
from assistant.conversation.phrases import refusal
from assistant.conversation.table import State
from assistant.errors import MisuseError, ProbetellError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from assistant.conversation.dialogue import Dialogue
    from assistant.conversation.events import Action, Given

__all__ = ["MachineCase", "MachineInterface", "answer_objects"]


class MachineCase(Protocol):
    """One case as the interface needs it; ``assistant.casebook.KeptCase`` is one."""

    @property
    def dialogue(self) -> Dialogue:
        """The case's dialogue."""
        ...

    @property
    def begun(self) -> bool:
        """Whether the case was opened before and goes on."""
        ...

    def handle(self, event: Given, *, key: str | None = None) -> tuple[Action, ...]:
        """Take one event, keep it, and give what is left to carry out."""
        ...


class MachineInterface:
    """Answers lines. ``start`` makes the case for an ``open`` line, or finds one to go on with."""

    def __init__(
        self,
        start: Callable[[Opened], MachineCase],
        *,
        seed: int = 0,
        worlds: int | None = None,
    ) -> None:
        self._start = start
        self._seed = seed
        self._worlds = worlds
        self._case: MachineCase | None = None
        self._line = 0

    def answer(self, raw: bytes) -> list[dict[str, Any]]:
        """Answer one line; a line that cannot be used gives an ``error`` and changes nothing."""
        self._line += 1
        try:
            given = object_of_line(raw)
            event, key = event_of(given, self._seed), key_of(given)
            if isinstance(event, Opened):
                return self._open(event, key)
            if self._case is None:
                raise MisuseError(
                    refusal("refuse_waiting"), next_step=refusal("refuse_waiting_next")
                )
            actions = self._case.handle(event, key=key)
            return self._objects(actions, self._case.dialogue)
        except ProbetellError as error:
            return [self.error(str(error))]

    def prepare(self) -> None:
        """Do ahead what the next line will need, while its answer is awaited."""
        if self._case is not None:
            self._case.dialogue.prepare()

    def error(self, message: str) -> dict[str, Any]:
        """Give an ``error`` object for the line that was answered last."""
        return {"type": "error", "message": message, "line": self._line}

    def _open(self, event: Opened, key: str | None) -> list[dict[str, Any]]:
        if self._case is not None and self._case.dialogue.state is not State.CLOSED:
            raise MisuseError(refusal("refuse_open"), next_step=refusal("refuse_open_next"))
        event = replace(event, worlds=self._worlds)
        case = self._start(event)
        actions = case.dialogue.present() if case.begun else case.handle(event, key=key)
        self._case = case
        return self._objects(actions, case.dialogue)

    def _objects(self, actions: Iterable[Action], dialogue: Dialogue) -> list[dict[str, Any]]:
        answer = answer_objects(actions, dialogue)
        if answer[-1]["type"] == "error":
            answer[-1]["line"] = self._line
        return answer


def answer_objects(actions: Iterable[Action], dialogue: Dialogue) -> list[dict[str, Any]]:
    """Give the objects for one answer; what ends in no question puts the open one again."""
    leads: list[str] = []
    objects: list[dict[str, Any]] = []
    for action in actions:
        match action:
            case Say(say=say) | Park(say=say):
                leads.append(say)
            case Complain(message=message, next_step=next_step):
                return [{"type": "error", "message": f"{message} {next_step}", "line": 0}]
            case ShowBelief(belief=belief):
                objects.append(belief_object(belief))
            case AskCheck(step=step, say=say, cautions=cautions):
                objects.append(check_object(step, " ".join([*leads, say]), cautions))
            case AskConfirm(say=say):
                objects.append({"type": "confirm", "say": " ".join([*leads, say])})
            case GiveVerdict(verdict=verdict):
                objects.append(verdict_object(verdict))
            case _:
                pass
    if any(found["type"] != "belief" for found in objects):
        return objects
    if not (again := dialogue.present()):
        raise MisuseError(refusal("refuse_closed"), next_step=refusal("refuse_closed_next"))
    return answer_objects([*(Say(say=lead) for lead in leads if lead), *again], dialogue)
