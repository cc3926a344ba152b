"""Which licence a file of a Debian package is under, and who made it.

Debian's machine-readable copyright format 1.0: paragraphs with the fields "Files", "Copyright"
and "License". A path belongs to the last paragraph that has a pattern for it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

__all__ = ["FilesParagraph", "allowed", "fits", "paragraph_of", "read_paragraphs"]


@dataclass(frozen=True, slots=True)
class FilesParagraph:
    """Patterns of paths, the short name of their licence and who holds the copyright."""

    patterns: tuple[str, ...]
    licence: str
    holders: str


def read_paragraphs(text: str) -> tuple[FilesParagraph, ...]:
    """Read the paragraphs about files, in their order.

    The short name of a licence is the first line with anything in it: the standard has it beside
    "License:", some packages below. One without a licence is left out.
    """
    found = []
    for block in re.split(r"\n[ \t]*\n", text):
        fields = _fields(block)
        licence = next((line.strip() for line in fields.get("license", ()) if line.strip()), "")
        if "files" in fields and licence:
            patterns = " ".join(fields["files"]).split()
            holders = " ".join(" ".join(fields.get("copyright", ())).split())
            found.append(FilesParagraph(tuple(map(_from_root, patterns)), licence, holders))
    return tuple(found)


def paragraph_of(path: str, paragraphs: Sequence[FilesParagraph]) -> FilesParagraph | None:
    """Give the last paragraph that fits a path from the root of the source."""
    for paragraph in reversed(paragraphs):
        if fits(_from_root(path), paragraph.patterns):
            return paragraph
    return None


def fits(path: str, patterns: Collection[str]) -> bool:
    """Say whether one of the patterns fits the whole path.

    ``*`` stands for any characters and ``?`` for one, slashes among them; a backslash takes the
    meaning from the next character. Brackets mean themselves.
    """
    return any(_pattern(pattern).fullmatch(path) for pattern in patterns)


def allowed(licence: str, simple: Collection[str]) -> bool:
    """Say whether a licence, with its "and" and "or", can be met by the ``simple`` ones alone.

    "and" binds closer than "or", except after a comma.
    """
    return all(
        any(all(part in simple for part in way.split(" and ")) for way in needed.split(" or "))
        for needed in licence.split(", and ")
    )


def _fields(block: str) -> dict[str, list[str]]:
    fields: dict[str, list[str]] = {}
    lines: list[str] = []
    for line in block.splitlines():
        begun = re.match(r"([!-9;-~]+):(.*)", line)
        if begun:
            lines = fields.setdefault(begun[1].lower(), [])
            lines.append(begun[2])
        elif line[:1] in {" ", "\t"}:
            lines.append(line)
    return fields


def _from_root(path: str) -> str:
    """Take away the "./" that some packages write before paths; the standard has none."""
    return path.removeprefix("./")


@cache
def _pattern(pattern: str) -> re.Pattern[str]:
    parts = re.findall(r"\\.|[*?]|[^*?\\]+|\\", pattern, re.DOTALL)
    wild = {"*": ".*", "?": "."}
    told = [wild.get(part) or re.escape(part.removeprefix("\\") or part) for part in parts]
    return re.compile("".join(told), re.DOTALL)
