"""Joining the ear's phrases with what is expected."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.readings import grammar_graph
from assistant.readings.fusion import (
    Accept,
    Command,
    Confirm,
    Contrast,
    FusionSettings,
    Hypothesis,
    Reject,
    decide,
    likely_twin,
    probe_readings,
)
from assistant.readings.reading import (
    SEEN_ANSWERS,
    Beep,
    OpenLine,
    Quantity,
    Reading,
    Seen,
    Unstable,
    Value,
    base_unit,
)

Weigh = Callable[[Sequence[Reading]], list[float]]


def volts(number: float) -> Value:
    return Value(value=number, unit="V")


def expecting(middle: float, spread: float = 0.3, floor: float = 1e-3) -> Weigh:
    """A bell about ``middle`` with a floor for slips, as a belief gives it."""

    def weigh(readings: Sequence[Reading]) -> list[float]:
        return [
            floor + math.exp(-0.5 * ((r.si - middle) / spread) ** 2) / spread
            if isinstance(r, Value)
            else 0.1
            for r in readings
        ]

    return weigh


def flat(readings: Sequence[Reading]) -> list[float]:
    return [0.1 for _ in readings]


def heard(*phrases: tuple[str, float]) -> list[Hypothesis]:
    return [Hypothesis(text=text, score=score) for text, score in phrases]


def choose(
    phrases: list[Hypothesis],
    weigh: Weigh = flat,
    *,
    quantity: Quantity | None = "dc_voltage",
    changes: bool = True,
    settings: FusionSettings | None = None,
) -> object:
    return decide(
        phrases,
        quantity=quantity,
        weigh=weigh,
        would_change=lambda one, two: changes and one != two,
        settings=settings,
    )


def test_a_clear_and_expected_reading_is_taken_and_read_back() -> None:
    assert choose(heard(("twelve point six volts", -10)), expecting(12.6)) == Accept(
        reading=volts(12.6), say="twelve point six volts"
    )


def test_the_vehicle_state_that_was_said_comes_along() -> None:
    found = choose(heard(("twelve point six key on", 0)), expecting(12.6))
    assert isinstance(found, Accept)
    assert found.vehicle == "accessory"


def test_close_teens_and_tens_are_settled_by_the_belief_when_it_is_far_ahead() -> None:
    phrases = heard(("fifty", -10.0), ("fifteen", -11.0))
    found = choose(phrases, expecting(15.0, floor=1e-6))
    assert found == Accept(reading=volts(15), say="fifteen volts")


def test_close_teens_and_tens_are_contrasted_when_the_belief_does_not_know() -> None:
    found = choose(heard(("fifteen", -10.0), ("fifty", -10.5)))
    assert found == Contrast(
        first=volts(15), second=volts(50), say="fifteen, one five, or fifty, five zero?"
    )


def test_the_belief_that_favours_little_settles_nothing() -> None:
    def weigh(readings: Sequence[Reading]) -> list[float]:
        return [0.3 if r == volts(15) else 0.1 for r in readings]

    assert isinstance(choose(heard(("fifteen", 0), ("fifty", -1)), weigh), Contrast)


def test_a_settled_reading_that_changes_the_next_check_is_asked_unless_far_ahead() -> None:
    def weigh(readings: Sequence[Reading]) -> list[float]:
        return [3.0 if r == volts(15) else 0.1 for r in readings]

    phrases = heard(("fifteen", 0), ("fifty", -1))
    asked = choose(phrases, weigh)
    assert isinstance(asked, Confirm)
    assert asked.reading == volts(15)
    assert asked.say == "fifteen volts, is that right?"
    assert isinstance(choose(phrases, weigh, changes=False), Accept)


def test_the_belief_never_overrides_a_clear_phrase() -> None:
    # the ear is far ahead with fifty; fifteen is what was expected
    found = choose(heard(("fifty", 0), ("fifteen", -20)), expecting(15.0, floor=1e-6))
    assert isinstance(found, Contrast)
    assert found.first == volts(50)
    found = choose(heard(("twelve point six", 0), ("two point six", -20)), expecting(2.6))
    assert isinstance(found, Confirm)
    assert found.reading == volts(12.6)


def test_a_surprising_reading_is_confirmed_by_its_digits() -> None:
    found = choose(heard(("seven point two volts", 0)), expecting(12.6))
    assert found == Confirm(
        reading=volts(7.2), say="seven point two volts, is that right?", surprising=True
    )
    found = choose(heard(("eleven point two five", 0)), expecting(3.0))
    assert isinstance(found, Confirm)
    assert found.say == "one one point two five volts, is that right?"


def test_a_surprising_reading_with_a_likely_twin_is_set_off_against_it() -> None:
    found = choose(heard(("thirty point eight", 0)), expecting(13.8))
    assert found == Contrast(
        first=volts(30.8),
        second=volts(13.8),
        say="thirty point eight, three zero point eight, or thirteen point eight, "
        "one three point eight?",
    )


def test_moderately_clear_but_unlikely_is_asked_when_it_matters() -> None:
    phrases = heard(("twelve", 0), ("eleven", -5))
    weigh = expecting(11.0, spread=0.4)
    asked = choose(phrases, weigh)
    assert isinstance(asked, Confirm)
    assert asked.reading == volts(12)
    assert isinstance(choose(phrases, weigh, changes=False), Accept)
    assert isinstance(choose(heard(("twelve", 0), ("eleven", -9)), weigh), Accept)


def test_words_that_leave_the_number_open_are_always_asked_back() -> None:
    likely = choose(heard(("twelve six", 0)), expecting(12.6))
    assert isinstance(likely, Confirm)
    assert likely.reading == volts(12.6)
    unknown = choose(heard(("twelve six", 0)))
    assert isinstance(unknown, Contrast)
    assert unknown.say == "twelve point six, or one hundred twenty six?"
    settled = choose(heard(("twelve sixty five millivolts", 0)), expecting(1.265, floor=1e-9))
    assert isinstance(settled, Confirm)


def test_phrases_of_the_same_value_do_not_compete() -> None:
    found = choose(
        heard(
            ("twelve point six volt", 0),
            ("twelve point six volts", -0.1),
            ("one two point six", -1),
        ),
        expecting(12.6),
    )
    assert isinstance(found, Accept)


@pytest.mark.parametrize("text", ["the weather is fine", "twelve point", "", "thirty of them"])
def test_what_does_not_parse_is_no_reading(text: str) -> None:
    found = choose(heard((text, 0)), expecting(12.6))
    assert isinstance(found, Reject)
    assert found.reason == "nothing"


def test_an_unparsed_phrase_that_is_clearly_ahead_refuses_the_rest() -> None:
    phrases = heard(("nine lives", 0), ("nine", -4.6))
    assert isinstance(choose(phrases, expecting(9.0)), Reject)
    for near in (
        heard(("nine lives", 0), ("nine", -4.4)),
        heard(("nine", 0), ("nine lives", -2.9)),
    ):
        decision = choose(near, expecting(9.0))
        assert isinstance(decision, Confirm)
        assert not decision.surprising
    far = heard(("nine", 0), ("nine lives", -3.1))
    assert isinstance(choose(far, expecting(9.0)), Accept)


def test_a_wrong_unit_is_refused_with_what_was_expected() -> None:
    found = choose(heard(("three point six ohms", 0)), expecting(12.6))
    assert isinstance(found, Reject)
    assert found.reason == "wrong_unit"
    assert "volts" in found.say


def test_two_readings_at_once_are_refused() -> None:
    found = choose(heard(("twelve key on eight running", 0)))
    assert isinstance(found, Reject)
    assert found.reason == "several"


def test_commands() -> None:
    assert choose(heard(("say again", 0))) == Command(command="repeat")
    assert choose(heard(("undo", 0), ("two", -1))) == Reject(
        reason="unclear", say="I did not get that. Please say it again."
    )
    assert choose(heard(("repeat", 0), ("three", -1))) == Command(command="repeat")
    assert isinstance(choose(heard(("two", 0), ("undo", -1)), expecting(2.0)), Confirm)
    assert isinstance(choose(heard(("yes", 0), ("no", -2)), quantity=None), Reject)


def test_a_command_that_other_words_come_near_is_only_taken_where_it_does_no_harm() -> None:
    near = ("[other words]", -1)
    assert choose(heard(("repeat", 0), near)) == Command(command="repeat")
    assert isinstance(choose(heard(("undo", 0), near)), Reject)
    assert choose(heard(("undo", 0), ("[other words]", -4))) == Command(command="undo")


def test_a_command_behind_other_words_is_never_taken() -> None:
    assert isinstance(choose(heard(("[other words]", 0), ("repeat", -1))), Reject)


def test_what_the_belief_settles_is_asked_where_other_words_come_near() -> None:
    phrases = heard(("fifty", -10.0), ("fifteen", -11.0))
    weigh = expecting(15.0, floor=1e-6)
    for far in (-9.0, -12.9):
        found = choose([*phrases, *heard(("[other words]", far))], weigh)
        assert isinstance(found, Confirm)
        assert found.reading == volts(15)
    assert isinstance(choose([*phrases, *heard(("[other words]", -13.1))], weigh), Accept)


def test_corrections_are_marked() -> None:
    found = choose(heard(("no twelve point eight", 0)), expecting(12.8))
    assert isinstance(found, Accept)
    assert found.corrects


def test_seen_answers_and_beeps() -> None:
    def weigh(readings: Sequence[Reading]) -> list[float]:
        return [0.9 if r == Seen(state="lit") else 0.05 for r in readings]

    assert choose(heard(("blinking", 0)), weigh, quantity="light") == Accept(
        reading=Seen(state="blinking"), say="blinking"
    )
    assert choose(heard(("no beep", 0)), quantity="continuity") == Accept(
        reading=Beep(heard=False), say="no beep"
    )
    assert choose(heard(("open line", 0)), quantity="resistance") == Accept(
        reading=OpenLine(), say="open line"
    )
    assert choose(heard(("jumping around", 0)), quantity="resistance") == Accept(
        reading=Unstable(), say="jumping around"
    )


def test_margins_are_settings() -> None:
    phrases = heard(("twelve", 0), ("eleven", -5))
    strict = FusionSettings(margin=6.0)
    assert isinstance(choose(phrases), Accept)
    assert isinstance(choose(phrases, settings=strict), Contrast)


@pytest.mark.parametrize(
    ("number", "twin"),
    [(13, 30), (15, 50), (19, 90), (30, 13), (90, 19), (113, 130), (13.8, 30.8), (-14, -40)],
)
def test_twins(number: float, twin: float) -> None:
    # -teen and -ty words of CMUdict differ in the last sound and the stress only
    assert likely_twin(volts(number)) == volts(twin)


@pytest.mark.parametrize("number", [0, 2, 12, 20, 21, 45, 100, 112, 12.6])
def test_most_numbers_have_no_twin(number: float) -> None:
    assert likely_twin(volts(number)) is None
    assert likely_twin(OpenLine()) is None


@pytest.mark.parametrize(
    "quantity",
    ["dc_voltage", "ac_voltage", "resistance", "continuity", "dc_current", *SEEN_ANSWERS],
)
def test_probes_fit_their_quantity(quantity: Quantity) -> None:
    for probe in probe_readings(quantity):
        if isinstance(probe, Value):
            assert probe.unit == base_unit(quantity)
        else:
            assert isinstance(probe, Seen)
            assert probe.state in SEEN_ANSWERS[quantity]


WORDS = st.lists(st.sampled_from(sorted(grammar_graph("volts").words)), max_size=5).map(" ".join)


@given(
    st.lists(st.tuples(WORDS, st.floats(-200, 0)), max_size=5),
    st.lists(st.floats(0, 10) | st.just(math.inf) | st.just(math.nan), min_size=1, max_size=7),
    st.booleans(),
)
def test_any_phrases_and_any_belief_give_a_decision(
    phrases: list[tuple[str, float]], densities: list[float], changes: bool
) -> None:
    def weigh(readings: Sequence[Reading]) -> list[float]:
        return [densities[at % len(densities)] for at in range(len(readings))]

    found = choose(heard(*phrases), weigh, changes=changes)
    assert isinstance(found, Accept | Confirm | Contrast | Reject | Command)
    assert found == choose(heard(*phrases), weigh, changes=changes)


@given(st.floats(0.01, 16.0), st.floats(0.05, 3.0), st.floats(8.1, 50.0))
def test_a_clear_phrase_is_only_ever_taken_or_asked(
    middle: float, spread: float, margin: float
) -> None:
    found = choose(
        heard(("twelve point six", 0), ("two point six", -margin)), expecting(middle, spread)
    )
    assert isinstance(found, Accept | Confirm)
    assert found.reading == volts(12.6)
