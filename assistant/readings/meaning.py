"""From a matched sentence to what it means: readings or a command, within what a meter shows."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Final, TypeAlias, cast

from assistant.readings.number_words import number_candidates
from assistant.readings.reading import (
    Beep,
    OpenLine,
    Quantity,
    Reading,
    Seen,
    Unit,
    Unstable,
    Value,
)
from assistant.readings.units import UNIT_IDS, si_decimal, value_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assistant.readings.findings import VehicleState
    from assistant.readings.grammarfile import Measure
    from assistant.readings.matcher import Match, Matcher, Slot
    from assistant.readings.tokens import Token

__all__ = ["Meaning", "Order", "meanings_of", "reading_key", "slot_numbers"]

_ONE: Final = Decimal(1)
_SLIPS: Final = (1, 2)
_PLAIN: Final[Mapping[str, Reading]] = {
    "open_line": OpenLine(),
    "beep": Beep(heard=True),
    "no_beep": Beep(heard=False),
}


@dataclass(frozen=True, slots=True)
class Order:
    """A command and its argument."""

    command: str
    argument: str | None


@dataclass(frozen=True, slots=True)
class Meaning:
    """Readings that one sentence may mean, likeliest first.

    ``explicit``: the words say by themselves what kind of answer it is (a unit, a beep, a light
    that blinks). ``refusal`` says why there are no readings.
    """

    readings: tuple[Reading, ...]
    vehicle: VehicleState | None = None
    quantity: Quantity | None = None
    explicit: bool = False
    refusal: str = ""


Result: TypeAlias = Meaning | Order


def reading_key(reading: Reading) -> tuple[object, ...]:
    """Give what tells readings apart: 2000 ohm and 2 kohm are the same."""
    match reading:
        case Value(unit=unit):
            return ("value", unit[-1], si_decimal(reading).normalize())
        case _:
            return ("other", reading)


def slot_numbers(tokens: Sequence[Token]) -> tuple[Decimal, ...]:
    """Give what the tokens of a number slot may mean; none when a part is no number."""
    at = [place for place, token in enumerate(tokens) if token.kind == "number"]
    if not at:
        return number_candidates([token.label for token in tokens])
    numbers = tokens[at[0]].numbers
    before = [token.label for token in tokens[: at[0]]]
    after = [token.label for token in tokens[at[0] + 1 :]]
    if len(at) == 2:
        # "12 point 6", as a dictating keyboard writes it
        joined = f"{numbers[0]}.{tokens[at[1]].numbers[0]}"
        if not re.fullmatch(r"\d+\.\d+", joined):
            return ()
        numbers = (Decimal(joined),)
    elif after:
        # "12 and a half", "12 point six": the part is said of a whole number
        said = after if after[0] != "and" else ["zero", *after]
        parts = number_candidates(said)
        if len(parts) != 1 or len(numbers) != 1 or numbers[0] % 1:
            return ()
        numbers = (numbers[0] - parts[0] if numbers[0] < 0 else numbers[0] + parts[0],)
    if before and any(number < 0 for number in numbers):
        return ()
    return tuple(-number for number in numbers) if before else numbers


def _only(slots: tuple[Slot, ...] | None) -> str | None:
    return slots[-1].entries[-1] if slots and slots[-1].entries else None


def _within(number: Value, measure: Measure) -> bool:
    size = si_decimal(number)
    return abs(size) <= Decimal(str(measure.limit)) and (measure.signed or size >= 0)


def _with_lost_point(value: Value, measure: Measure) -> list[Value]:
    """Add the readings that a lost decimal point may have turned into a number too large."""
    if abs(si_decimal(value)) <= Decimal(str(measure.usual)):
        return [value]
    number = Decimal(repr(value.value))
    if number % 1:
        return [value]
    slipped = [value_of(number.quantize(_ONE).scaleb(-by), value.unit) for by in _SLIPS]
    usual = [s for s in slipped if abs(si_decimal(s)) <= Decimal(str(measure.usual))]
    return [value, *usual[:1]]


def _no_number(measure: Measure) -> str:
    what = measure.expects
    return f"No meter shows that number here; I expected {what}."


class _Reader:
    """Reads the slots of one match."""

    def __init__(self, matcher: Matcher, match: Match, quantity: Quantity | None) -> None:
        self._sentence = matcher.sentence(match)
        self._slots = match.slots
        self._measure = matcher.file.measure
        fits = self._measure.quantities if self._measure else ()
        self._quantity = quantity if quantity in fits else (fits[0] if fits else None)
        vehicle = _only(self._slots.get("vehicle"))
        self._vehicle = cast("VehicleState | None", vehicle)

    def _meaning(self, *readings: Reading, explicit: bool = True, refusal: str = "") -> Meaning:
        distinct = {reading_key(reading): reading for reading in reversed(readings)}
        kept = tuple(reading for reading in readings if reading is distinct[reading_key(reading)])
        return Meaning(kept, self._vehicle, self._quantity, explicit, refusal)

    def read(self) -> Result | None:
        """Give what the match means, or None when its numbers are none."""
        sentence = self._sentence
        if sentence.gives == "command":
            entry = _only(self._slots.get("command"))
            return Order(entry or sentence.answer or "", _only(self._slots.get("argument")))
        if sentence.gives == "unstable":
            return self._unstable()
        if sentence.gives == "value":
            return self._value()
        if sentence.gives == "seen":
            return self._meaning(Seen(state=_only(self._slots.get("state")) or ""))
        return self._meaning(_PLAIN[sentence.gives])

    def _units(self) -> tuple[tuple[Unit, Decimal], ...]:
        entry = _only(self._slots.get("unit"))
        if entry is not None:
            return UNIT_IDS[entry]
        unit = self._sentence.unit or (self._measure.unit if self._measure else None)
        return ((unit or "V", _ONE),)

    def _value(self) -> Meaning | None:
        measure = self._measure
        if measure is None:
            return None
        fixed = self._sentence.number
        numbers = (
            (Decimal(fixed),) if fixed is not None else slot_numbers(self._slots["value"][0].tokens)
        )
        if not numbers:
            return None
        values = [
            value_of(number, unit, factor) for number in numbers for unit, factor in self._units()
        ]
        shown = [value for value in values if _within(value, measure)]
        named = fixed is not None and self._sentence.answer != "implied"
        explicit = named or "unit" in self._slots
        if not shown:
            return self._meaning(explicit=explicit, refusal=_no_number(measure))
        if len(shown) == 1:
            return self._meaning(*_with_lost_point(shown[0], measure), explicit=explicit)
        return self._meaning(*shown, explicit=explicit)

    def _unstable(self) -> Meaning | None:
        measure = self._measure
        if "low" not in self._slots or measure is None:
            return self._meaning(Unstable())
        low, high = (slot_numbers(self._slots[end][0].tokens) for end in ("low", "high"))
        if len(low) != 1 or len(high) != 1:
            return None
        units = self._slots.get("unit", ())
        entries = [UNIT_IDS[slot.entries[-1]] for slot in units if slot.entries]
        if any(len(entry) != 1 for entry in entries):
            return None
        default: tuple[Unit, Decimal] = (measure.unit or "V", _ONE)
        last = entries[-1][0] if entries else default
        # "from 2 to 9 k" is in kilohms at both ends, "from 200 to 1.2 k" is not
        shared = last if low[0] <= high[0] else default
        first = entries[0][0] if len(entries) > 1 else shared
        ends = (value_of(low[0], *first), value_of(high[0], *last))
        if not all(_within(end, measure) for end in ends):
            return self._meaning(explicit=bool(entries), refusal=_no_number(measure))
        return self._jump(ends, explicit=bool(entries))

    def _jump(self, ends: tuple[Value, Value], *, explicit: bool) -> Meaning:
        low, high = sorted(ends, key=si_decimal)
        if low.unit != high.unit:
            low = _in(low, high.unit)
        jump = Unstable(low=low.value, high=high.value, unit=high.unit)
        if self._sentence.answer != "range":
            return self._meaning(jump)
        # two figures without a word of jumping: a guess, a drop, or the flicker of the last digit
        spread = si_decimal(high) - si_decimal(low)
        if spread <= abs(si_decimal(high)) * Decimal("0.05"):
            return self._meaning(low, high, explicit=explicit)
        return self._meaning(jump, low, high, explicit=explicit)


def _in(value: Value, unit: Unit) -> Value:
    factor = si_decimal(value) / si_decimal(Value(value=1.0, unit=unit))
    return value_of(factor, unit)


def meanings_of(matcher: Matcher, match: Match, quantity: Quantity | None) -> Result | None:
    """Give what ``match`` means for ``quantity``; None when its words come to nothing."""
    return _Reader(matcher, match, quantity).read()
