"""Which observation is repeated after a repair, and what its repetition says."""

from __future__ import annotations

import pytest

from assistant.conversation.proving import is_sound, same_answer, still_failing
from assistant.conversation.scene import Proof
from assistant.conversation.soundness import sound_expectation
from assistant.diagnosis.records import Expectation
from assistant.diagnosis.session import Diagnosis
from assistant.knowledge.schema import Complaint, Installation
from assistant.readings.reading import Beep, OpenLine, Reading, Seen, Unstable, Value

VOLTS = Expectation(low=13.2, high=14.6, unit="V", states=(("unstable", 0.01),))
LIGHT = Expectation(low=None, high=None, unit=None, states=(("off", 0.97), ("lit", 0.03)))
BEEP = Expectation(low=None, high=None, unit=None, states=(("beep", 0.02), ("no_beep", 0.98)))
OPEN = Expectation(low=None, high=None, unit=None, states=(("open_line", 1.0),))


def volts(number: float) -> Value:
    return Value(value=number, unit="V")


@pytest.mark.parametrize(
    ("reading", "healthy", "sound"),
    [
        (volts(14.1), VOLTS, True),
        (volts(14100), VOLTS, False),
        (Value(value=14100, unit="mV"), VOLTS, True),
        (volts(14.9), VOLTS, True),  # just outside the middle 90 %
        (volts(16.2), VOLTS, False),
        (Unstable(), VOLTS, False),
        (Seen(state="off"), LIGHT, True),
        (Seen(state="lit"), LIGHT, False),
        (Seen(state="blinking"), LIGHT, False),
        (Beep(heard=False), BEEP, True),
        (Beep(heard=True), BEEP, False),
        (Value(value=3, unit="ohm"), BEEP, False),
        (Value(value=2, unit="kohm"), BEEP, True),
        (OpenLine(), BEEP, True),
        (OpenLine(), OPEN, True),
        (Value(value=3, unit="ohm"), OPEN, False),
        (OpenLine(), VOLTS, False),
    ],
)
def test_what_a_sound_car_gives(reading: Reading, healthy: Expectation, *, sound: bool) -> None:
    assert is_sound(reading, healthy) is sound


@pytest.mark.parametrize(
    ("failing", "after", "healthy", "fails"),
    [
        (volts(16.4), volts(14.2), VOLTS, False),
        (volts(16.4), volts(16.3), VOLTS, True),
        (volts(16.4), volts(16.0), VOLTS, True),  # same within 5 %
        (volts(18.4), volts(15.2), VOLTS, False),  # most of the way back
        (volts(18.4), volts(17.0), VOLTS, True),
        (volts(16.4), volts(9.0), VOLTS, True),  # now wrong the other way
        (volts(10.0), Unstable(low=2, high=9), VOLTS, True),
        (Unstable(), volts(14.0), VOLTS, False),
        (Seen(state="lit"), Seen(state="off"), LIGHT, False),
        (Seen(state="lit"), Seen(state="lit"), LIGHT, True),
        (Seen(state="lit"), Seen(state="blinking"), LIGHT, True),
        (Beep(heard=True), Beep(heard=False), BEEP, False),
        (Value(value=0.4, unit="ohm"), OpenLine(), OPEN, False),
        (Value(value=0.4, unit="ohm"), Value(value=300, unit="ohm"), OPEN, True),
    ],
)
def test_what_the_repetition_says(
    failing: Reading, after: Reading, healthy: Expectation, *, fails: bool
) -> None:
    proof = Proof(repair="r", check="c", failing=failing, healthy=healthy)
    assert still_failing(proof, after) is fails


def test_answers_are_the_same_within_what_a_meter_repeats() -> None:
    assert same_answer(volts(12.0), volts(12.3))
    assert same_answer(volts(0.0), volts(0.0))
    assert not same_answer(volts(0.0), volts(0.3))
    assert not same_answer(volts(12.0), OpenLine())


def test_a_sound_car_is_drawn_from_the_installation_alone() -> None:
    """Between 12 and 15 V with the engine running: common practice, no source."""
    diagnosis = Diagnosis.open(
        installation=Installation(), complaint=Complaint(symptom="protects"), worlds=500
    )
    first = sound_expectation(diagnosis, "battery_engine_running")
    assert first.low is not None
    assert first.high is not None
    assert 12.0 < first.low < first.high < 15.5
    diagnosis.observe("battery_engine_running", volts(17.0))
    assert sound_expectation(diagnosis, "battery_engine_running") == first
    lights = dict(sound_expectation(diagnosis, "protect_light").states)
    assert lights["off"] > 0.9
