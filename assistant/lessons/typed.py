"""Typed words to what a trainee does: commands, numbers of the list, or the name of a check."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from assistant.errors import GivenError
from assistant.lessons.checks import GROUPS
from assistant.lessons.events import (
    AskHint,
    AskList,
    AskNotes,
    AskRepairs,
    GiveUp,
    Go,
    Pick,
    RepairNamed,
    SwitchOff,
    Undo,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assistant.lessons.events import Event
    from assistant.lessons.lesson import Lesson

__all__ = ["COMMANDS", "LONGEST_WORDS", "event_of_words"]

LONGEST_WORDS: Final = 200
"""Characters; a longer line is refused."""
COMMANDS: Final[tuple[tuple[str, str], ...]] = (
    ("NUMBER or words", "do a check: 17, or: amp supply running"),
    ("go", "the cautions are read: do the check that was chosen"),
    ("off", "switch everything off, as before ohms and before unplugging"),
    ("list [PLACE]", f"the checks of a place: {', '.join(GROUPS)}"),
    ("find WORDS", "the checks that the words may mean"),
    ("hint", "the program's own next check and why"),
    ("notes", "what you measured so far"),
    ("repairs [WORDS]", "the repairs there are"),
    ("repair NUMBER or words", "do a repair; in vain it costs its time"),
    ("give up", "be told the fault"),
    ("help", "these words"),
    ("quit", "leave; the same seed brings the same car back"),
)
"""What can be typed, each with what it does."""
_PLAIN: Final[Mapping[str, Event]] = {
    **dict.fromkeys(("go", "ready", "yes", "y", "ok", "go on"), Go()),
    **dict.fromkeys(
        ("off", "all off", "switch off", "everything off", "switch all off"), SwitchOff()
    ),
    **dict.fromkeys(("hint", "why", "next"), AskHint()),
    **dict.fromkeys(("notes", "note", "status"), AskNotes()),
    **dict.fromkeys(("undo", "back", "take back"), Undo()),
    **dict.fromkeys(("list", "checks"), AskList()),
    **dict.fromkeys(("repairs", "repair"), AskRepairs()),
    **dict.fromkeys(("give up", "giveup", "i give up"), GiveUp()),
    **{group: AskList(group=group) for group in GROUPS},
}
_NUMBER: Final = re.compile(r"[\d\s.,+-]*\d[\d\s.,+-]*")
_WHOLE: Final = re.compile(r"[0-9]{1,4}")


def event_of_words(text: str, lesson: Lesson) -> Event:
    """Read what was typed; raise ``GivenError`` when it means nothing.

    Words that may mean several checks or repairs become a list of them to choose from.
    """
    words = " ".join(text.split())
    if not words:
        raise GivenError("There were no words.", next_step="Type help for what there is.")
    if len(words) > LONGEST_WORDS:
        raise GivenError(
            f"More than {LONGEST_WORDS} characters.", next_step="Type a number or a few words."
        )
    plain = words.lower().rstrip(".!?") or words
    if plain in _PLAIN:
        return _PLAIN[plain]
    head, _, rest = plain.partition(" ")
    match head:
        case "list" | "checks" | "find":
            grouped = head != "find" and rest in GROUPS
            return AskList(group=rest) if grouped else AskList(find=rest)
        case "repairs":
            return AskRepairs(find=rest)
        case "repair":
            return _repair(rest, lesson)
        case _:
            return _check(plain, lesson)


def _check(words: str, lesson: Lesson) -> Event:
    if _NUMBER.fullmatch(words):
        return Pick(check=_numbered_check(words, lesson))
    if lesson.checks.by_id(words) is not None:
        return Pick(check=words)
    meant = lesson.checks.meant(words)
    return AskList(find=words) if meant is None else Pick(check=meant.check.id)


def _numbered_check(words: str, lesson: Lesson) -> str:
    entry = lesson.checks.by_number(int(words)) if _WHOLE.fullmatch(words) else None
    if entry is None:
        raise GivenError(
            f"{words[:40]} is no number of the list.",
            next_step=f"Take a whole number from 1 to {len(lesson.checks.entries)}.",
        )
    return entry.check.id


def _repair(words: str, lesson: Lesson) -> Event:
    if words in lesson.repairs:
        return RepairNamed(repair=words)
    numbered = dict(lesson.numbered_repairs())
    if _NUMBER.fullmatch(words):
        if not _WHOLE.fullmatch(words) or int(words) not in numbered:
            raise GivenError(
                f"{words[:40]} is no number of a repair.",
                next_step=f"Take a whole number from 1 to {len(numbered)}.",
            )
        return RepairNamed(repair=numbered[int(words)].id)
    found = lesson.find_repairs(words)
    return RepairNamed(repair=found[0][1].id) if len(found) == 1 else AskRepairs(find=words)
