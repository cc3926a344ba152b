"""Words and numbers of the report."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.diagnosis.records import Expectation
from assistant.knowledge.schema import PAIRS, POSITIONS, Complaint, Do, Wire
from assistant.readings.reading import Beep, OpenLine, Reading, Seen, Unstable, Value
from assistant.reports.phrases import (
    complaint_words,
    expected_words,
    minutes_words,
    node_words,
    number,
    percent,
    reading_words,
    setup_words,
    state_words,
    surprising,
    wire_words,
)


@pytest.mark.parametrize(
    ("reading", "words"),
    [
        (Value(value=12.6, unit="V"), "12.6 V"),
        (Value(value=-2.5, unit="mV"), "−2.5 mV"),
        (Value(value=0, unit="A"), "0 A"),
        (Value(value=0.05, unit="ohm"), "0.05 Ω"),
        (Value(value=4.7, unit="kohm"), "4.7 kΩ"),
        (Value(value=1, unit="Mohm"), "1 MΩ"),
        (Value(value=1999, unit="mA"), "1999 mA"),
        (OpenLine(), "open line"),
        (Beep(heard=True), "beep"),
        (Beep(heard=False), "no beep"),
        (Unstable(low=1.2, high=9.0, unit="ohm"), "1.2 to 9 Ω, jumping"),
        (Unstable(), "jumping about"),
        (Seen(state="too_hot"), "too hot"),
    ],
)
def test_readings_in_words(reading: Reading, words: str) -> None:
    assert reading_words(reading) == words


@given(value=st.floats(0.01, 9999.99).map(lambda x: round(x, 2)))
def test_a_reading_is_written_as_the_meter_showed_it(value: float) -> None:
    assert float(reading_words(Value(value=value, unit="V")).removesuffix(" V")) == value


@given(value=st.floats(allow_nan=False, allow_infinity=False))
def test_numbers_keep_their_significant_digits(value: float) -> None:
    text = number(value, 6).replace("−", "-")
    assert float(text) == pytest.approx(value, rel=1e-5, abs=1e-300)


@pytest.mark.parametrize(
    ("low", "high", "unit", "words"),
    [
        (12.2, 12.84, "V", "12.2 to 12.8 V"),
        (0.012, 0.0455, "V", "12 to 45.5 mV"),
        (-0.2, 0.05, "A", "−200 to 50 mA"),
        (0.21, 3.96, "ohm", "0.21 to 3.96 Ω"),
        (200.0, 12_000.0, "ohm", "0.2 to 12 kΩ"),
        (1.0e6, 2.5e6, "ohm", "1 to 2.5 MΩ"),
    ],
)
def test_expected_numbers_with_si_prefixes(low: float, high: float, unit: str, words: str) -> None:
    # Prefixes of the SI (BIPM, SI Brochure, 9th edition, table 7): exact powers of ten.
    expected = Expectation(low=low, high=high, unit=unit)  # type: ignore[arg-type]
    assert expected_words(expected) == words


def test_expected_answers_that_are_no_number() -> None:
    states = (("off", 0.16), ("lit", 0.83), ("blinking", 0.01))
    light = Expectation(low=None, high=None, unit=None, states=states)
    assert expected_words(light) == "lit (83%), or off (16%)"
    mixed = Expectation(low=0.1, high=0.4, unit="ohm", states=(("open_line", 0.12),))
    assert expected_words(mixed) == "0.1 to 0.4 Ω, or open line (12%)"
    assert expected_words(None) == ""


def test_surprise_is_outside_the_central_ninety_per_cent() -> None:
    volts = Expectation(low=12.0, high=13.0, unit="V")
    assert not surprising(Value(value=12_500, unit="mV"), volts)
    assert surprising(Value(value=9.8, unit="V"), volts)
    light = Expectation(low=None, high=None, unit=None, states=(("lit", 0.95), ("off", 0.05)))
    assert surprising(Seen(state="off"), light)
    assert not surprising(Seen(state="lit"), light)
    ohms = Expectation(low=0.2, high=9.0, unit="ohm", states=(("open_line", 0.93),))
    assert surprising(Value(value=3.0, unit="ohm"), ohms)
    assert not surprising(OpenLine(), ohms)
    beep = Expectation(low=None, high=None, unit=None, states=(("beep", 0.04), ("no_beep", 0.96)))
    assert surprising(Beep(heard=True), beep)
    assert not surprising(OpenLine(), None)


def test_no_probability_is_written_as_certain() -> None:
    assert percent(1.0) == "over 99%"
    assert percent(0.0) == "under 1%"
    assert percent(0.914) == "91%"


def test_minutes() -> None:
    assert minutes_words(0.6) == "0.5 min"
    assert minutes_words(2.0) == "2 min"
    assert minutes_words(75) == "75 min"


def test_every_node_of_the_contract_has_its_own_words() -> None:
    nodes = [
        *("battery.positive", "battery.negative", "charging.output", "chassis", "engine_block"),
        *("main_fuse.battery_side", "main_fuse.amp_side", "amp.power", "amp.ground"),
        *("amp.remote", "source.remote", "amp.power_light", "amp.protect_light", "amp.case"),
        "noise.whine",
        *(
            f"speaker.{position}.{end}"
            for position in POSITIONS
            for end in ("amp_positive", "amp_negative", "positive", "negative")
        ),
        *(f"signal.{pair}.{end}" for pair in PAIRS for end in ("center", "shell")),
        *(f"sound.{position}" for position in POSITIONS),
    ]
    words = [node_words(node) for node in nodes]
    assert len(set(words)) == len(nodes)
    assert not [text for text in words if "_" in text or "." in text]


def test_state_and_setup() -> None:
    do = Do(
        quantity="dc_voltage",
        red="amp.power",
        black="amp.ground",
        vehicle="running",
        audio="loud",
        setup=("disconnect:speaker.front_left", "swap:signal.rear", "cycle_remote"),
    )
    assert state_words(do) == "engine running, sound loud"
    assert setup_words(do) == (
        "front left speaker unplugged, rear signal leads swapped, remote off and on"
    )


def test_complaint_and_wire() -> None:
    complaint = Complaint(symptom="silent_channel", when=("loud", "warm"), where=("sub",))
    assert complaint_words(complaint) == "A channel stays silent, when loud, when warm (subwoofer)."
    wire = Wire(gauge="16 mm2", material="copper_clad_aluminum", length_m=5.0)
    assert wire_words(wire) == "16 mm2 copper-clad aluminum, 5 m"
    assert wire_words(Wire()) == wire_words(None) == "gauge not given"
