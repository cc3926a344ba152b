"""Room that text takes in a drawing, guessed without a font, and text made to fit.

The reader's font is not known, so the guess leans to the wide side: it must hold for the
widest of the usual sans-serif fonts.
"""

from __future__ import annotations

from typing import Final

__all__ = ["fit", "text_width", "wrap"]

_NARROW: Final = frozenset("iljtfrI.,:;|'!()[] -")
_WIDE: Final = frozenset("mwMWQO@%—…")
_BOLD: Final = 1.08


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """Guess the width of ``text`` at font size ``size``, in the unit of ``size``."""
    total = 0.0
    for char in text:
        if char in _NARROW:
            total += 0.38
        elif char in _WIDE or ord(char) > 0x2FFF:
            total += 1.0
        elif char.isupper():
            total += 0.70
        else:
            total += 0.61
    return total * size * (_BOLD if bold else 1.0)


def fit(text: str, width: float, size: float, *, bold: bool = False) -> str:
    """Shorten ``text`` with an ellipsis until it takes at most ``width``."""
    if text_width(text, size, bold=bold) <= width:
        return text
    kept = text
    while kept and text_width(kept + "…", size, bold=bold) > width:
        kept = kept[:-1]
    return kept.rstrip() + "…"


def wrap(
    text: str, width: float, size: float, *, bold: bool = False, most: int = 4
) -> tuple[str, ...]:
    """Break ``text`` at blanks into at most ``most`` lines of ``width``; the last is shortened.

    A single word that is too long is shortened too. Blank text gives no lines.
    """
    lines: list[str] = []
    words = text.split()
    while words and len(lines) < most - 1:
        line = words.pop(0)
        while words and text_width(f"{line} {words[0]}", size, bold=bold) <= width:
            line = f"{line} {words.pop(0)}"
        lines.append(fit(line, width, size, bold=bold))
    if words:
        lines.append(fit(" ".join(words), width, size, bold=bold))
    return tuple(lines)
