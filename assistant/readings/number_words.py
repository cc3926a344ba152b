"""Number words: words for a number, and the numbers that words may mean. Exact in Decimal.

The tables of words are in ``grammars/numbers.yaml``. Zeros that were said behind the point are
kept: "twelve point six zero" is ``Decimal("12.60")``.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from typing import TYPE_CHECKING, Final

from assistant.errors import MisuseError
from assistant.readings.grammarfile import load_file
from assistant.readings.template import parse_template, words_in

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["digit_words", "number_candidates", "number_words", "spelled_digits"]

_DIGITS: Final = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
_TEENS: Final = (
    "ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen",
    "eighteen", "nineteen",
)  # fmt: skip
_TENS: Final = (
    "", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety",
)  # fmt: skip
_GROUPS: Final = ((1_000_000, "million"), (1_000, "thousand"))
_SIGNS: Final = frozenset({"minus", "negative"})
_PARTS: Final[dict[tuple[str, ...], str]] = {
    ("a", "half"): "5",
    ("a", "quarter"): "25",
    ("three", "quarters"): "75",
}
_LONGEST: Final = 14


def _below_thousand(number: int) -> list[str]:
    words: list[str] = []
    if number >= 100:
        words += [_DIGITS[number // 100], "hundred"]
        number %= 100
        if not number:
            return words
    if number >= 20:
        words.append(_TENS[number // 10])
        number %= 10
        if not number:
            return words
    words.append(_TEENS[number - 10] if number >= 10 else _DIGITS[number])
    return words


def number_words(number: Decimal) -> str:
    """Say a number below a milliard: 120.60 is "one hundred twenty point six zero".

    Raises ``MisuseError`` for what is not finite or too long to be said.
    """
    digits = _plain(number)
    whole, _, decimals = digits.partition(".")
    left = int(whole)
    words: list[str] = []
    for size, name in _GROUPS:
        if left >= size:
            words += [*_below_thousand(left // size), name]
            left %= size
    if left or not words:
        words += _below_thousand(left)
    if decimals:
        words += ["point", *(_DIGITS[int(digit)] for digit in decimals)]
    return " ".join(["minus", *words] if number < 0 else words)


def spelled_digits(number: Decimal) -> str:
    """Say a number digit by digit: 15 is "one five", -0.8 is "minus zero point eight"."""
    words = ["point" if mark == "." else _DIGITS[int(mark)] for mark in _plain(number)]
    return " ".join(["minus", *words] if number < 0 else words)


def digit_words() -> tuple[str, ...]:
    """Give the ten digits as they are said."""
    return _DIGITS


def _plain(number: Decimal) -> str:
    if not number.is_finite() or abs(number) >= Decimal(10**9):
        raise MisuseError(f"{number} cannot be said.", next_step="Say numbers below a milliard.")
    return format(abs(number), "f")


@dataclass(frozen=True, slots=True)
class _Tables:
    digits: dict[str, int]
    teens: dict[str, int]
    tens: dict[str, int]
    points: frozenset[str]


@cache
def _tables() -> _Tables:
    file = load_file("numbers")
    return _Tables(
        digits=file.numbers["digits"],
        teens=file.numbers["teens"],
        tens=file.numbers["tens"],
        points=words_in(parse_template(file.rules["point"])),
    )


class _Words:
    """The words of one whole number, read from the left."""

    def __init__(self, words: Sequence[str]) -> None:
        self._words = words
        self._at = 0
        self._tables = _tables()

    @property
    def done(self) -> bool:
        return self._at == len(self._words)

    def _word(self, ahead: int = 0) -> str:
        at = self._at + ahead
        return self._words[at] if at < len(self._words) else ""

    def _small(self) -> str | None:
        """Take one digit, or a number from ten to 99, as its digits."""
        word = self._word()
        if word in self._tables.digits:
            self._at += 1
            return str(self._tables.digits[word])
        if word in self._tables.teens:
            self._at += 1
            return str(self._tables.teens[word])
        if word in self._tables.tens:
            self._at += 1
            ones = self._tables.digits.get(self._word(), 0)
            self._at += 1 if ones else 0
            return str(self._tables.tens[word] + ones)
        return None

    def _rest(self, total: int) -> int | None:
        """Take what may follow hundreds or thousands: "and five", "twenty", nothing."""
        if self.done:
            return total
        if self._word() == "and":
            self._at += 1
        small = self._small()
        return None if small is None or small == "0" or not self.done else total + int(small)

    def scaled(self) -> int | None:
        """Take the whole as hundreds and thousands; None when it is not."""
        self._at = 0
        count = self._count()
        if count is None:
            return None
        if self._word() == "hundred":
            self._at += 1
            return self._rest(count * 100)
        if self._word() != "thousand":
            return None
        self._at += 1
        total = count * 1000
        mark = self._at
        hundreds = None if self._word() == "hundred" else self._count()
        if hundreds is not None and hundreds < 10 and self._word() == "hundred":
            self._at += 1
            return self._rest(total + hundreds * 100)
        self._at = mark
        return self._rest(total)

    def _count(self) -> int | None:
        if self._word() == "a":
            self._at += 1
            return 1
        if self._word() == "hundred":
            return 1
        small = self._small()
        return None if small is None or int(small) == 0 else int(small)

    def segments(self) -> tuple[str, ...] | None:
        """Take the whole as small numbers side by side; None when some word is none."""
        self._at = 0
        found: list[str] = []
        while not self.done:
            small = self._small()
            if small is None:
                return None
            found.append(small)
        return tuple(found)


def _whole(words: Sequence[str]) -> str | None:
    """Digits of a whole number whose point is said elsewhere."""
    reader = _Words(words)
    scaled = reader.scaled()
    if scaled is not None:
        return str(scaled)
    segments = reader.segments()
    if segments is None or not _can_stand_together(segments):
        return None
    return "".join(segments)


def _can_stand_together(segments: Sequence[str]) -> bool:
    return len(segments) == 1 or segments[0] != "0"


def _decimals(words: Sequence[str]) -> str | None:
    segments = _Words(words).segments()
    if not segments or (len(segments) > 1 and any(len(part) > 1 for part in segments)):
        return None
    return "".join(segments)


def number_candidates(words: Sequence[str]) -> tuple[Decimal, ...]:
    """Give the numbers that ``words`` may mean, likeliest first; none when they are no number.

    More than one means that the words leave it open: "twelve six" is 12.6 or 126, "one twenty"
    is 120 or 1.20. Never raises.
    """
    if not words or len(words) > _LONGEST:
        return ()
    negative = words[0] in _SIGNS
    body = tuple(words[1:] if negative else words)
    found = _unsigned(body)
    return tuple(dict.fromkeys(-number for number in found)) if negative else found


def _unsigned(words: tuple[str, ...]) -> tuple[Decimal, ...]:
    points = [at for at, word in enumerate(words) if word in _tables().points]
    if points:
        found = _pointed(words, points[0])
    elif words[-2:] in _PARTS:
        found = _with_part(words[:-2], _PARTS[words[-2:]])
    else:
        return _without_point(words)
    return () if found is None else (found,)


def _pointed(words: tuple[str, ...], at: int) -> Decimal | None:
    whole = _whole(words[:at]) if at else "0"
    decimals = _decimals(words[at + 1 :])
    return None if whole is None or decimals is None else Decimal(f"{whole}.{decimals}")


def _with_part(before: tuple[str, ...], part: str) -> Decimal | None:
    """Read "three and a half", or "a half" alone."""
    if not before:
        return Decimal(f"0.{part}")
    whole = _whole(before[:-1]) if before[-1] == "and" else None
    return None if whole is None else Decimal(f"{whole}.{part}")


def _without_point(words: tuple[str, ...]) -> tuple[Decimal, ...]:
    reader = _Words(words)
    scaled = reader.scaled()
    if scaled is not None:
        return (Decimal(scaled),)
    segments = reader.segments()
    if not segments or not _can_stand_together(segments) or words == ("oh",):
        return ()
    return _side_by_side(segments)


def _side_by_side(segments: Sequence[str]) -> tuple[Decimal, ...]:
    """Small numbers said one after the other: the point may have been left out between any."""
    joined = Decimal("".join(segments))
    if len(segments) == 1:
        return (joined,)
    split = [
        Decimal("".join(segments[:at]) + "." + "".join(segments[at:]))
        for at in range(1, len(segments))
    ]
    # "twelve six" mostly lacks its point; "one twenty" and "one two six" mostly do not
    return (*split, joined) if len(segments[0]) > 1 else (joined, *split)
