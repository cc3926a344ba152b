"""Message bodies of GSM 7-bit characters: what fits, what a message costs, where to cut.

The alphabet is the default alphabet of 3GPP TS 23.038 with its extension table, whose characters
take an escape and so two septets. One message holds 140 octets: 160 septets, or 70 UTF-16 units
when a character is outside the alphabet. Each part of a longer one loses a header of 6 octets
(3GPP TS 23.040) and holds 153 septets, or 67 units.
"""

from __future__ import annotations

import re
import unicodedata
from typing import Final

__all__ = ["BASIC", "EXTENDED", "bodies", "is_gsm", "plain", "segments", "septets"]

BASIC: Final = (
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
"""The default alphabet in order of its codes, without the escape."""

EXTENDED: Final = "\f^{}\\[~]|€"
"""The extension table: each takes two septets."""

_SEPTETS: Final = {**dict.fromkeys(BASIC, 1), **dict.fromkeys(EXTENDED, 2)}
_SINGLE, _PART = 160, 153
_SINGLE_UCS2, _PART_UCS2 = 70, 67
_INSTEAD: Final = {
    "\u2018": "'", "\u2019": "'", "\u201a": "'", "\u201b": "'", "\u2032": "'", "\u00b4": "'",
    "\u0060": "'", "\u201c": '"', "\u201d": '"', "\u201e": '"', "\u201f": '"', "\u2033": '"',
    "\u00ab": '"', "\u00bb": '"', "\u2010": "-", "\u2011": "-", "\u2012": "-", "\u2013": "-",
    "\u2014": "-", "\u2015": "-", "\u2212": "-", "\u2022": "-", "\u00b7": "-", "\u2026": "...",
    "\u00b0": " deg ", "\u00b5": "u", "\u03bc": "u", "\u2126": "Ω", "\u00b1": "+/-",
    "\u00d7": "x", "\u00f7": "/", "\u2215": "/", "\u2044": "/", "\u00bd": "1/2", "\u00bc": "1/4",
    "\u00be": "3/4", "\u2264": "<=", "\u2265": ">=", "\u2260": "not =", "\u2248": "about ",
    "\u2192": "->", "\u2190": "<-", "\u221e": "open line", "\t": " ", "\u00a0": " ",
    "\u2028": "\n", "\u2029": "\n", "\u0085": "\n", "\r": "\n", "\v": "\n", "\f": "\n",
}  # fmt: skip
_EDGE: Final = re.compile(r"(?<=[.!?]) +")
_SPACE: Final = re.compile(r" +")


def is_gsm(text: str) -> bool:
    """Tell whether every character is in the default alphabet or its extension table."""
    return all(char in _SEPTETS for char in text)


def septets(text: str) -> int:
    """Count the septets of ``text``; raise ``ValueError`` when it is not GSM 7-bit."""
    try:
        return sum(_SEPTETS[char] for char in text)
    except KeyError as error:
        raise ValueError(f"{error.args[0]!r} is not in the GSM 7-bit alphabet") from None


def segments(text: str) -> int:
    """Count the segments that a carrier sends ``text`` in; an empty text is one.

    Neither an escape and its character nor the two units of a surrogate pair are parted.
    """
    if is_gsm(text):
        sizes, single, part = [_SEPTETS[char] for char in text], _SINGLE, _PART
    else:
        sizes = [2 if ord(char) > 0xFFFF else 1 for char in text]
        single, part = _SINGLE_UCS2, _PART_UCS2
    if sum(sizes) <= single:
        return 1
    count, used = 1, 0
    for size in sizes:
        if used + size > part:
            count, used = count + 1, 0
        used += size
    return count


def _plain_char(char: str) -> str:
    kind = unicodedata.category(char)
    if (known := _INSTEAD.get(char, char if char in _SEPTETS else None)) is not None:
        return known
    if kind == "Nd":
        return str(unicodedata.decimal(char))
    folded = unicodedata.normalize("NFKD", char)
    kept = "".join(_INSTEAD.get(c, c) for c in folded if not unicodedata.combining(c))
    if kind == "Zs" or (kept and all(c in _SEPTETS and c.isprintable() for c in kept)):
        return " " if kind == "Zs" else kept
    return "?" if kind[0] in "LN" else ""


def plain(text: str) -> str:
    """Give ``text`` in GSM 7-bit characters, one space between words, no control characters.

    Typographic marks become plain ones, the ohm sign U+2126 the letter U+03A9, accents that the
    alphabet lacks are left off; letters of other scripts become "?", pictures nothing. What is
    plain already stays as it is.
    """
    folded = "".join(map(_plain_char, text.replace("\r\n", "\n")))
    lines = (_SPACE.sub(" ", line).strip() for line in folded.split("\n"))
    return "\n".join(line for line in lines if line)


def _fits(text: str, most: int) -> bool:
    return segments(text) <= most


def _cut(piece: str, most: int) -> list[str]:
    """Cut one sentence that is too long between words, and a word that is too long anywhere."""
    parts: list[str] = []
    rest = piece
    while not _fits(rest, most):
        end = len(rest)
        while not _fits(rest[:end], most):
            # every septet too many is at least half a character too many
            over = septets(rest[:end]) - _PART * most
            end -= max(1, over // 2)
        space = rest.rfind(" ", 1, end + 1)
        at = space if space > 0 else end
        parts.append(rest[:at].rstrip())
        rest = rest[at:].lstrip()
    return [*parts, rest] if rest else parts


def bodies(text: str, most: int = 2) -> tuple[str, ...]:
    """Cut ``text`` into message bodies of at most ``most`` segments each, at sentence edges.

    The text is made plain first. A text that fits into one body stays whole, and so does a line
    where it can; an empty text gives none.
    """
    whole = plain(text)
    if not whole:
        return ()
    if _fits(whole, most):
        return (whole,)
    made: list[str] = []
    for paragraph in whole.split("\n"):
        if made and _fits(joined := f"{made[-1]}\n{paragraph}", most):
            made[-1] = joined
        else:
            made.extend(_sentences(paragraph, most))
    return tuple(made)


def _sentences(paragraph: str, most: int) -> list[str]:
    """Cut a paragraph that is too long for one body behind sentences."""
    made: list[str] = []
    for sentence in _EDGE.split(paragraph):
        if made and _fits(joined := f"{made[-1]} {sentence}", most):
            made[-1] = joined
        else:
            made.extend(_cut(sentence, most))
    return made
