"""Phrases spelled in Kokoro's sounds, with the package hibari, American and British.

Spelled lines travel as one small file; who says them needs no dictionary.
"""

from __future__ import annotations

import gzip
import json
from dataclasses import dataclass
from importlib import import_module, resources
from typing import TYPE_CHECKING, Final

import numpy as np

from assistant.speech.acoustic.foreign import accented
from assistant.speech.acoustic.voices import said_as

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from pathlib import Path

__all__ = ["Line", "read_lines", "spell", "write_lines"]

_LONGEST: Final = 90
"""Sounds that a phrase may have."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A phrase: its set, the ways its phones may run, its sounds in American and British."""

    words: str
    set: str
    ways: tuple[tuple[int, ...], ...]
    american: tuple[int, ...]
    british: tuple[int, ...]


def spell(
    phrases: Iterable[tuple[str, str]],
    ways_of: Callable[[str], tuple[tuple[int, ...], ...]],
    *,
    foreign: float = 0.0,
    seed: int = 0,
) -> list[Line]:
    """Spell (words, set) pairs; phrases that a dictionary or Kokoro cannot say are left out.

    The share ``foreign`` of them is spelled with an accent (``foreign.accented``).
    """
    rng = np.random.default_rng(seed)
    maker = import_module("hibari.g2p").G2P
    accents = (maker(), maker(british=True))
    listed = json.loads((resources.files("hibari") / "assets" / "vocab.json").read_text("utf-8"))
    numbers: dict[str, int] = listed.get("vocab", listed)
    lines = []
    for words, name in phrases:
        ways = ways_of(words)
        spelled = [accent(said_as(words)) for accent in accents]
        if foreign and rng.random() < foreign:
            spelled = [accented(one, rng)[1] for one in spelled]
        known = all(one and all(sound in numbers for sound in one) for one in spelled)
        if ways and known and max(len(one) for one in spelled) < _LONGEST:
            american, british = (tuple(numbers[sound] for sound in one) for one in spelled)
            lines.append(Line(words=words, set=name, ways=ways, american=american, british=british))
    return lines


def write_lines(lines: Iterable[Line], path: Path) -> None:
    """Write lines as gzipped JSON, one a line."""
    rows = ([one.words, one.set, one.ways, one.american, one.british] for one in lines)
    text = "\n".join(json.dumps(row, separators=(",", ":")) for row in rows)
    path.write_bytes(gzip.compress(text.encode()))


def read_lines(path: Path) -> list[Line]:
    """Read what ``write_lines`` wrote."""
    lines = []
    for text in gzip.decompress(path.read_bytes()).decode().splitlines():
        words, name, ways, american, british = json.loads(text)
        lines.append(
            Line(
                words=words,
                set=name,
                ways=tuple(tuple(way) for way in ways),
                american=tuple(american),
                british=tuple(british),
            )
        )
    return lines
