"""Readings for another check than the open one: late answers, several places in one text."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from assistant.conversation.events import Told
from assistant.messaging.facts import named_places, without_places
from assistant.messaging.terms import named_in, without_names
from assistant.readings.findings import ReadingFound
from assistant.readings.interpret import interpret_typed

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from assistant.knowledge.schema import Check
    from assistant.readings.reading import Reading

__all__ = ["Elsewhere", "bare", "clauses", "elsewhere", "names", "reading_for", "recent"]

_CLAUSE: Final = re.compile(r"[;\n]+|,\s|(?<!\w)(?:and|but)(?!\w)|(?<=[a-z])\.\s", re.IGNORECASE)
_CORRECTING: Final = re.compile(
    r"^\W*(sorry|oops|my bad|i meant|meant|i mean|actually|correction|no|wait|make that)(?!\w)",
    re.IGNORECASE,
)
_MOST: Final = 4
_RECENT: Final = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Elsewhere:
    """What a text is for: ``sure`` when it may be taken, else one of ``told`` has to be asked."""

    told: tuple[Told, ...]
    sure: bool


def clauses(text: str) -> tuple[str, ...]:
    """Cut a text at commas, links and line ends."""
    return tuple(part.strip() for part in _CLAUSE.split(text) if part and part.strip())


def reading_for(text: str, check: Check) -> ReadingFound | None:
    """Read a text as the answer to one check; None unless it is exactly one reading."""
    found = interpret_typed(text, quantity=check.do.quantity, grammar=check.grammar).findings
    if len(found) != 1 or not isinstance(found[0], ReadingFound):
        return None
    vehicle = found[0].vehicle
    return found[0] if vehicle in {None, check.do.vehicle} else None


def bare(text: str) -> str:
    """Give ``text`` without the names of parts and places."""
    return without_names(without_places(text))


def names(check: Check, text: str) -> bool | None:
    """Tell whether a text names the place of a check, None when it names no place."""
    terms = [term for term in named_in(text) if term.nodes]
    places = named_places(text)
    if not terms and not places:
        return None
    ends = (check.do.red, check.do.black) if check.do.quantity != "dc_voltage" else (check.do.red,)
    by_term = all(any(term.at(end) for end in ends) for term in terms)
    return by_term and (not places or check.position in places)


def elsewhere(
    text: str, current: Check | None, asked: Iterable[str], checks: Mapping[str, Check]
) -> Elsewhere | None:
    """Find the check whose place a text names, when that is not the open one.

    Sure when one of the checks that were asked before is named and no other of them.
    """
    if current is not None and names(current, text) is not False:
        return None
    if current is None and not any(names(check, text) for check in checks.values()):
        return None
    rest = bare(text)
    earlier = [c for c in dict.fromkeys(reversed(tuple(asked))) if c in checks]
    known = _told(rest, [checks[c] for c in earlier if names(checks[c], text)])
    if len(known) == 1:
        return Elsewhere(told=known, sure=True)
    found = known or _told(rest, [c for c in checks.values() if names(c, text)])
    return Elsewhere(told=found[:_MOST], sure=False) if found else None


def recent(
    text: str, current: Check | None, asked: Iterable[str], checks: Mapping[str, Check]
) -> tuple[Told, ...]:
    """Find the checks asked last that a text answers, which does not answer the open one."""
    rest = text
    while (cut := _CORRECTING.sub("", rest).strip(" ,.:-")) != rest:
        rest = cut
    earlier = [
        checks[c]
        for c in dict.fromkeys(reversed(tuple(asked)))
        if c in checks and (current is None or c != current.id)
    ]
    return _told(rest, earlier[:_RECENT])


def _told(text: str, checks: Iterable[Check]) -> tuple[Told, ...]:
    found: list[Told] = []
    for check in checks:
        reading: Reading | None = getattr(reading_for(text, check), "reading", None)
        if reading is not None:
            found.append(Told(check=check.id, reading=reading))
    return tuple(found)
