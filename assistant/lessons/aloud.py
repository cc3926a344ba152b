"""What of a lesson is said aloud: its answers, the lists to choose from, and the questions."""

from __future__ import annotations

import re
from collections import Counter
from typing import TYPE_CHECKING, Final

from assistant.diagnosis.records import NextCheck
from assistant.lessons.events import (
    Answered,
    Cautioned,
    GivenUp,
    Hinted,
    Listed,
    Noted,
    RepairDone,
    RepairsListed,
    SwitchedOff,
)
from assistant.lessons.narrowing import SORTS, sort_of_check
from assistant.lessons.vocabulary import plain_words
from assistant.readings.number_words import digit_words
from assistant.readings.readback import read_back

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assistant.knowledge.schema import Repair
    from assistant.lessons.checks import Entry
    from assistant.lessons.events import Action, Turn
    from assistant.lessons.lesson import Lesson

__all__ = [
    "HELP",
    "PAGE",
    "page_words",
    "place_name",
    "repair_name",
    "sentence",
    "sorts_words",
    "spoken_action",
]

PAGE: Final = 5
"""So many names are read out at a time; more are not kept in mind."""
HELP: Final = (
    "Name a check, or a place to hear its checks, as in: the main fuse, or ohms at the front left. "
    "Then say number and its digit. I say what I heard; say do it, or no. "
    "To repair, say what is wrong, as in: the main fuse is open. "
    "Also: list, what repairs, what next for a hint, notes, everything off, repeat, slower, undo, "
    "safety, give up, and stop."
)
_LAST_NOTES: Final = 5
_QUESTION: Final = re.compile(r"(?<=[.!])\s*[^.!?]*\?\s*$")
_PLACES: Final[Mapping[str, str]] = {
    "fuse": "main fuse",
    "remote": "remote wire",
    "signal": "signal leads",
}
"""What is said for a place whose own word is too short or too common to be heard well."""


def sentence(words: str) -> str:
    """Give ``words`` with a capital, without changing the rest."""
    return words[:1].upper() + words[1:]


def repair_name(repair: Repair) -> str:
    """Give the short name of a repair: what is read out in a list, and may be said back."""
    return plain_words(repair.id.replace(".", " "))


def place_name(group: str) -> str:
    """Give what is said for a place of the list of checks, so that it can be said back."""
    return _PLACES.get(group, group)


def page_words(names: Sequence[str], page: int) -> str:
    """Read out one page of a list, each name with its number, counted from 1 on every page."""
    shown = names[page * PAGE : (page + 1) * PAGE]
    parts = [f"Number {digit_words()[at]}: {name}." for at, name in enumerate(shown, start=1)]
    left = len(names) - (page + 1) * PAGE
    return " ".join([*parts, f"{left} more: go on." if left > 0 else "Which number?"])


def sorts_words(entries: Sequence[Entry]) -> str:
    """Count what a list that is too long to be read out holds, and ask for a part of it."""
    sides = Counter(e.check.position for e in entries if e.check.position)
    if len(sides) > 1:
        names = [plain_words(side) for side in sides]
        what = f"Say a speaker: {', '.join(names)}"
    else:
        sorts = Counter(sort_of_check(entry.check) for entry in entries)
        names = [f"{sort} {sorts[sort]}" for sort in SORTS if sorts[sort]]
        what = f"Say one of {', '.join(names)}"
    return f"{len(entries)} checks. {what}; or go on to hear all."


def spoken_action(action: Action, lesson: Lesson) -> str:  # noqa: PLR0911 - one arm an action
    """Give what is said of an action; lists are read out page by page (``page_words``)."""
    match action:
        case Cautioned(entry=entry, cautions=cautions):
            return " ".join([_how(entry.check.spoken), *(caution.text for caution in cautions)])
        case Answered(turn=turn, danger=danger):
            said = "" if turn.reading is None else f"{read_back(turn.reading)}."
            return said if danger is None else f"{said} The circuit was still on. {danger.text}"
        case SwitchedOff():
            return "Everything is off."
        case Hinted(step=step):
            if isinstance(step, NextCheck):
                return f"I would check: {step.check.name}."
            return f"I would repair now. {lesson.repairs[step.repair].words}"
        case RepairDone():
            return _came_of(action)
        case GivenUp(faults=faults):
            words = (lesson.faults[name].words for name in faults if name in lesson.faults)
            return f"It was this: {' and '.join(words)}."
        case Noted(turns=turns, total=total):
            return _notes(turns, total)
        case Listed() | RepairsListed():
            return ""


def _how(spoken: str) -> str:
    """Give how a check is done without the question at its end: here the car answers."""
    return _QUESTION.sub("", spoken)


def _came_of(done: RepairDone) -> str:
    if done.ended:
        return "The trouble is gone."
    return "Something was put right, but not all." if done.turn.mended else "That did not help."


def _notes(turns: Sequence[Turn], total: float) -> str:
    if not turns:
        return "Nothing was measured yet."
    parts = [f"{total:.0f} minutes."]
    if len(turns) > _LAST_NOTES:
        parts.append(f"The last {digit_words()[_LAST_NOTES]}.")
    for turn in turns[-_LAST_NOTES:]:
        told = f": {read_back(turn.reading)}" if turn.reading is not None else ""
        parts.append(f"{sentence(turn.name).rstrip('.')}{told}.")
    return " ".join(parts)
