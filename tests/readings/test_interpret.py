"""Spoken and typed answers: readings, commands, wrong units, questions back, and refusals."""

from __future__ import annotations

from typing import get_args

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from assistant.errors import MisuseError
from assistant.knowledge.schema import VehicleState as KnowledgeVehicleState
from assistant.readings import (
    Ambiguous,
    CommandFound,
    Finding,
    NothingFound,
    ReadingFound,
    VehicleState,
    WrongUnit,
    grammar_for,
    interpret_spoken,
    interpret_typed,
    words_of_all_grammars,
)
from assistant.readings.reading import (
    SEEN_ANSWERS,
    Beep,
    OpenLine,
    Quantity,
    Seen,
    Unstable,
    Value,
    base_unit,
)

QUANTITIES: tuple[Quantity, ...] = get_args(Quantity)
ANY_QUANTITY = st.sampled_from([*QUANTITIES, None])


def volts(number: float) -> Value:
    return Value(value=number, unit="V")


def typed(text: str, quantity: Quantity | None = "dc_voltage") -> tuple[Finding, ...]:
    return interpret_typed(text, quantity=quantity).findings


def only(text: str, quantity: Quantity | None = "dc_voltage") -> Finding:
    findings = typed(text, quantity)
    assert len(findings) == 1, findings
    return findings[0]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("12.6 key on, 8 running", [(12.6, "accessory"), (8, "running")]),
        ("key on 12.6, running 8", [(12.6, "accessory"), (8, "running")]),
        ("12.6 key on 8 running", [(12.6, "accessory"), (8, "running")]),
        ("12.6v with the key on and like 8 when its running",
         [(12.6, "accessory"), (8, "running")]),
        ("12.4 off; 12.2 key on; 9.8 cranking; 14.1 running",
         [(12.4, "off"), (12.2, "accessory"), (9.8, "cranking"), (14.1, "running")]),
        ("12.6\n8 running", [(12.6, None), (8, "running")]),
        ("off 12.6, running 14.4", [(12.6, "off"), (14.4, "running")]),
    ],
)  # fmt: skip
def test_several_readings_by_vehicle_state(
    text: str, expected: list[tuple[float, VehicleState | None]]
) -> None:
    found = typed(text)
    assert [
        (f.reading, f.vehicle) for f in found if isinstance(f, ReadingFound)
    ] == [(volts(number), state) for number, state in expected]  # fmt: skip
    assert len(found) == len(expected)


def test_lights_by_vehicle_state() -> None:
    found = typed("off with the key on, blinking when running", "light")
    assert [(f.reading, f.vehicle) for f in found if isinstance(f, ReadingFound)] == [
        (Seen(state="off"), "accessory"),
        (Seen(state="blinking"), "running"),
    ]


@pytest.mark.parametrize(
    "text", ["12.6, 12.7", "12.6 then 8", "12.6 and 8", "12.6 key on, 8 key on"]
)
def test_readings_that_nothing_tells_apart_are_asked_back(text: str) -> None:
    found = only(text)
    assert isinstance(found, Ambiguous)
    assert len(found.candidates) == 2


def test_the_same_reading_twice_is_one() -> None:
    found = only("12.6, 12.6 volts")
    assert isinstance(found, ReadingFound)
    assert found.reading == volts(12.6)


@pytest.mark.parametrize(
    ("text", "quantity", "given", "expected"),
    [
        ("3.6 ohm", "dc_voltage", "ohms", "volts"),
        ("three point six ohms", "dc_voltage", "ohms", "volts"),
        ("12.6v", "resistance", "volts", "ohms or open line"),
        ("120 mV", "dc_current", "volts", "amps"),
        ("OL", "dc_voltage", "open line", "volts"),
        ("beep", "dc_voltage", "beep", "volts"),
        ("blinking", "dc_voltage", "blinking", "volts"),
        ("too hot", "resistance", "too hot", "ohms or open line"),
        ("2.5 A", "ac_voltage", "amps", "AC volts or millivolts"),
        ("12.6", "light", "a number", "off, lit or blinking"),
        ("12.6 volts", "warmth", "volts", "cool, warm or too hot"),
        ("12.6 volts", "continuity", "volts", "a beep, no beep, open line or ohms"),
    ],
)
def test_a_wrong_unit_says_what_was_expected(
    text: str, quantity: Quantity, given: str, expected: str
) -> None:
    for found in (only(text, quantity), *interpret_spoken(text, quantity=quantity).findings):
        assert isinstance(found, WrongUnit)
        assert (found.given, found.expected) == (given, expected)
        assert expected in found.say
        assert given in found.say


@pytest.mark.parametrize(
    "text",
    [
        "model 2004 truck", "2004", "2004 V", "it's a 2004", "1e999", "12..6", "1e3", "12.6.8",
        "should be 12.6v", "it was supposed to be 12.6 volts", "not 12.6 v", "less than 12 volts",
        "12 inch sub", "i have 2 kids", "call me at 12", "at 12:30", "3 of them", "5551234567",
        "the fuse is 40 amps and 12 volts", "nan", "inf", "infinity", "12 hours", "12.6 12.7",
        "twelve and", "a hundred and",
    ],
)  # fmt: skip
@pytest.mark.parametrize("read", [interpret_spoken, interpret_typed])
def test_what_is_no_reading_of_volts_is_not_taken(text: str, read: object) -> None:
    assert callable(read)
    found = read(text, quantity="dc_voltage").findings
    assert not any(isinstance(f, ReadingFound | Ambiguous) for f in found), found
    assert all(f.reason for f in found if isinstance(f, NothingFound))


@pytest.mark.parametrize(
    ("text", "reading"),
    [
        ("so the fluke says 12.6v lol", volts(12.6)),
        ("hey man its 12.6 volts with everything hooked up", volts(12.6)),
        ("12v battery", volts(12)),
    ],
)
def test_one_clear_reading_among_other_words_is_asked_not_taken(text: str, reading: Value) -> None:
    found = only(text)
    assert isinstance(found, Ambiguous)
    assert found.candidates == (reading,)
    assert found.ask.endswith("is that the reading?")
    # of speech every word must parse
    spoken = interpret_spoken(text, quantity="dc_voltage").findings
    assert isinstance(spoken[0], NothingFound)


@pytest.mark.parametrize(
    ("text", "quantity", "candidates"),
    [
        ("126", "dc_voltage", [126, 12.6]),
        ("144 V", "dc_voltage", [144, 14.4]),
        ("a hundred and twenty", "dc_voltage", [120, 12]),
        ("1,200 ohms", "resistance", [1.2, 1200]),
        ("twelve six", "dc_voltage", [12.6, 126]),
        ("three five", "resistance", [35, 3.5]),
        ("12, 6", "dc_voltage", [12.6, 12, 6]),
        ("12. 6", "dc_voltage", [12.6, 12, 6]),
        ("1.2m", "resistance", [1.2, 0.0012]),
    ],
)
def test_an_open_number_is_asked_back(
    text: str, quantity: Quantity, candidates: list[float]
) -> None:
    found = only(text, quantity)
    assert isinstance(found, Ambiguous)
    assert [c.value for c in found.candidates if isinstance(c, Value)] == candidates


def test_a_comma_of_thousands_is_none_where_no_meter_shows_thousands() -> None:
    found = only("1,200")
    assert isinstance(found, ReadingFound)
    assert found.reading == volts(1.2)


@pytest.mark.parametrize(
    ("text", "command"),
    [("dont have a meter", "cannot"), ("cant reach it", "cannot"), ("I can't", "cannot"),
     ("repeet that", "repeat"), ("stauts", "status"), ("Help!", "help"), ("Why?", "why"),
     ("skip", "skip"), ("UNDO", "undo"), ("go back", "back"), ("slower", "slower"),
     ("done", "done"), ("take over later", "later"), ("hold on", "pause"), ("safety", "safety"),
     ("stop", "stop"), ("correction", "correct"), ("yes", "yes"), ("no", "no")],
)  # fmt: skip
@pytest.mark.parametrize("quantity", ["dc_voltage", "resistance", "light", None])
def test_commands_are_heard_at_any_time(text: str, command: str, quantity: Quantity | None) -> None:
    found = only(text, quantity)
    assert isinstance(found, CommandFound)
    assert found.command == command
    assert found.argument == (text if command == "cannot" else None)


@pytest.mark.parametrize(
    ("text", "command"),
    [("sorry, i meant 12.8", "correct"), ("wait i mean 12.8", "correct"),
     ("no no no it's 12.8", "no")],
)  # fmt: skip
def test_stacked_corrections(text: str, command: str) -> None:
    order, reading = typed(text)
    assert order == CommandFound(command=command)
    assert isinstance(reading, ReadingFound)
    assert reading.reading == volts(12.8)


@pytest.mark.parametrize(
    ("text", "command"), [("no no", "no"), ("yes, yes", "yes"), ("skip skip", "skip")]
)
def test_a_command_said_twice_is_one(text: str, command: str) -> None:
    assert only(text) == CommandFound(command=command)


def test_several_numbers_are_named_as_the_reason() -> None:
    found = only("12.6 at the battery 12.1 at the amp")
    assert isinstance(found, NothingFound)
    assert "several numbers" in found.reason


def test_likeness_is_for_commands_only() -> None:
    # a misspelt number, yes, no or stop is not guessed at
    for text in ("twelv volts", "thirten", "yess", "stopp", "nno", "fity five"):
        assert isinstance(only(text), NothingFound)


@pytest.mark.parametrize(
    ("quantity", "text", "also"),
    [("sound", "yes", "yes"), ("noise", "no", "no"), ("continuity", "yes", "yes"),
     ("continuity", "no", "no"), ("sound", "no sound", None), ("light", "off", None)],
)  # fmt: skip
def test_an_answer_that_is_a_yes_too_says_so(
    quantity: Quantity, text: str, also: str | None
) -> None:
    found = only(text, quantity)
    assert isinstance(found, ReadingFound)
    assert found.also == also


@pytest.mark.parametrize(
    ("text", "reading", "quantity"),
    [
        ("12.6 volts", volts(12.6), "dc_voltage"),
        ("three point six ohms", Value(value=3.6, unit="ohm"), "resistance"),
        ("2.5 amps", Value(value=2.5, unit="A"), "dc_current"),
        ("beep", Beep(heard=True), "continuity"),
        ("no beep", Beep(heard=False), "continuity"),
        ("open line", OpenLine(), "resistance"),
        ("blinking", Seen(state="blinking"), "light"),
        ("distorted", Seen(state="distorted"), "sound"),
        ("too hot", Seen(state="too_hot"), "warmth"),
    ],
)
def test_with_no_check_open_the_words_must_tell_the_quantity(
    text: str, reading: Value, quantity: Quantity
) -> None:
    found = only(text, None)
    assert isinstance(found, ReadingFound)
    assert (found.reading, found.quantity) == (reading, quantity)


def test_with_no_check_open_a_bare_number_is_asked_for_its_unit() -> None:
    found = only("12.6", None)
    assert isinstance(found, Ambiguous)
    assert {c.unit for c in found.candidates if isinstance(c, Value)} == {"V", "ohm", "A"}
    assert found.ask == "twelve point six what? Volts, ohms or amps?"


def test_unstable_without_and_with_limits() -> None:
    jumps = only("it's jumping around between two and nine", "resistance")
    assert isinstance(jumps, ReadingFound)
    assert jumps.reading == Unstable(low=2.0, high=9.0, unit="ohm")
    mixed = only("jumps 200 to 1.2k", "resistance")
    assert isinstance(mixed, ReadingFound)
    assert mixed.reading == Unstable(low=0.2, high=1.2, unit="kohm")
    backwards = only("jumps from 9 to 2")
    assert isinstance(backwards, ReadingFound)
    assert backwards.reading == Unstable(low=2.0, high=9.0, unit="V")


def test_states_are_those_of_the_contract() -> None:
    for quantity, states in SEEN_ANSWERS.items():
        for state in states:
            found = only(state.replace("_", " "), quantity)
            assert isinstance(found, ReadingFound)
            assert found.reading == Seen(state=state)
    assert get_args(VehicleState) == get_args(KnowledgeVehicleState)


def test_grammars_by_quantity() -> None:
    assert [grammar_for(quantity) for quantity in QUANTITIES] == [
        "volts", "millivolts_ac", "ohms", "continuity", "amps", "light", "sound", "noise", "warmth",
    ]  # fmt: skip


def test_a_grammar_by_name() -> None:
    assert interpret_spoken("it helped", quantity=None, grammar="yes_no").findings == (
        CommandFound(command="yes"),
    )
    assert interpret_typed("second sub", quantity=None, grammar="channels").findings == (
        CommandFound(command="channel", argument="sub_2"),
    )
    with pytest.raises(MisuseError):
        interpret_typed("12", quantity=None, grammar="colours")


# --- whatever comes, nothing breaks and nothing odd is taken -----------------------------------


@given(st.text(max_size=200), ANY_QUANTITY, st.booleans())
@example("\x00", "dc_voltage", True)
@example("9" * 400, "dc_voltage", True)
@example("-" * 50 + "1", "resistance", True)
@example("½½½", "dc_voltage", True)
@example("1,2,3 , ,", None, True)
@example("\ud800", "light", False)
def test_no_text_ever_raises(text: str, quantity: Quantity | None, by_hand: bool) -> None:
    read = interpret_typed if by_hand else interpret_spoken
    result = read(text, quantity=quantity)
    assert result.text == text
    assert result.findings


TYPED = (
    "12.6", "8", ",8", "3.6ohm", "1.2k", "120mV", "-2.5", "12..6", "1e9", ",", ";", "-", "and",
    "but", "then", "OL", "v", "the",
)  # fmt: skip
SOUP = st.lists(st.sampled_from([*sorted(words_of_all_grammars()), *TYPED]), max_size=14).map(
    " ".join
)


@given(SOUP, ANY_QUANTITY, st.booleans())
def test_word_soup_gives_only_readings_of_the_open_check(
    text: str, quantity: Quantity | None, by_hand: bool
) -> None:
    read = interpret_typed if by_hand else interpret_spoken
    for found in read(text, quantity=quantity).findings:
        readings = (
            (found.reading,) if isinstance(found, ReadingFound)
            else found.candidates if isinstance(found, Ambiguous) else ()
        )  # fmt: skip
        for reading in readings:
            assert fits(reading, quantity)
        if isinstance(found, Ambiguous):
            assert found.candidates
            assert found.ask
            assert found.ask_typed.isascii()
        if isinstance(found, WrongUnit):
            assert found.say.isascii()


def fits(reading: object, quantity: Quantity | None) -> bool:
    match reading:
        case _ if quantity is None:
            return True
        case Value():
            within = (
                abs(reading.si) <= 10e9 if base_unit(quantity) == "ohm" else abs(reading.si) <= 1000
            )
            return within and reading.unit.endswith(base_unit(quantity) or "none")
        case Seen(state=state):
            return state in SEEN_ANSWERS.get(quantity, ())
        case OpenLine() | Beep():
            return quantity in {"resistance", "continuity"}
        case Unstable():
            return base_unit(quantity) is not None
    return False


@given(
    st.lists(
        st.sampled_from(["12", "volts", "the", "2004", "amp", "and", "ohms", "."]),
        min_size=30,
        max_size=200,
    )
)
def test_long_texts_are_read_in_bounded_work(words: list[str]) -> None:
    assert interpret_typed(" ".join(words), quantity="dc_voltage").findings
