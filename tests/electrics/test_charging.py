from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.electrics import charging
from assistant.errors import GivenError


def test_set_point_of_a_service_manual() -> None:
    # Hyundai Kona 2021 service manual, internal mode: 14.55 +-0.3 V, -3.5 +-2 mV/degC.
    assert charging.set_point_v(25.0) == pytest.approx(14.55)
    low, high = charging.set_point_band_v(25.0)
    assert (low, high) == (pytest.approx(14.25), pytest.approx(14.85))
    step = charging.set_point_v(65.0) - charging.set_point_v(64.0)
    assert step == pytest.approx(-3.5e-3, rel=1e-9)
    # 40 degC above: the middle 0.14 V lower, the band 2 mV/degC wider on each side.
    low, high = charging.set_point_band_v(65.0)
    assert (low, high) == (pytest.approx(14.41 - 0.38), pytest.approx(14.41 + 0.38))


def test_warm_set_point_is_in_the_range_of_general_training() -> None:
    # BMW training page: a regulator holds 13.5 to 14.5 V; so does ours once it is warm.
    assert 13.5 <= charging.set_point_v(60.0) <= 14.5


def test_slope_can_be_another_makers() -> None:
    # Bosch Handbook, from memory: about -10 mV/K.
    volts = charging.set_point_v([25.0, 35.0], nominal_v=14.4, slope_v_per_c=-0.010)
    assert np.diff(volts) == pytest.approx([-0.10])


@settings(deadline=None)
@given(st.floats(-40, 120), st.floats(0.1, 30))
def test_hotter_charges_lower(temperature: float, more: float) -> None:
    volts = charging.set_point_v([temperature, temperature + more])
    assert volts[1] < volts[0]
    low, high = charging.set_point_band_v(temperature)
    assert low < volts[0] < high


def test_too_high_while_running_is_outside_the_band() -> None:
    # Common practice, no source: 16 V or more with the engine running points at the regulator.
    _, high = charging.set_point_band_v(np.linspace(-20, 100, 13))
    assert (high < 16.0).all()


@pytest.mark.parametrize(
    "call",
    [
        lambda: charging.set_point_v(500.0),
        lambda: charging.set_point_v(25.0, nominal_v=-1.0),
        lambda: charging.set_point_v(np.nan),
    ],
)
def test_the_impossible_is_refused(call: object) -> None:
    with pytest.raises(GivenError):
        call()  # type: ignore[operator]
