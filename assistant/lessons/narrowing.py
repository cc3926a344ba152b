"""Which checks or repairs a place, a speaker or a sort of measurement leaves to choose from."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from assistant.knowledge.schema import Check, Repair
    from assistant.lessons.checks import Entry
    from assistant.lessons.vocabulary import Wish

__all__ = ["SORTS", "fitting", "fitting_repairs", "sort_of_check"]

SORTS: Final = ("voltage", "drop", "ohms", "light", "sound")
"""The sorts of measurement by which a list is narrowed; the entries of ``kind`` in the grammar."""
_QUANTITIES: Final[Mapping[str, str]] = {
    "dc_voltage": "voltage",
    "ac_voltage": "voltage",
    "resistance": "ohms",
    "continuity": "ohms",
    "light": "light",
    "sound": "sound",
}
_GROUP_WORDS: Final[Mapping[str, tuple[str, ...]]] = {
    "battery": ("battery", "charging", "regulator", "rectifier"),
    "fuse": ("fuse",),
    "amplifier": ("amp", "amplifier", "ground", "power", "gain", "load"),
    "remote": ("remote",),
    "speakers": ("speaker",),
    "signal": ("signal", "shielded", "source"),
}
"""By place the words of repair ids that belong there: a repair has no place of its own."""


def sort_of_check(check: Check) -> str:
    """Name the sort of measurement of ``check``, one of ``SORTS``, "" where it is none of them."""
    if "_drop" in check.id:
        return "drop"
    return _QUANTITIES.get(check.do.quantity, "")


def fitting(entries: Iterable[Entry], wish: Wish) -> tuple[Entry, ...]:
    """Give the entries that ``wish`` leaves, in their order."""
    return tuple(
        entry
        for entry in entries
        if wish.sort in {"", sort_of_check(entry.check)}
        and wish.place in {"", entry.group}
        and wish.position in {"", entry.check.position}
        and wish.pair in {"", entry.check.pair}
    )


def fitting_repairs(repairs: Iterable[Repair], wish: Wish) -> tuple[Repair, ...]:
    """Give the repairs at the place or the speaker that ``wish`` names, all where it names none."""
    words = set(_GROUP_WORDS.get(wish.place, ()))
    return tuple(
        repair
        for repair in repairs
        if (not words or words & set(repair.id.partition(".")[0].split("_")))
        and wish.position in {"", repair.id.partition(".")[2]}
    )
