"""Reading back: what was understood, said or written so that a person can check it.

The words are the exact ones of the reading: no rounding of what was said. ``implicit`` goes
with the next question, ``digits`` names each digit (as ICAO Annex 10 Volume II has numbers
said), ``contrast`` sets a reading off against one that sounds like it.
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Final, Literal, TypeAlias

from assistant.errors import MisuseError
from assistant.readings.number_words import number_words, spelled_digits
from assistant.readings.reading import Beep, OpenLine, Reading, Seen, Unit, Unstable, Value
from assistant.readings.units import SPOKEN_UNITS, as_decimal

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["Style", "contrast", "contrast_typed", "read_back", "read_back_typed"]

Style: TypeAlias = Literal["implicit", "digits", "contrast"]
_SPEAKABLE: Final = Decimal(10**9)


def _number(reading: Value) -> Decimal:
    number = as_decimal(reading)
    if not number.is_finite() or abs(number) >= _SPEAKABLE:
        raise MisuseError(
            f"{reading.value} {reading.unit} cannot be read back.",
            next_step="Refuse such a reading before it is read back.",
        )
    return number


def _decimal(number: float) -> Decimal:
    return _number(Value(value=number, unit="V"))


def _unit_words(number: Decimal, unit: Unit) -> str:
    one, many = SPOKEN_UNITS[unit]
    return one if str(abs(number)) == "1" else many


def _sounds_like_another(number: Decimal) -> bool:
    """Thirteen to nineteen and thirty to ninety differ only in their last sound."""
    last = abs(int(number)) % 100
    return 13 <= last <= 19 or (last >= 30 and last % 10 == 0)


def _amount(number: Decimal, style: Style) -> str:
    if style == "digits":
        return spelled_digits(number)
    if style == "contrast" and _sounds_like_another(number):
        return f"{number_words(number)}, {spelled_digits(number)}"
    return number_words(number)


def _unstable(reading: Unstable, style: Style) -> str:
    unit = "" if reading.unit is None else f" {SPOKEN_UNITS[reading.unit][1]}"
    ends = [None if end is None else _amount(_decimal(end), style)
            for end in (reading.low, reading.high)]  # fmt: skip
    match ends:
        case [str() as low, str() as high]:
            return f"jumping between {low} and {high}{unit}"
        case [str() as low, None]:
            return f"jumping from {low}{unit} up"
        case [None, str() as high]:
            return f"jumping up to {high}{unit}"
        case _:
            return "jumping around"


def read_back(reading: Reading, style: Style = "implicit") -> str:
    """Say ``reading``: "twelve point six volts", or "one two point six volts" by its digits.

    Raises ``MisuseError`` for a number that is not finite or not below a milliard.
    """
    match reading:
        case Value(unit=unit):
            number = _number(reading)
            return f"{_amount(number, style)} {_unit_words(number, unit)}"
        case OpenLine():
            return "open line"
        case Beep(heard=heard):
            return "beep" if heard else "no beep"
        case Unstable():
            return _unstable(reading, style)
        case Seen(state=state):
            return state.replace("_", " ")


def read_back_typed(reading: Reading) -> str:
    """Write ``reading`` for a text message: "12.6 V", "open line", "3.6 ohm".

    Every sign is in the GSM 7-bit basic alphabet (3GPP TS 23.038).
    """
    match reading:
        case Value(unit=unit):
            return f"{_number(reading):f} {unit}"
        case Unstable(low=low, high=high, unit=unit):
            tail = "" if unit is None else f" {unit}"
            if low is not None and high is not None:
                return f"jumps between {_decimal(low):f} and {_decimal(high):f}{tail}"
            known = low if low is not None else high
            if known is None:
                return "jumps around"
            return f"jumps {'from' if low is not None else 'up to'} {_decimal(known):f}{tail}"
        case _:
            return read_back(reading)


def _distinct(candidates: Sequence[Reading]) -> tuple[Reading, ...]:
    if len(candidates) < 2:
        raise MisuseError(
            "There is nothing to set one candidate off against.",
            next_step="Read a single reading back with read_back.",
        )
    return tuple(candidates)


def contrast(candidates: Sequence[Reading]) -> str:
    """Ask which: "fifteen, one five, or fifty, five zero?". Units only where they differ.

    Digits are added only where two of the candidates sound alike. Raises ``MisuseError`` for
    fewer than two.
    """
    readings = _distinct(candidates)
    values = [reading for reading in readings if isinstance(reading, Value)]
    one_unit = len(values) == len(readings) and len({value.unit for value in values}) == 1
    alike = sum(_sounds_like_another(_number(value)) for value in values) > 1
    style: Style = "contrast" if alike else "implicit"
    words = [
        _amount(_number(reading), style)
        if one_unit and isinstance(reading, Value)
        else read_back(reading, style)
        for reading in readings
    ]
    # three or more get a comma each, and every "or" stands behind one
    return f"{', '.join(words[:-1])}, or {words[-1]}?"


def contrast_typed(candidates: Sequence[Reading]) -> str:
    """Ask which, in a text message: "12.6 V or 126 V?"."""
    written = [read_back_typed(reading) for reading in _distinct(candidates)]
    return f"{', '.join(written[:-1])} or {written[-1]}?"
