from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.electrics import loads
from assistant.electrics.loads import parallel, series
from assistant.electrics.meter import through_leads
from assistant.errors import GivenError


@pytest.mark.parametrize(
    ("network", "ohms"),
    [
        (parallel(4, 4), 2.0),
        (parallel(4, 4, 4, 4), 1.0),
        (parallel(series(4, 4), series(4, 4)), 4.0),
        (parallel(2, 2), 1.0),
        (parallel(8, 4), 2.6667),
        (parallel(8, 8, 8), 2.6667),
    ],
)
def test_networks(network: float, ohms: float) -> None:
    # Circuit law: 1/R adds in parallel, R in series.
    assert network == pytest.approx(ohms, abs=5e-5)


def test_bridged_sides_see_half() -> None:
    assert loads.bridged_side_load(4.0) == 2.0  # circuit law, by symmetry


@pytest.mark.parametrize(("nominal", "least"), [(2, 1.6), (4, 3.2), (8, 6.4)])
def test_rated_impedance(nominal: float, least: float) -> None:
    # Visaton dictionary (IEC 60268-5): the modulus never falls below 80 % of the nominal.
    assert loads.least_impedance(nominal) == pytest.approx(least)


@pytest.mark.parametrize(
    ("nominal", "low", "high"), [(4, 2.1, 4.0), (8, 5.1, 8.0), (16, 11.0, 16.0)]
)
def test_coil_bands(nominal: float, low: float, high: float) -> None:
    # Eminence, questions and answers: direct current resistance by nominal impedance.
    assert loads.coil_resistance_band(nominal) == (pytest.approx(low), pytest.approx(high))


@pytest.mark.parametrize("reading", [3.5, 3.8, 4.2])
def test_good_4_ohm_speakers(reading: float) -> None:
    # Common practice, no source: 3.5, 3.8 or 4.2 ohm on a 4 ohm speaker is good. Meter leads of
    # 0.1 to 0.5 ohm (Fluke 187/189 manual; a meter guide) are in the reading.
    low, high = loads.coil_resistance_band(4.0)
    assert through_leads(low, 0.1) <= reading <= through_leads(high, 0.5)


def test_typical_coil_share_lies_within_the_band() -> None:
    # Texts on Thiele and Small, from memory: coil over nominal 0.65 to 0.85.
    low, high = loads.coil_resistance_band([4.0, 6.0])
    assert (low <= np.array([4.0, 6.0]) * loads.COIL_SHARE_TYPICAL[0]).all()
    assert (high >= np.array([4.0, 6.0]) * loads.COIL_SHARE_TYPICAL[1]).all()


@settings(deadline=None)
@given(st.floats(0.5, 32), st.floats(0.01, 8))
def test_the_band_moves_with_the_nominal(nominal: float, more: float) -> None:
    low, high = loads.coil_resistance_band([nominal, nominal + more])
    assert (low < high).all()
    assert low[0] < low[1]
    assert high[0] < high[1]


@pytest.mark.parametrize(
    ("efficiency", "full", "eighth"),
    [(0.60, 57.87, 7.23), (0.85, 40.85, 5.11), (0.90, 38.58, 4.82)],
)
def test_current_draw(efficiency: float, full: float, eighth: float) -> None:
    # 500 W out at 14.4 V, power over efficiency and voltage; 1/8 power as in IEC 60065.
    assert loads.current_draw(500.0, 14.4, efficiency) == pytest.approx(full, abs=5e-3)
    mean = 500.0 * loads.power_share(loads.HEADROOM_DB["eighth"])
    assert loads.current_draw(mean, 14.4, efficiency) == pytest.approx(eighth, abs=5e-3)


def test_headroom() -> None:
    # Two professional amplifier manuals: 1/8 is 9.03 dB (IEC 60065), 1/3 4.77 dB (FTC).
    assert loads.HEADROOM_DB["eighth"] == pytest.approx(9.03, abs=5e-3)
    assert loads.HEADROOM_DB["third"] == pytest.approx(4.77, abs=5e-3)
    assert loads.power_share(loads.HEADROOM_DB["third"]) == pytest.approx(1 / 3)


def test_class_limits() -> None:
    # Stereophile: A 25 %, B at most 78.5 %, some 50 % in practice. ST TDA7492P: D 90 %.
    assert loads.class_efficiency("A") == 0.25
    assert loads.class_b_efficiency(1.0) == pytest.approx(0.785, abs=5e-4)
    assert 0.5 <= loads.class_efficiency("ab") <= loads.class_b_efficiency(1.0)
    assert loads.class_efficiency("D") == 0.90


def test_bridge_power() -> None:
    # NXP TFA9810 data sheet formula: ideal 14.4 V into 4 ohm is 25.92 W, 1.25 times at 10 %.
    assert loads.btl_power(14.4, 4.0) == pytest.approx(25.92)
    assert loads.btl_power(14.4, 4.0, clipped=True) == pytest.approx(32.4)
    lossy = loads.btl_power(14.4, 4.0, switch_ohm=0.2, series_ohm=0.05)
    assert lossy == pytest.approx((4 * 14.4 / 4.5) ** 2 / 8)


def test_worlds_keep_their_shape() -> None:
    worlds = np.linspace(1, 8, 5)
    assert loads.current_draw(500.0, 14.4, worlds / 10).shape == (5,)
    assert series(worlds, 4.0).shape == (5,)
    assert np.isinf(series(worlds, np.inf)).all()


@pytest.mark.parametrize(
    "call",
    [
        series,
        lambda: series(-1.0),
        lambda: loads.class_efficiency("Q"),
        lambda: loads.current_draw(500.0, 0.0, 0.9),
        lambda: loads.current_draw(500.0, 14.4, 1.2),
        lambda: loads.btl_power(14.4, 0.0),
        lambda: loads.coil_resistance_band(0.0),
        lambda: loads.power_share(-3.0),
    ],
)
def test_the_impossible_is_refused(call: object) -> None:
    with pytest.raises(GivenError):
        call()  # type: ignore[operator]
