from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.practice.meter import Meter, draw_meter


def meter(**other: float) -> Meter:
    usual = {"gain": 1.0, "ac_gain": 1.0, "leads": 0.2, "beeps_under": 50.0}
    return Meter(**{**usual, **other}, says_millivolts=False)


@pytest.mark.parametrize(
    ("volts", "off"),
    # Source: meter arithmetic 0.5 % + 2 counts at 0.01 V: 12.60 +-0.083, 14.40 +-0.092.
    [(12.60, 0.083), (14.40, 0.092)],
)
def test_voltage_stays_within_the_published_accuracy(volts: float, off: float) -> None:
    rng = np.random.default_rng(3)
    shown = [draw_meter(rng).volts(rng, [volts]) for _ in range(400)]
    errors = [abs(reading["value"] - volts) for reading in shown if reading["unit"] == "V"]
    assert len(errors) == 400
    # The display rounds to 0.01 V, so half a count may come on top.
    assert max(errors) <= off + 0.005
    assert max(errors) > 0.4 * off


def test_small_voltage_is_shown_in_millivolts_by_some() -> None:
    rng = np.random.default_rng(1)
    says = Meter(gain=1.0, ac_gain=1.0, leads=0.2, beeps_under=50.0, says_millivolts=True)
    reading = says.volts(rng, [0.1508])
    assert reading["unit"] == "mV"
    assert reading["value"] == pytest.approx(150.8, abs=0.3)


def test_resistance_is_rounded_as_displayed_and_open_line_is_said() -> None:
    rng = np.random.default_rng(1)
    reading = meter().ohms(rng, [3.61])
    assert reading["unit"] == "ohm"
    assert reading["value"] == pytest.approx(3.6, abs=0.3)
    assert reading["value"] == round(reading["value"], 1)
    assert meter().ohms(rng, [None]) == {"open_line": True}
    assert meter().ohms(rng, [4.72e3])["unit"] == "kohm"


def test_a_jumping_value_is_said_to_jump() -> None:
    rng = np.random.default_rng(1)
    jumps = meter().ohms(rng, [1.2, 9.0])
    assert jumps["unstable"] is True
    assert jumps["low"] < 2
    assert jumps["high"] > 8
    assert meter().volts(rng, [12.1, 8.0])["unstable"] is True
    assert "value" in meter().volts(rng, [12.1, 12.12])


@pytest.mark.parametrize(("ohms", "heard"), [(0.3, True), (29.0, True), (101.0, False)])
def test_beeper(ohms: float, heard: bool) -> None:
    # Source: five makers' manuals put the threshold at 30, 50, 50, 70 and 100 ohm.
    for seed in range(30):
        drawn = draw_meter(np.random.default_rng(seed))
        assert drawn.beep([ohms]) == {"beep": heard}


@given(st.floats(-30, 30), st.integers(0, 2**20))
def test_any_voltage_gives_a_finite_reading(volts: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    reading = draw_meter(rng).volts(rng, [volts])
    scale = 1e-3 if reading["unit"] == "mV" else 1.0
    assert abs(reading["value"] * scale - volts) <= 0.006 * abs(volts) + 0.026
