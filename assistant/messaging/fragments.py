"""Texts that come in pieces: numbered parts, and readings that break off in the middle."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["Part", "broken_off", "glued", "part_of", "whole_of", "without_end"]

_MARK: Final = r"\(\s*(?P<part>[1-9])\s*/\s*(?P<whole>[2-9])\s*\)"
_FRONT: Final = re.compile(rf"\s*{_MARK}\s*(?P<text>.*)", re.DOTALL)
_BACK: Final = re.compile(rf"(?P<text>.*?)\s*{_MARK}\s*", re.DOTALL)
_POINT: Final = re.compile(r"(?<![\d.,])\d+[.,]\s*\Z")
_LINK: Final = re.compile(r"(?:,|&|\+|(?<!\w)(?:and|but|with the|with|on the|key|is|was|at))\s*\Z")
_NUMBERED: Final = re.compile(r"\s*\d+[.,]\d")
WHOLE: Final = 0
"""The key under which the number of parts is kept beside the parts."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One numbered part: its place from 1, how many there are, and its text."""

    part: int
    whole: int
    text: str


def part_of(text: str) -> Part | None:
    """Read the mark of a part, "(1/2)", at the front or the back of a text."""
    hit = _FRONT.fullmatch(text) or _BACK.fullmatch(text)
    if hit is None or int(hit["part"]) > int(hit["whole"]):
        return None
    return Part(part=int(hit["part"]), whole=int(hit["whole"]), text=hit["text"].strip())


def whole_of(parts: Mapping[int, str]) -> str | None:
    """Put the parts together; None while one is missing."""
    count = int(parts.get(WHOLE, "0"))
    if not count or any(n not in parts for n in range(1, count + 1)):
        return None
    text = parts[1]
    for number in range(2, count + 1):
        text = glued(text, parts[number])
    return text


def broken_off(text: str, *, reading: bool) -> bool:
    """Tell whether a text breaks off: a number with a bare point, or a word that leads on.

    ``reading`` tells that a reading is awaited; other texts may well end in "4.".
    """
    return reading and bool(_POINT.search(text) or _LINK.search(text.casefold()))


def glued(first: str, rest: str) -> str:
    """Put two pieces together: "12." and "4 key on" are one number, words get a space.

    A second piece that is a whole number with its own point stands alone after "12.".
    """
    if _POINT.search(first) and rest[:1].isdigit():
        head = first[: _POINT.search(first).start()].strip()  # type: ignore[union-attr]
        return f"{head} {rest}".strip() if _NUMBERED.match(rest) else first.strip() + rest
    return f"{first.strip()} {rest.strip()}".strip()


def without_end(text: str) -> str:
    """Give a text that was all, without the point or link it ends in."""
    return _LINK.sub("", text.rstrip().rstrip(".,")).strip()
