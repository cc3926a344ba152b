"""A lesson as JSON objects: one line in, one line out.

In:

- ``{"type":"check","id":ID}`` or ``{"type":"check","number":N}``; with ``"go":true`` its cautions
  are taken as read
- ``{"type":"go"}``, ``{"type":"off"}``, ``{"type":"hint"}``, ``{"type":"notes"}``,
  ``{"type":"undo"}``, ``{"type":"give_up"}``
- ``{"type":"list"}`` with ``"place":GROUP`` or ``"find":WORDS`` or neither;
  ``{"type":"repairs"}`` with ``"find":WORDS`` or not
- ``{"type":"repair","id":ID}`` or ``{"type":"repair","number":N}``
- ``{"type":"text","text":WORDS}``: anything that can be typed

Out: first, unasked, ``lesson`` (the complaint and the installation as told). Then one object for
each line: ``caution`` (send ``go``), ``reading``, ``off``, ``hint``, ``notes``, ``list``,
``repairs``, ``repair`` (it did not end the trouble), ``end`` (with both orders and the advice) or
``error``, after which nothing has changed. Readings have the five forms of the machine interface.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from assistant.conversation.lines import object_of_line
from assistant.diagnosis.records import NextCheck
from assistant.errors import GivenError, MisuseError, ProbetellError
from assistant.lessons.events import (
    Action,
    Answered,
    AskHint,
    AskList,
    AskNotes,
    AskRepairs,
    Cautioned,
    Event,
    GivenUp,
    GiveUp,
    Go,
    Hinted,
    Listed,
    Noted,
    Pick,
    RepairDone,
    RepairNamed,
    RepairsListed,
    SwitchedOff,
    SwitchOff,
    Undo,
)
from assistant.lessons.lines_end import review_object, turn_object
from assistant.lessons.review import review_of
from assistant.lessons.typed import LONGEST_WORDS, event_of_words
from assistant.readings.readback import read_back_typed
from assistant.readings.reading import reading_to_json

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from assistant.lessons.checks import Entry
    from assistant.lessons.lesson import Lesson
    from assistant.lessons.review import Review

__all__ = ["LessonInterface", "action_object", "lesson_object"]

Line = dict[str, Any]


# --- in ------------------------------------------------------------------------------------


def _words(raw: Mapping[str, Any], field: str, *, needed: bool) -> str:
    value = raw.get(field)
    if value is None and not needed:
        return ""
    if not isinstance(value, str) or len(value) > LONGEST_WORDS:
        raise GivenError(
            f"{field!r} must be a string of at most {LONGEST_WORDS} characters.",
            next_step=f'Send "{field}":"...".',
        )
    return value.encode("utf-8", "replace").decode("utf-8")


def _number(raw: Mapping[str, Any]) -> int | None:
    value = raw.get("number")
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int):
        raise GivenError("'number' must be a whole number.", next_step='Send "number":7.')
    return value


def _check(raw: Mapping[str, Any], lesson: Lesson) -> Event:
    number, go = _number(raw), raw.get("go", False)
    if not isinstance(go, bool):
        raise GivenError("'go' must be true or false.", next_step='Send "go":true.')
    if number is None:
        return Pick(check=_words(raw, "id", needed=True), go=go)
    entry = lesson.checks.by_number(number)
    if entry is None:
        raise GivenError(
            "There is no check with that number.",
            next_step=f"Take one from 1 to {len(lesson.checks.entries)}.",
        )
    return Pick(check=entry.check.id, go=go)


def _repair(raw: Mapping[str, Any], lesson: Lesson) -> Event:
    number = _number(raw)
    if number is None:
        return RepairNamed(repair=_words(raw, "id", needed=True))
    repair = dict(lesson.numbered_repairs()).get(number)
    if repair is None:
        raise GivenError(
            "There is no repair with that number.",
            next_step=f"Take one from 1 to {len(lesson.repairs)}.",
        )
    return RepairNamed(repair=repair.id)


_EVENTS: Final[Mapping[str, Callable[[Mapping[str, Any], Lesson], Event]]] = {
    "check": _check,
    "go": lambda _raw, _lesson: Go(),
    "off": lambda _raw, _lesson: SwitchOff(),
    "hint": lambda _raw, _lesson: AskHint(),
    "notes": lambda _raw, _lesson: AskNotes(),
    "list": lambda raw, _: AskList(
        group=_words(raw, "place", needed=False), find=_words(raw, "find", needed=False)
    ),
    "repairs": lambda raw, _: AskRepairs(find=_words(raw, "find", needed=False)),
    "repair": _repair,
    "undo": lambda _raw, _lesson: Undo(),
    "give_up": lambda _raw, _lesson: GiveUp(),
    "text": lambda raw, lesson: event_of_words(_words(raw, "text", needed=True), lesson),
}


def _event(raw: Mapping[str, Any], lesson: Lesson) -> Event:
    kind = raw.get("type")
    if not isinstance(kind, str) or kind not in _EVENTS:
        raise GivenError(
            f"The type {str(kind)[:40]!r} is not known.",
            next_step=f"Use one of {', '.join(_EVENTS)}.",
        )
    return _EVENTS[kind](raw, lesson)


# --- out -----------------------------------------------------------------------------------


def lesson_object(lesson: Lesson) -> Line:
    """Give the first object: what the customer says and what is known of the installation."""
    plan = lesson.plan
    return {
        "type": "lesson",
        "seed": plan.seed,
        "level": plan.level,
        "kind": plan.kind,
        "misread": plan.misread,
        "complaint": lesson.complaint.model_dump(mode="json"),
        "installation": dict(lesson.given),
        "checks": len(lesson.checks.entries),
        "repairs": len(lesson.repairs),
    }


def _entry(entry: Entry) -> Line:
    check = entry.check
    return {"number": entry.number, "id": check.id, "name": check.name, "place": entry.group}


def _hint(hinted: Hinted) -> Line:
    likely = [{"id": name, "probability": p} for name, p in hinted.likely]
    step = hinted.step
    if isinstance(step, NextCheck):
        return {
            "type": "hint",
            "check": step.check.id,
            "name": step.check.name,
            "say": step.check.typed,
            "bits": step.bits,
            "minutes": hinted.minutes,
            "notes": list(step.notes),
            "likely": likely,
        }
    return {
        "type": "hint",
        "repair": step.repair,
        "probability": step.probability,
        "minutes": hinted.minutes,
        "notes": list(step.evidence),
        "likely": likely,
    }


def _answered(answered: Answered) -> Line:
    turn, entry, danger = answered.turn, answered.entry, answered.danger
    if turn.reading is None:
        raise MisuseError("The car gave no reading.", next_step="Choose another check.")
    return {
        "type": "reading",
        **_entry(entry),
        "say": entry.check.typed,
        "reading": reading_to_json(turn.reading),
        "words": read_back_typed(turn.reading),
        "minutes": turn.minutes,
        "total": answered.total,
        "cautions": [caution.text for caution in answered.cautions],
        "danger": "" if danger is None else danger.text,
    }


def _repaired(done: RepairDone) -> Line:
    complaint = done.complaint
    return {
        "type": "repair",
        "id": done.repair.id,
        "words": done.repair.words,
        "mended_something": bool(done.turn.mended),
        "complaint": None if complaint is None else complaint.model_dump(mode="json"),
        "minutes": done.turn.minutes,
        "total": done.total,
    }


def _listed(listed: Listed | RepairsListed) -> Line:
    if isinstance(listed, Listed):
        checks = [_entry(entry) for entry in listed.entries]
        return {"type": "list", "asked": listed.asked, "checks": checks}
    repairs = [
        {"number": number, "id": repair.id, "words": repair.words, "minutes": repair.minutes}
        for number, repair in listed.repairs
    ]
    return {"type": "repairs", "asked": listed.asked, "repairs": repairs}


def action_object(action: Action) -> Line:  # noqa: PLR0911 - one arm an action
    """Give the object of an action; what ends the lesson has one of its own."""
    match action:
        case Cautioned(entry=entry, minutes=minutes, cautions=cautions):
            texts = [caution.text for caution in cautions]
            head = {"type": "caution", **_entry(entry), "say": entry.check.typed}
            return {**head, "minutes": minutes, "cautions": texts}
        case Answered():
            return _answered(action)
        case SwitchedOff(minutes=minutes, total=total):
            return {"type": "off", "minutes": minutes, "total": total}
        case Hinted():
            return _hint(action)
        case Noted(turns=turns, total=total):
            return {"type": "notes", "turns": [turn_object(t) for t in turns], "total": total}
        case Listed() | RepairsListed():
            return _listed(action)
        case RepairDone():
            return _repaired(action)
        case GivenUp(faults=faults, total=total):
            return {"type": "given_up", "faults": list(faults), "total": total}


class LessonInterface:
    """Answers the lines of one lesson. ``worlds`` as for ``Lesson``."""

    def __init__(self, lesson: Lesson, *, worlds: int | None = None) -> None:
        self.lesson = lesson
        self.review: Review | None = None
        self._worlds = worlds
        self._line = 0

    def answer(self, raw: bytes) -> Line:
        """Answer one line; one that cannot be used gives an ``error`` and changes nothing."""
        self._line += 1
        try:
            action = self.lesson.handle(_event(object_of_line(raw), self.lesson))
        except ProbetellError as error:
            return self.error(str(error))
        if self.lesson.ended and self.review is None:
            self.review = review_of(self.lesson, worlds=self._worlds)
            return review_object(self.review)
        return action_object(action)

    def error(self, message: str) -> Line:
        """Give an ``error`` object for the line that was answered last."""
        return {"type": "error", "message": message, "line": self._line}
