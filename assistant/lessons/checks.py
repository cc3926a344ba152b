"""The list of checks that a trainee chooses from: grouped by place, numbered, searchable by words.

Words are matched fuzzily, numbers and the words that name a side or a place never are: "sub 2"
is not "sub", and "rear left" is not "front left".
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from rapidfuzz import fuzz

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from assistant.knowledge.schema import Check

__all__ = ["GROUPS", "CheckList", "Entry", "group_of", "likeness"]

GROUPS: Final = ("battery", "fuse", "amplifier", "remote", "speakers", "signal")
_WORD: Final = re.compile(r"[a-z]+|\d+(?:[.,]\d+)*")
_LEFT_OUT: Final = frozenset(
    {"the", "a", "an", "at", "of", "to", "from", "with", "on", "is", "s", "and", "all", "its"}
)
_SAME: Final[Mapping[str, str]] = {
    "amplifier": "amp",
    "amplifiers": "amp",
    "subwoofer": "sub",
    "volts": "voltage",
    "volt": "voltage",
    "ohm": "ohms",
    "resistance": "ohms",
    "chassis": "body",
    "protection": "protect",
    "speakers": "speaker",
}
_EXACT: Final = frozenset({"front", "rear", "left", "right", "center", "sub", "plus", "minus"})
_ALIKE: Final = 80.0
_WORD_ALIKE: Final = 72.0
_FOUND: Final = 85.0
_NEAREST: Final = 55.0
_MOST_FAR: Final = 8
_PER_WORD_MORE: Final = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One line of the list; ``number`` counts from 1 through all groups."""

    number: int
    group: str
    check: Check


def group_of(check: Check) -> str:
    """Name the place of ``check`` in the list: one of ``GROUPS``."""
    do = check.do
    ends = (do.red, do.black or "")
    steps = " ".join(do.setup)
    speakers_off, signal_off = "disconnect:speaker" in steps, "disconnect:signal" in steps
    at_second = any(end.startswith(("second_", "charge_relay.")) for end in ends)
    if check.place in {"battery", "engine_bay"} or at_second:
        at_fuse = check.id.startswith(("fuse", "second_fuse")) or any(
            end.startswith("main_fuse") for end in ends
        )
        return "fuse" if at_fuse else "battery"
    if "remote" in check.id or any(end.endswith(".remote") for end in ends):
        return "remote"
    if speakers_off and signal_off:
        return "amplifier"
    leads = signal_off or "swap:" in steps or "substitute:" in steps
    if leads or do.quantity == "noise" or any(end.startswith("signal.") for end in ends):
        return "signal"
    return "speakers" if speakers_off or check.position is not None else "amplifier"


def likeness(asked: str, forms: Iterable[str]) -> tuple[float, bool]:
    """Compare words with the names of one thing: likeness in [0, 100], and whether all is said.

    The second item is True when every word of one of ``forms`` was said.
    """
    wanted = _tokens(asked)
    best, whole = 0.0, False
    for form in forms:
        have = _tokens(form)
        score, extra = _compare(wanted, have)
        if score - _PER_WORD_MORE * extra > best:
            best, whole = score - _PER_WORD_MORE * extra, extra == 0
    return best, whole


def _tokens(text: str) -> list[str]:
    words = _WORD.findall(text.lower().replace("_", " "))
    return [_SAME.get(word, word) for word in words if word not in _LEFT_OUT]


def _is_exact(word: str) -> bool:
    return word[0].isdigit() or word in _EXACT


def _compare(wanted: list[str], have: list[str]) -> tuple[float, int]:
    """Give the mean likeness of the words, and how many words of the name were not said."""
    if not wanted or not have:
        return 0.0, 0
    said = set(wanted)
    if any(_is_exact(word) and word not in have for word in said):
        return 0.0, 0
    digits = {word for word in have if word[0].isdigit()}
    if digits != {word for word in said if word[0].isdigit()}:
        return 0.0, 0
    fuzzy = [word for word in wanted if not _is_exact(word)]
    scores = [100.0] * (len(wanted) - len(fuzzy))
    scores += [
        max(fuzz.ratio(word, other, score_cutoff=_WORD_ALIKE) for other in have) for word in fuzzy
    ]
    extra = sum(
        not (word in said if _is_exact(word) else any(fuzz.ratio(word, w) >= _ALIKE for w in said))
        for word in set(have)
    )
    return sum(scores) / len(scores), extra


class CheckList:
    """Every check of an installation in the order of ``GROUPS``."""

    def __init__(self, checks: Mapping[str, Check]) -> None:
        ordered = sorted(checks.values(), key=lambda check: GROUPS.index(group_of(check)))
        self.entries: tuple[Entry, ...] = tuple(
            Entry(number=number, group=group_of(check), check=check)
            for number, check in enumerate(ordered, start=1)
        )
        self._by_id = {entry.check.id: entry for entry in self.entries}

    def by_id(self, name: str) -> Entry | None:
        """Give the entry of a check id, None where there is none."""
        return self._by_id.get(name)

    def by_number(self, number: int) -> Entry | None:
        """Give the entry with a number, None where there is none."""
        return self.entries[number - 1] if 1 <= number <= len(self.entries) else None

    def of_group(self, group: str) -> tuple[Entry, ...]:
        """Give the entries of one place."""
        return tuple(entry for entry in self.entries if entry.group == group)

    def find(self, words: str) -> tuple[Entry, ...]:
        """Give the entries that ``words`` may mean, the likest first.

        Where none is like enough to be meant, the nearest ones.
        """
        return self._search(words)[0]

    def meant(self, words: str) -> Entry | None:
        """Give the one entry that ``words`` clearly mean, None where none is."""
        found, sure = self._search(words)
        return found[0] if sure and len(found) == 1 else None

    def _search(self, words: str) -> tuple[tuple[Entry, ...], bool]:
        scored = [
            (*likeness(words, (entry.check.name, entry.check.id)), entry) for entry in self.entries
        ]
        near = [item for item in scored if item[0] >= _FOUND]
        near.sort(key=lambda item: (-item[0], item[2].number))
        if near and near[0][1] and (len(near) == 1 or near[1][0] < near[0][0]):
            return (near[0][2],), True
        if near:
            return tuple(entry for _, _, entry in near), True
        far = sorted(
            (item for item in scored if item[0] >= _NEAREST),
            key=lambda item: (-item[0], item[2].number),
        )
        return tuple(entry for _, _, entry in far[:_MOST_FAR]), False
