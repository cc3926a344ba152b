"""Phrases for a benchmark set: what a meter can show, said as people say it, drawn by a seed.

The words are made here and not by the program's own parser, so that the set can judge it.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, TypeAlias

import numpy as np

from audio_fixtures.room import NOISES, ROOMS
from audio_fixtures.voices import HELD_OUT

if TYPE_CHECKING:
    from collections.abc import Collection

__all__ = ["MANIFEST_HEAD", "TEENS_AND_TENS", "Spoken", "draw", "draw_teens", "whole_in_words"]

_SMALL: Final = (
    *("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"),
    *("eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen"),
    *("eighteen", "nineteen"),
)
_TENS: Final = ("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
TEENS_AND_TENS: Final = (*range(13, 20), *range(30, 100, 10))
"""The numbers that are told apart by their last sound alone."""
MANIFEST_HEAD: Final = "file\twords\tvoice\texpect\treading\tcommand\troom\tnoise\tnoise_db\tset"
_CONDITIONS: Final = (None, 20.0, 15.0, 10.0)
_SEEN: Final = {
    "light": ("off", "lit", "blinking"),
    "sound": ("yes", "no", "distorted"),
    "noise": ("yes", "no"),
    "warmth": ("cool", "warm", "too hot"),
}
_COMMANDS: Final = {
    "repeat": "repeat",
    "undo": "undo",
    "why": "why",
    "skip": "skip",
    "i can't": "cannot",
}

_Number: TypeAlias = tuple[str, str, dict[str, Any]]
"""Words, the quantity that was asked for, and the reading."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spoken:
    """One phrase of the set and the conditions that it is rendered in.

    ``set`` is "phrases", or "teens" for teens against tens.
    """

    words: str
    expect: str
    reading: dict[str, Any] | None
    command: str | None
    voice: str
    speed: float
    room: str
    noise: str
    noise_db: float | None
    seed: int
    set: str = "phrases"

    def row(self, file: str) -> str:
        """Give the manifest's line for ``file``, in the order of ``MANIFEST_HEAD``."""
        reading = "" if self.reading is None else json.dumps(self.reading)
        level = "clean" if self.noise_db is None else f"{self.noise_db:g}"
        fields = [file, self.words, self.voice, self.expect, reading, self.command or ""]
        return "\t".join([*fields, self.room, self.noise, level, self.set])


def whole_in_words(number: int, *, joined: str = "and") -> str:
    """Say a whole number of 0 to 999, as in "a hundred and twenty"."""
    if number < 20:
        return _SMALL[number]
    if number < 100:
        tens, ones = divmod(number, 10)
        return _TENS[tens - 2] + (f" {_SMALL[ones]}" if ones else "")
    hundreds, rest = divmod(number, 100)
    head = "a hundred" if hundreds == 1 else f"{_SMALL[hundreds]} hundred"
    return head + (f" {joined} {whole_in_words(rest)}" if rest else "")


def _decimal_in_words(tenths: int, rng: np.random.Generator) -> str:
    """Say a number given in tenths (126 is 12.6), below one in three ways."""
    whole, tenth = divmod(tenths, 10)
    if tenth == 0:
        return whole_in_words(whole)
    if whole == 0:
        return str(rng.choice(["oh point ", "point ", "zero point "])) + _SMALL[tenth]
    if tenth == 5 and whole <= 20 and rng.random() < 0.35:
        return f"{whole_in_words(whole)} and a half"
    return f"{whole_in_words(whole)} point {_SMALL[tenth]}"


def _battery(rng: np.random.Generator) -> _Number:
    tenths = int(rng.integers(60, 165))
    return _decimal_in_words(tenths, rng), "dc_voltage", {"value": tenths / 10, "unit": "V"}


def _small_voltage(rng: np.random.Generator) -> _Number:
    tenths = int(rng.integers(1, 60))
    sign, before = (-1, "minus ") if rng.random() < 0.25 else (1, "")
    reading = {"value": sign * tenths / 10, "unit": "V"}
    return before + _decimal_in_words(tenths, rng), "dc_voltage", reading


def _millivolts(rng: np.random.Generator) -> _Number:
    number = int(rng.choice([rng.integers(2, 100), 10 * rng.integers(10, 100)]))
    quantity = str(rng.choice(["dc_voltage", "ac_voltage"]))
    return f"{whole_in_words(number)} millivolts", quantity, {"value": number, "unit": "mV"}


def _ohms(rng: np.random.Generator) -> _Number:
    tenths = int(rng.choice([rng.integers(1, 100), 10 * rng.integers(1, 100)]))
    return _decimal_in_words(tenths, rng), "resistance", {"value": tenths / 10, "unit": "ohm"}


def _teens_or_tens(rng: np.random.Generator) -> _Number:
    ones = int(rng.integers(3, 10))
    number = ones + 10 if rng.random() < 0.5 else ones * 10
    quantity, unit = ("dc_voltage", "V") if rng.random() < 0.5 else ("resistance", "ohm")
    return whole_in_words(number), quantity, {"value": number, "unit": unit}


def _hundredths(rng: np.random.Generator) -> _Number:
    hundredths = int(rng.integers(1, 1500))
    whole, digits = divmod(hundredths, 100)
    said = " ".join("oh" if d == "0" else _SMALL[int(d)] for d in f"{digits:02d}")
    reading = {"value": hundredths / 100, "unit": "V"}
    return f"{whole_in_words(whole)} point {said}", "dc_voltage", reading


def _amps(rng: np.random.Generator) -> _Number:
    tenths = int(rng.integers(11, 400))
    reading = {"value": tenths / 10, "unit": "A"}
    return f"{_decimal_in_words(tenths, rng)} amps", "dc_current", reading


_SORTS: Final = (
    _battery,
    _small_voltage,
    _millivolts,
    _ohms,
    _teens_or_tens,
    _hundredths,
    _amps,
)


def _with_unit(words: str, reading: dict[str, Any], rng: np.random.Generator) -> str:
    said = {"V": "volts", "ohm": "ohms"}.get(reading["unit"])
    if said is None or rng.random() < 0.5:
        return words
    if reading["value"] == 1:
        said = said[:-1]
    return f"{words} {said}"


def _phrase(rng: np.random.Generator) -> tuple[str, str, dict[str, Any] | None, str | None]:
    """Draw words, expect, reading and command; three in four are numbers."""
    turn = rng.random()
    if turn < 0.74:
        words, quantity, reading = _SORTS[int(rng.integers(len(_SORTS)))](rng)
        return _with_unit(words, reading, rng), quantity, reading, None
    if turn < 0.78:
        low, high = sorted(int(n) for n in rng.choice(np.arange(1, 20), 2, replace=False))
        words = f"jumping around between {whole_in_words(low)} and {whole_in_words(high)}"
        reading = {"unstable": True, "low": float(low), "high": float(high), "unit": "ohm"}
        return words, "resistance", reading, None
    if turn < 0.81:
        return "open line", "resistance", {"open_line": True}, None
    if turn < 0.86:
        heard = rng.random() < 0.5
        return "beep" if heard else "no beep", "continuity", {"beep": heard}, None
    if turn < 0.94:
        quantity = str(rng.choice(list(_SEEN)))
        words = str(rng.choice(_SEEN[quantity]))
        return words, quantity, {"seen": words.replace(" ", "_")}, None
    words = str(rng.choice(list(_COMMANDS)))
    return words, "command", None, _COMMANDS[words]


def draw(
    count: int, seed: int, *, voices: Collection[str] = HELD_OUT, clean: bool = False
) -> tuple[Spoken, ...]:
    """Draw ``count`` phrases over ``voices``, each voice in each condition in turn.

    A quarter is clean, a quarter each has noise 20, 15 and 10 dB under the speech; with ``clean``
    all is clean. The same arguments give the same phrases.
    """
    rng = np.random.default_rng(seed)
    speakers = sorted(voices)
    drawn = []
    for number in range(count):
        words, expect, reading, command = _phrase(rng)
        turn = (number // len(speakers)) % len(_CONDITIONS)
        noise_db = None if clean else _CONDITIONS[turn]
        drawn.append(
            Spoken(
                words=words,
                expect=expect,
                reading=reading,
                command=command,
                voice=speakers[number % len(speakers)],
                speed=round(float(rng.uniform(0.9, 1.15)), 2),
                room="none" if noise_db is None else str(rng.choice(sorted(ROOMS))),
                noise=str(rng.choice(sorted(NOISES))),
                noise_db=noise_db,
                seed=seed * 100_000 + number,
            )
        )
    return tuple(drawn)


def draw_teens(count: int, seed: int, *, voices: Collection[str] = HELD_OUT) -> tuple[Spoken, ...]:
    """Draw ``count`` of 13 to 19 and 30 to 90, bare or with a unit, clean, voice by voice.

    Each voice says its own order of all 42, so that a number comes again only when all are said.
    """
    rng = np.random.default_rng(seed)
    asked = (("", "dc_voltage", "V"), (" volts", "dc_voltage", "V"), (" ohms", "resistance", "ohm"))
    pairs = [(number, one) for number in TEENS_AND_TENS for one in asked]
    speakers = sorted(voices)
    orders = {voice: rng.permutation(len(pairs)) for voice in speakers}
    drawn = []
    for turn in range(count):
        voice = speakers[turn % len(speakers)]
        number, (said, expect, unit) = pairs[orders[voice][turn // len(speakers) % len(pairs)]]
        drawn.append(
            Spoken(
                words=whole_in_words(number) + said,
                expect=expect,
                reading={"value": number, "unit": unit},
                command=None,
                voice=voice,
                speed=round(float(rng.uniform(0.9, 1.15)), 2),
                room="none",
                noise="pink",
                noise_db=None,
                seed=seed * 100_000 + 50_000 + turn,
                set="teens",
            )
        )
    return tuple(drawn)
