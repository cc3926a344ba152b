"""Which answers fit which check, and how much chance each reading gets in a world."""

from __future__ import annotations

from typing import get_args

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from assistant.diagnosis.likelihood import SLIP, check_reading, edges_of, fit, on_scale
from assistant.electrics.responses import Predicted
from assistant.errors import GivenError
from assistant.readings.reading import (
    SEEN_ANSWERS,
    UNIT_FACTORS,
    Beep,
    OpenLine,
    Quantity,
    Reading,
    Seen,
    Unit,
    Unstable,
    Value,
    base_unit,
)

QUANTITIES: tuple[Quantity, ...] = get_args(Quantity)
METERED = [q for q in QUANTITIES if q not in SEEN_ANSWERS]
NUMBERED: list[Quantity] = ["dc_voltage", "ac_voltage", "resistance", "dc_current"]
UNITS: tuple[Unit, ...] = get_args(Unit)


def accepted(quantity: Quantity, reading: Reading) -> bool:
    try:
        check_reading(quantity, reading)
    except GivenError as refused:
        return not (refused.next_step and refused.message)
    return True


@pytest.mark.parametrize("quantity", QUANTITIES)
def test_each_kind_of_reading_fits_where_a_meter_can_show_it(quantity: Quantity) -> None:
    unit = base_unit(quantity)
    for given_unit in UNITS:
        fits = unit is not None and UNIT_FACTORS[given_unit][0] == unit
        assert accepted(quantity, Value(value=1.0, unit=given_unit)) == fits
        assert accepted(quantity, Unstable(low=1.0, high=2.0, unit=given_unit)) == fits
    assert accepted(quantity, Unstable()) == (unit is not None)
    for reading in (OpenLine(), Beep(heard=True), Beep(heard=False)):
        assert accepted(quantity, reading) == (unit == "ohm")
    every = {state for answers in SEEN_ANSWERS.values() for state in answers}
    for state in (*every, "purple", ""):
        assert accepted(quantity, Seen(state=state)) == (state in SEEN_ANSWERS.get(quantity, ()))


@pytest.mark.parametrize("quantity", METERED)
@pytest.mark.parametrize("number", [float("nan"), float("inf"), float("-inf")])
def test_a_number_that_is_none_is_refused(quantity: Quantity, number: float) -> None:
    unit = base_unit(quantity)
    assert unit
    assert not accepted(quantity, Value(value=number, unit=unit))


def test_units_convert_before_they_are_weighed() -> None:
    predicted = Predicted(value=np.array([0.05, 12.0, 3.0]))
    for quantity, small, large in (
        ("dc_voltage", Value(value=50.0, unit="mV"), Value(value=0.05, unit="V", places=3)),
        ("dc_current", Value(value=3000.0, unit="mA"), Value(value=3.0, unit="A")),
        ("resistance", Value(value=0.012, unit="kohm"), Value(value=12.0, unit="ohm")),
    ):
        one, other = fit(quantity, small, predicted), fit(quantity, large, predicted)  # type: ignore[arg-type]
        np.testing.assert_allclose(one.true, other.true, rtol=1e-9)


def test_a_small_voltage_counts_by_how_finely_it_was_said() -> None:
    """30 mV off the millivolt range can hardly have been 40 mV, 0.03 V may, 0.0 V says little."""
    predicted = Predicted(value=np.array([0.030, 0.040]))
    ratios = []
    for said in (
        Value(value=30.0, unit="mV"),
        Value(value=0.03, unit="V", places=2),
        Value(value=0.0, unit="V", places=1),
    ):
        near, off = fit("dc_voltage", said, predicted).true
        ratios.append(near / off)
    assert ratios[0] > 10.0
    assert 1.2 < ratios[1] < 2.0
    assert ratios[2] == pytest.approx(1.2, abs=0.2)


@pytest.mark.parametrize("quantity", NUMBERED)
@pytest.mark.parametrize("value", [0.05, 0.8, 3.9, 12.6, 150.0])
def test_the_density_of_readings_is_students(quantity: Quantity, value: float) -> None:
    """Student's t with 4 degrees of freedom on the scale of comparison (scipy as oracle)."""
    unit = base_unit(quantity)
    assert unit
    predicted = Predicted(value=np.array([value]))
    said = value * np.linspace(0.2, 3.0, 57)
    densities = [fit(quantity, Value(value=v, unit=unit), predicted).true[0] for v in said]
    top = fit(quantity, Value(value=value, unit=unit), predicted).true[0]
    middle = on_scale(quantity, np.array([value]))[0]
    student = stats.t(4, loc=middle, scale=stats.t(4).pdf(0.0) / top)
    np.testing.assert_allclose(densities, student.pdf(on_scale(quantity, said)), rtol=1e-6)


@given(st.sampled_from(NUMBERED), st.floats(1e-3, 1e3), st.floats(1e-3, 1e3))
def test_the_nearer_world_is_the_likelier(quantity: Quantity, one: float, two: float) -> None:
    unit = base_unit(quantity)
    assert unit
    predicted = Predicted(value=np.array([one, two]))
    at_one = fit(quantity, Value(value=one, unit=unit), predicted).true
    assert at_one[0] >= at_one[1] * 0.999 or abs(one - two) < 0.02 * one
    assert (at_one > 0.0).all()


@given(
    st.sampled_from(METERED),
    st.lists(st.one_of(st.floats(-50, 1e6), st.just(np.inf)), min_size=1, max_size=6),
    st.floats(-1e12, 1e12),
)
@settings(max_examples=200)
def test_no_reading_has_no_chance_at_all(
    quantity: Quantity, values: list[float], said: float
) -> None:
    unit = base_unit(quantity)
    assert unit
    array = np.array(values)
    array = np.abs(array) if unit == "ohm" else np.where(np.isfinite(array), array, 0.0)
    predicted = Predicted(value=array)
    readings: list[Reading] = [Value(value=said, unit=unit), Unstable()]
    if unit == "ohm":
        readings += [OpenLine(), Beep(heard=True), Beep(heard=False)]
    for reading in readings:
        mixed = fit(quantity, reading, predicted).mixed(SLIP)
        assert (mixed > 0.0).all()
        assert np.isfinite(mixed).all()


def test_a_jumping_reading_speaks_for_a_contact_that_comes_and_goes() -> None:
    predicted = Predicted(
        value=np.array([3.2, 12.6, 3.2]), other=np.array([12.4, 12.6, 3.2]),
        jumps=np.array([True, False, False]),
    )  # fmt: skip
    found = fit("dc_voltage", Unstable(low=3.0, high=12.0, unit="V"), predicted).mixed(SLIP)
    assert found[0] > 10 * found[1]
    assert found[0] > 10 * found[2]
    # Without its ends a jumping reading says nothing between worlds that stand still.
    bare = fit("dc_voltage", Unstable(), predicted).mixed(SLIP)
    assert bare[0] > 10 * bare[1]
    assert bare[1] == bare[2]
    # The ends tell between contacts: those that were told lie near the first world's states.
    ends = Predicted(
        value=np.array([3.2, 11.0]), other=np.array([12.4, 12.4]), jumps=np.array([True, True])
    )
    near = fit("dc_voltage", Unstable(low=3.0, high=12.0, unit="V"), ends).mixed(SLIP)
    assert near[0] > 3 * near[1]
    # A steady reading may be either of the two states, and is less likely than in a steady world.
    for volts in (3.2, 12.4):
        steady = fit("dc_voltage", Value(value=volts, unit="V"), predicted).true
        best = fit("dc_voltage", Value(value=volts, unit="V"), Predicted(value=np.array([volts])))
        assert 0.05 * best.true[0] < steady[0] < best.true[0]


def test_what_is_seen_may_be_either_state_of_a_loose_contact() -> None:
    predicted = Predicted(value=np.array([0.0]), other=np.array([1.0]), jumps=np.array([True]))
    chances = [fit("light", Seen(state=s), predicted).true[0] for s in SEEN_ANSWERS["light"]]
    assert sum(chances) == pytest.approx(1.0)
    assert chances[0] > 0.3
    assert chances[1] > 0.3


def test_a_state_that_lasts_may_be_either_but_does_not_jump() -> None:
    """An amplifier that heat has tripped: 20 A at one check, 0.3 A a few minutes later."""
    predicted = Predicted(
        value=np.array([20.0, 20.0]), other=np.array([0.3, 0.3]),
        jumps=np.array([True, True]), lasts=np.array([True, False]),
    )  # fmt: skip
    for amps in (20.0, 0.3):
        said = Value(value=amps, unit="A")
        lasting, jumping = fit("dc_current", said, predicted).true
        best = fit("dc_current", said, Predicted(value=np.array([amps]))).true[0]
        assert lasting == pytest.approx(0.5 * best, rel=1e-6)
        assert jumping < lasting
    lasting, jumping = fit("dc_current", Unstable(), predicted).true
    assert jumping > 10 * lasting


def test_open_line_speaks_for_an_open_circuit() -> None:
    predicted = Predicted(value=np.array([np.inf, 4.0, 30_000.0, 5e7]))
    found = fit("resistance", OpenLine(), predicted).mixed(SLIP)
    assert found[0] > 50 * found[1]
    assert found[0] > 20 * found[2]
    assert found[3] > 0.5 * found[0]
    many = fit("resistance", Value(value=40.0, unit="Mohm"), predicted).mixed(SLIP)
    assert many.argmax() in {0, 3}


def test_a_beep_does_not_prove_a_good_wire() -> None:
    # Five meters beep below 30 to 100 ohm (their manuals).
    predicted = Predicted(value=np.array([0.2, 20.0, 60.0, 400.0, np.inf]))
    heard = fit("continuity", Beep(heard=True), predicted).mixed(SLIP)
    assert heard[1] == pytest.approx(heard[0], rel=0.1)
    assert heard[0] > heard[2] > heard[3] > 0.0
    silent = fit("continuity", Beep(heard=False), predicted).mixed(SLIP)
    np.testing.assert_allclose(heard + silent, 1.0, atol=1e-9)


@pytest.mark.parametrize("quantity", NUMBERED)
def test_bins_rise_and_fit_the_room(quantity: Quantity) -> None:
    edges = edges_of(quantity)
    assert (np.diff(edges) > 0).all()
    # Numbers, then open line, then jumping.
    assert len(edges) + 1 <= 30
