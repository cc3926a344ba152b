"""Which car a text is about: a number's cars are counted from 1, and each has its latest case."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from assistant.messaging.texts import means, say, spoken_words

if TYPE_CHECKING:
    from assistant.messaging.memory import Memory

__all__ = ["cars_text", "label_text", "named_car", "other_car", "which_car"]

_VEHICLE: Final = r"(?:car|truck|van|vehicle|suv|jeep|ride|one)"
_LEAD: Final = r"(?:ok |hi |hey |hello |now |so )?(?:its |it is |this is )?(?:about |for |on )?"
_OTHER: Final = re.compile(
    rf"\W*{_LEAD}(?:a |an |my |the )?(?P<kind>new|other|another|second|different) {_VEHICLE}(?!\w)"
    r"(?! (?:does|doesnt|is fine|works))(?P<rest>.*)",
    re.IGNORECASE | re.DOTALL,
)
_NAMED: Final = re.compile(
    rf"\W*{_LEAD}{_VEHICLE} ?#?(?P<number>[1-9])(?![\w.,]\d)(?!\w)(?P<rest>.*)",
    re.IGNORECASE | re.DOTALL,
)
_MORE: Final = re.compile(r"\A[\s:,.!-]*(?:please\s*)?")


def _rest(text: str) -> str:
    return _MORE.sub("", text).strip()


def named_car(text: str) -> tuple[int, str] | None:
    """Read "car 2" at the front of a text: the number, and what else is written."""
    hit = _NAMED.fullmatch(text)
    return (int(hit["number"]), _rest(hit["rest"])) if hit else None


def other_car(text: str) -> tuple[bool, str] | None:
    """Read "new car", "other truck": whether surely a new one, and what else is written."""
    hit = _OTHER.fullmatch(text)
    if hit is None:
        return None
    return hit["kind"].casefold() != "other", _rest(hit["rest"])


def which_car(text: str) -> bool:
    """Tell whether a text asks for the list of cars."""
    return means(text, "cars") or spoken_words(text) in {"which car is this", "which cars"}


def label_text(memory: Memory, number: int) -> str:
    """Name one car with its trouble."""
    note = memory.note(memory.cars[number])
    key = "car_entry_closed" if note.closed else "car_entry"
    return say(key, number=str(number), label=note.label or "car audio")


def cars_text(memory: Memory) -> str:
    """List the cars of a number with their troubles."""
    named = [label_text(memory, number) for number in sorted(memory.cars)]
    key = "cars_one" if len(named) == 1 else "cars_many"
    return f"{say(key, cars=', '.join(named))}." if named else ""
