"""Readings for another check than the open one: late answers, several places in one text."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from assistant.conversation.events import Told
from assistant.messaging.facts import named_places, without_places
from assistant.messaging.terms import named_in, without_names
from assistant.readings.interpret import interpret_typed

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from assistant.knowledge.schema import Check
    from assistant.readings.findings import ReadingFound

__all__ = ["Elsewhere", "Named", "bare", "clauses", "elsewhere", "recent", "uncorrected"]

_CLAUSE: Final = re.compile(r"[;\n]+|,\s|(?<!\w)(?:and|but)(?!\w)|(?<=[a-z])\.\s", re.IGNORECASE)
_CORRECTING: Final = re.compile(
    r"^\W*(sorry|oops|my bad|i meant|meant|i mean|actually|correction|wait|make that|should be"
    r"|it was|no(?=\s*([,.:;!-]|\d|(wait|sorry|it|i)\b)))(?!\w)",
    re.IGNORECASE,
)
"""In front of a reading that corrects another; "no beep" and "no sound" are answers."""
_LOUD: Final = re.compile(
    r"(?<!\w)((with |when |while )?(it is |its |the |music |playing )*(loud|turned up|cranked up)"
    r"( music)?)(?!\w)",
    re.IGNORECASE,
)
_MOST: Final = 4
_VOLTS: Final = frozenset({"dc_voltage", "ac_voltage"})
_RECENT: Final = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Elsewhere:
    """What a text is for: ``sure`` when it may be taken, else one of ``told`` has to be asked."""

    told: tuple[Told, ...]
    sure: bool


def clauses(text: str) -> tuple[str, ...]:
    """Cut a text at commas, links and line ends."""
    return tuple(part.strip() for part in _CLAUSE.split(text) if part and part.strip())


class Named:
    """The parts and places that a text names, and whether it tells of loud music."""

    def __init__(self, text: str) -> None:
        self._loud = bool(_LOUD.search(text))
        self._terms = tuple(term for term in named_in(text) if term.nodes)
        self._places = named_places(text)

    def __bool__(self) -> bool:
        return bool(self._terms or self._places or self._loud)

    @property
    def somewhere(self) -> bool:
        """Whether a part or place is named."""
        return bool(self._terms or self._places)

    def fits(self, check: Check) -> bool:
        """Tell whether the text names the place of a check; with volts the red probe's."""
        do = check.do
        ends = (do.red,) if do.quantity in _VOLTS else (do.red, do.black)
        if self._loud and do.audio != "loud":
            return False
        by_term = all(any(term.at(end) for end in ends) for term in self._terms)
        return bool(self) and by_term and (not self._places or check.position in self._places)


def _same_place(check: Check, current: Check) -> bool:
    one, other = check.do, current.do
    return (one.quantity, one.red, one.black, one.vehicle, one.setup) == (
        other.quantity, other.red, other.black, other.vehicle, other.setup
    )  # fmt: skip


def bare(text: str) -> str:
    """Give ``text`` without the names of parts and places and without loud music."""
    return without_names(without_places(_LOUD.sub(" ", text)))


def elsewhere(
    text: str, current: Check | None, asked: Iterable[str], checks: Mapping[str, Check]
) -> Elsewhere | None:
    """Find the check whose place a text names, when that is not the open one.

    Sure when one of the checks that were asked before is named and no other of them, or when the
    text tells of loud music at the place that is asked for.
    """
    named = Named(text)
    if not named or (current is not None and named.fits(current)):
        return None
    fitting = [check for check in checks.values() if named.fits(check)]
    if not named.somewhere:
        # "9.6 when loud" is told of the place that is asked for
        fitting = [c for c in fitting if current is not None and _same_place(c, current)]
    if not fitting:
        return None
    rest = bare(text)
    earlier = [checks[c] for c in dict.fromkeys(reversed(tuple(asked))) if c in checks]
    known = _told(rest, [check for check in earlier if check in fitting])
    found = known or _told(rest, fitting)
    if len(known) == 1 or (len(found) == 1 and not named.somewhere):
        return Elsewhere(told=found, sure=True)
    return Elsewhere(told=found[:_MOST], sure=False) if found else None


def uncorrected(text: str) -> str:
    """Give ``text`` without the words in front that say that it corrects."""
    rest = text
    while (cut := _CORRECTING.sub("", rest).strip(" ,:-")) != rest:
        rest = cut
    return rest


def recent(
    text: str, current: Check | None, asked: Iterable[str], checks: Mapping[str, Check]
) -> tuple[Told, ...]:
    """Find the checks asked last that a text answers, which does not answer the open one."""
    rest = uncorrected(text)
    earlier = [
        checks[c]
        for c in dict.fromkeys(reversed(tuple(asked)))
        if c in checks and (current is None or c != current.id)
    ]
    return _told(rest, earlier[:_RECENT])


def _told(text: str, checks: Iterable[Check]) -> tuple[Told, ...]:
    """Read a text as the answer to each of ``checks``; those that it does not answer drop out."""
    found: list[Told] = []
    read: dict[tuple[str, str], ReadingFound | None] = {}
    for check in checks:
        key = (check.do.quantity, check.grammar)
        if key not in read:
            meant = interpret_typed(text, quantity=check.do.quantity, grammar=check.grammar)
            read[key] = (
                meant.readings[0] if len(meant.findings) == len(meant.readings) == 1 else None
            )
        reading = read[key]
        if reading is not None and reading.vehicle in {None, check.do.vehicle}:
            found.append(Told(check=check.id, reading=reading.reading))
    return tuple(found)
