"""Reading back: the exact words, and that they are understood as what they say."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.errors import MisuseError
from assistant.readings import (
    ReadingFound,
    contrast,
    contrast_typed,
    interpret_spoken,
    interpret_typed,
    read_back,
    read_back_typed,
)
from assistant.readings.reading import (
    SEEN_ANSWERS,
    Beep,
    OpenLine,
    Quantity,
    Reading,
    Seen,
    Unit,
    Unstable,
    Value,
)
from assistant.readings.units import value_of

# 3GPP TS 23.038, GSM 7-bit default alphabet: what of printable ASCII it has as single septets
GSM_BASIC = set(
    "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789 @$!\"#%&'()*+,-./:;<=>?_"
)


def v(number: str, unit: Unit = "V") -> Value:
    return value_of(Decimal(number), unit)


@pytest.mark.parametrize(
    ("reading", "implicit", "digits", "typed"),
    [
        (v("12.6"), "twelve point six volts", "one two point six volts", "12.6 V"),
        (v("12.60"), "twelve point six zero volts", "one two point six zero volts", "12.60 V"),
        (v("1"), "one volt", "one volt", "1 V"),
        (v("1.0"), "one point zero volts", "one point zero volts", "1.0 V"),
        (v("-1"), "minus one volt", "minus one volt", "-1 V"),
        (v("-2.5"), "minus two point five volts", "minus two point five volts", "-2.5 V"),
        (v("120", "mV"), "one hundred twenty millivolts", "one two zero millivolts", "120 mV"),
        (v("3.6", "ohm"), "three point six ohms", "three point six ohms", "3.6 ohm"),
        (v("1.2", "kohm"), "one point two kilohms", "one point two kilohms", "1.2 kohm"),
        (v("10", "Mohm"), "ten megohms", "one zero megohms", "10 Mohm"),
        (v("0.05"), "zero point zero five volts", "zero point zero five volts", "0.05 V"),
        (v("15", "A"), "fifteen amps", "one five amps", "15 A"),
        (OpenLine(), "open line", "open line", "open line"),
        (Beep(heard=True), "beep", "beep", "beep"),
        (Beep(heard=False), "no beep", "no beep", "no beep"),
        (Unstable(), "jumping around", "jumping around", "jumps around"),
        (Unstable(low=2.0, high=9.0, unit="ohm"), "jumping between two and nine ohms",
         "jumping between two and nine ohms", "jumps between 2 and 9 ohm"),
        (Unstable(high=9.0, unit="V"), "jumping up to nine volts", "jumping up to nine volts",
         "jumps up to 9 V"),
        (Unstable(low=9.5), "jumping from nine point five up", "jumping from nine point five up",
         "jumps from 9.5"),
        (Seen(state="too_hot"), "too hot", "too hot", "too hot"),
        (Seen(state="lit"), "lit", "lit", "lit"),
    ],
)  # fmt: skip
def test_words(reading: Reading, implicit: str, digits: str, typed: str) -> None:
    assert read_back(reading) == implicit
    assert read_back(reading, "digits") == digits
    assert read_back_typed(reading) == typed


@pytest.mark.parametrize(
    ("candidates", "ask", "typed"),
    [
        ([v("15"), v("50")], "fifteen, one five, or fifty, five zero?", "15 V or 50 V?"),
        ([v("13.4"), v("30.4")],
         "thirteen point four, one three point four, or thirty point four, three zero point four?",
         "13.4 V or 30.4 V?"),
        ([v("12.6"), v("126")], "twelve point six, or one hundred twenty six?", "12.6 V or 126 V?"),
        ([v("120"), v("1.20")], "one hundred twenty, or one point two zero?", "120 V or 1.20 V?"),
        ([v("120"), v("120", "mV")], "one hundred twenty volts, or one hundred twenty millivolts?",
         "120 V or 120 mV?"),
        ([v("3", "ohm"), OpenLine()], "three ohms, or open line?", "3 ohm or open line?"),
        ([v("1"), v("2"), v("3")], "one, two, or three?", "1 V, 2 V or 3 V?"),
    ],
)  # fmt: skip
def test_contrast(candidates: list[Reading], ask: str, typed: str) -> None:
    assert contrast(candidates) == ask
    assert contrast_typed(candidates) == typed


def test_contrast_style_spells_what_sounds_like_another() -> None:
    assert read_back(v("15"), "contrast") == "fifteen, one five volts"
    assert read_back(v("12.6"), "contrast") == "twelve point six volts"


def test_misuse() -> None:
    with pytest.raises(MisuseError):
        contrast([v("1")])
    for value in (float("inf"), float("nan"), 1e9):
        with pytest.raises(MisuseError):
            read_back(Value(value=value, unit="V"))
        with pytest.raises(MisuseError):
            read_back_typed(Unstable(low=value))


SAID = (
    "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "point",
    "minus",
)  # fmt: skip


# --- round trips -------------------------------------------------------------------------------

METERED: list[tuple[Quantity, Unit, int]] = [
    ("dc_voltage", "V", 9949), ("dc_voltage", "mV", 999_900), ("ac_voltage", "V", 9949),
    ("ac_voltage", "mV", 999_900), ("dc_current", "A", 9999), ("dc_current", "mA", 999_900),
    ("resistance", "ohm", 999_900), ("resistance", "kohm", 99_990), ("resistance", "Mohm", 9999),
    ("continuity", "ohm", 999_900),
]  # fmt: skip


@st.composite
def readings(draw: st.DrawFn) -> tuple[Quantity, Reading]:
    quantity, unit, most = draw(st.sampled_from(METERED))
    places = draw(st.integers(0, 2))
    number = Decimal(draw(st.integers(0, most))) / 100
    exact = number.quantize(Decimal(1).scaleb(-places))
    if quantity == "dc_voltage" and unit == "V":
        exact = draw(st.sampled_from([exact, -exact]))
    other: list[Reading] = [Unstable()]
    if quantity in {"resistance", "continuity"}:
        other += [OpenLine(), Beep(heard=True), Beep(heard=False)]
    if exact > 0:
        other.append(Unstable(low=float(exact) / 2, high=float(exact) + 1, unit=unit))
    return quantity, draw(st.one_of(st.just(value_of(exact, unit)), st.sampled_from(other)))


def close(one: Reading, two: Reading) -> bool:
    """Limits of a jump are computed here and said to six digits."""
    if isinstance(one, Unstable) and isinstance(two, Unstable) and one.low is not None:
        assert one.high is not None
        assert two.low is not None
        assert two.high is not None
        return (one.unit, pytest.approx(one.low, rel=1e-5), pytest.approx(one.high, rel=1e-5)) == (
            two.unit, two.low, two.high,
        )  # fmt: skip
    return one == two


@given(readings())
def test_what_is_read_back_is_understood_as_the_same(case: tuple[Quantity, Reading]) -> None:
    quantity, reading = case
    typed = interpret_typed(read_back_typed(reading), quantity=quantity).findings
    assert isinstance(typed[0], ReadingFound), typed
    assert close(reading, typed[0].reading)
    assert read_back_typed(typed[0].reading) == read_back_typed(reading)
    said = read_back(reading)
    spoken = interpret_spoken(said, quantity=quantity).findings
    assert isinstance(spoken[0], ReadingFound), (said, spoken)
    assert close(reading, spoken[0].reading)
    assert read_back(spoken[0].reading) == said


@pytest.mark.parametrize("quantity", SEEN_ANSWERS)
def test_states_are_understood_as_read_back(quantity: Quantity) -> None:
    for state in SEEN_ANSWERS[quantity]:
        reading = Seen(state=state)
        for text in (read_back(reading), read_back_typed(reading)):
            found = interpret_typed(text, quantity=quantity).findings[0]
            assert isinstance(found, ReadingFound)
            assert found.reading == reading


@given(readings())
def test_written_readings_fit_the_telephone_alphabet(case: tuple[Quantity, Reading]) -> None:
    assert set(read_back_typed(case[1])) <= GSM_BASIC


@given(readings())
def test_digits_are_the_digits_of_the_written_reading(case: tuple[Quantity, Reading]) -> None:
    _, reading = case
    if isinstance(reading, Value):
        said = read_back(reading, "digits").split()[:-1]
        written = read_back_typed(reading).split()[0]
        names = dict(zip("0123456789.-", SAID, strict=True))
        assert said == [names[mark] for mark in written]
