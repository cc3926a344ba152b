from __future__ import annotations

import numpy as np
import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.electrics import battery
from assistant.errors import GivenError

UNITS = pint.UnitRegistry()


def celsius(fahrenheit: float) -> float:
    return float(UNITS.Quantity(fahrenheit, "degF").to("degC").magnitude)


# Rest voltage and acid density at 80 degF: table credited to the Battery Council International.
REST = [
    (1.00, 12.65, 1.265),
    (0.75, 12.45, 1.225),
    (0.50, 12.24, 1.190),
    (0.25, 12.06, 1.155),
    (0.00, 11.89, 1.120),
]


@pytest.mark.parametrize(("charge", "volts", "density"), REST)
def test_rest_voltage(charge: float, volts: float, density: float) -> None:
    ours = battery.open_circuit_voltage(charge, celsius(80))
    assert ours == pytest.approx(volts, abs=1e-9)
    assert battery.state_of_charge(volts, celsius(80)) == pytest.approx(charge, abs=1e-9)
    # Acid density plus 0.84 V a cell: a rule of common practice, no source; good to 0.15 V.
    assert ours == pytest.approx(6 * (density + 0.84), abs=0.15)


def test_cold_lowers_rest_voltage() -> None:
    # A battery maker's page: 0.024 V per 10 degF from 80 degF, so -0.192 V at 0 degF.
    warm, cold = battery.open_circuit_voltage(1.0, [celsius(80), celsius(0)])
    assert cold - warm == pytest.approx(-0.192, abs=1e-9)
    slope = UNITS.Quantity(0.024, "V") / UNITS.Quantity(10, "delta_degF")
    step = battery.open_circuit_voltage(0.5, 21.0) - battery.open_circuit_voltage(0.5, 20.0)
    assert step == pytest.approx(slope.to("V/delta_degC").magnitude, rel=1e-9)


@settings(deadline=None)
@given(st.floats(0, 1), st.floats(-40, 60))
def test_charge_comes_back(charge: float, temperature: float) -> None:
    volts = battery.open_circuit_voltage(charge, temperature)
    assert battery.state_of_charge(volts, temperature) == pytest.approx(charge, abs=1e-9)


def test_charge_is_held_at_the_ends() -> None:
    assert (battery.state_of_charge([0.0, 13.2]) == [0.0, 1.0]).all()


@pytest.mark.parametrize(
    ("temperature", "volts"),
    [(30, 9.6), (20, 9.6), (16, 9.5), (10, 9.4), (4, 9.3), (-1, 9.1), (-7, 8.9), (-12, 8.7),
     (-18, 8.5)],
)  # fmt: skip
def test_load_test_limit(temperature: float, volts: float) -> None:
    # Half the CCA for 15 s: service manuals of Kia and Hyundai.
    assert battery.load_test_limit_v(temperature) == pytest.approx(volts, abs=1e-9)


@pytest.mark.parametrize(
    ("temperature", "volts", "within"),
    [(celsius(70), 9.6, 0.01), (-10.0, 8.8, 0.05), (20, 9.7, 0.11)],
)
def test_load_test_of_other_makers(temperature: float, volts: float, within: float) -> None:
    # Suzuki manual: 9.6 V at 70 degF, 8.8 V at -10 degC. MINI manual: 9.7 V.
    assert battery.load_test_limit_v(temperature) == pytest.approx(volts, abs=within)


@pytest.mark.parametrize("cca", [320.0, 600.0, 850.0])
def test_cca_by_its_definition(cca: float) -> None:
    # SAE J537 as GM manuals quote it: 30 s at 0 degF, 7.2 V or more.
    cold = celsius(0)
    inner = battery.inner_resistance_from_cca(cca, cold)
    volts = battery.open_circuit_voltage(1.0, cold) - cca * inner
    assert volts == pytest.approx(7.2, abs=1e-9)


def test_a_battery_that_holds_its_cca_passes_every_load_test() -> None:
    # The load test of the Kia and Hyundai manuals must not fail what SAE J537 passes.
    temperature = np.array([-18.0, -12, -7, -1, 4, 10, 16, 20, 30])
    inner = battery.inner_resistance_from_cca(600.0, temperature)
    volts = battery.load_test_voltage(600.0, inner, 1.0, temperature)
    assert (volts >= battery.load_test_limit_v(temperature)).all()


def test_the_usual_weak_battery_fails_it_and_the_usual_good_one_does_not() -> None:
    limit = battery.load_test_limit_v(25.0)
    assert battery.load_test_voltage(600.0, battery.WEAK_RESISTANCE.median) < limit
    assert battery.load_test_voltage(600.0, battery.HEALTHY_RESISTANCE.median) > limit


def test_warm_resistance_agrees_with_a_good_battery() -> None:
    # 5 milliohm for a good car battery is common practice, no source.
    warm = battery.inner_resistance_from_cca(600.0, 25.0)
    assert 0.003 < warm < 0.007


@settings(deadline=None)
@given(st.floats(-40, 60), st.floats(0.1, 20), st.floats(0, 0.9), st.floats(0.01, 0.1))
def test_cold_and_discharge_raise_inner_resistance(
    temperature: float, warmer: float, charge: float, more: float
) -> None:
    colder = battery.temperature_resistance_factor(temperature)
    assert battery.temperature_resistance_factor(temperature + warmer) <= colder
    assert battery.charge_factor(charge + more) < battery.charge_factor(charge)


def test_spread_has_its_median_and_sigma() -> None:
    spread = battery.LogSpread(median=0.005, log_sigma=0.3)
    ohms = spread.from_normal([-1.0, 0.0, 1.0])
    assert ohms[1] == pytest.approx(0.005)
    assert np.diff(np.log(ohms)) == pytest.approx([0.3, 0.3])


@pytest.mark.parametrize(
    "call",
    [
        lambda: battery.open_circuit_voltage(1.2),
        lambda: battery.open_circuit_voltage(0.5, 300.0),
        lambda: battery.state_of_charge(-1.0),
        lambda: battery.inner_resistance_from_cca(0.0),
        lambda: battery.load_test_voltage(600.0, -0.01),
        lambda: battery.LogSpread(median=1.0, log_sigma=1.0).from_normal(np.nan),
    ],
)
def test_the_impossible_is_refused(call: object) -> None:
    with pytest.raises(GivenError):
        call()  # type: ignore[operator]
