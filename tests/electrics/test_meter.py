from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.electrics import meter
from assistant.errors import GivenError


@pytest.mark.parametrize(
    ("reading", "percent", "counts", "digit", "half"),
    [
        # Four pages of meter makers on accuracy, percent of reading plus counts.
        (100.0, 1.0, 2, 0.1, 1.2),
        (1.755, 0.5, 1, 0.001, 0.009775),
        (2.000, 0.08, 2, 0.001, 0.0036),
        (2.000, 0.5, 3, 0.001, 0.013),
        # Worked the same way for a battery and a charging voltage.
        (12.60, 0.5, 2, 0.01, 0.083),
        (14.40, 0.5, 2, 0.01, 0.092),
    ],
)
def test_accuracy(reading: float, percent: float, counts: int, digit: float, half: float) -> None:
    assert meter.accuracy(reading, percent, counts, digit) == pytest.approx(half, rel=1e-9)


def test_accuracy_band_ends() -> None:
    # 100.0, 1 % + 2: 98.8 to 101.2 (one maker's page prints 99.8 in error); 1.996 to 2.004.
    half = meter.accuracy(100.0, 1.0, 2, 0.1)
    assert (100.0 - half, 100.0 + half) == (pytest.approx(98.8), pytest.approx(101.2))
    fine = meter.accuracy(2.0, 0.08, 2, 0.001)
    assert round(2.0 - float(fine), 3) == 1.996
    assert round(2.0 + float(fine), 3) == 2.004
    assert round(float(meter.accuracy(1.755, 0.5, 1, 0.001)), 3) == 0.010


def test_typical_meter_has_the_worked_accuracy() -> None:
    percent, counts, _ = meter.TYPICAL_METER.terms("dc_voltage")
    digit = meter.resolution([12.6, 14.4], "dc_voltage")
    assert meter.accuracy([12.6, 14.4], percent, counts, digit) == pytest.approx([0.083, 0.092])


def test_last_digit_follows_the_range() -> None:
    # A 6000-count display shows 599.9 in one range and 600 in the next.
    volts = np.array([0.0, 0.5999, 0.6001, 5.999, 12.6, 60.1])
    assert meter.resolution(volts, "dc_voltage") == pytest.approx(
        [1e-4, 1e-4, 1e-3, 1e-3, 1e-2, 0.1]
    )
    assert meter.display([12.6049, -0.12344], "dc_voltage") == pytest.approx([12.60, -0.1234])
    assert meter.display([4.04, 1500.0], "resistance") == pytest.approx([4.0, 1500.0])


@settings(deadline=None)
@given(st.floats(-60, 60))
def test_display_is_within_half_a_digit(volts: float) -> None:
    digit = float(meter.resolution(volts, "dc_voltage"))
    assert abs(float(meter.display(volts, "dc_voltage")) - volts) <= 0.5 * digit * (1 + 1e-6)


@settings(deadline=None)
@given(st.floats(0, 1e6), st.sampled_from(["dc_voltage", "ac_voltage", "resistance", "dc_current"]))
def test_sigma_is_about_half_the_band(value: float, quantity: str) -> None:
    percent, counts, _ = meter.TYPICAL_METER.terms(quantity)
    digit = meter.resolution(value, quantity)
    half = float(meter.accuracy(value, percent, counts, digit))
    leads = meter.TYPICAL_METER.lead_sigma_ohm if quantity == "resistance" else 0.0
    sigma = float(meter.reading_sigma(value, quantity))  # type: ignore[arg-type]
    assert sigma >= half / 2
    assert sigma <= half / 2 + float(digit) + leads


def test_low_ohms_are_as_unsure_as_the_leads() -> None:
    # Fluke 187/189 manual: 0.1-0.2 ohm of leads; a meter guide: 0.2-0.5 ohm.
    low, high = meter.LEAD_OHM
    assert low <= meter.TYPICAL_METER.lead_ohm <= high
    assert meter.through_leads(4.0, meter.TYPICAL_METER.lead_ohm) == pytest.approx(4.2)
    assert meter.reading_sigma(0.05, "resistance") >= meter.TYPICAL_METER.lead_sigma_ohm
    assert np.isinf(meter.through_leads(np.inf, 0.2))


def test_open_line() -> None:
    assert meter.open_line([4.0, np.inf, 1e9]).tolist() == [False, True, True]
    assert np.isinf(meter.reading_sigma(np.inf, "resistance"))


def test_input_resistance_loads_little() -> None:
    # Fluke 11x: direct voltage input over 10 Mohm. A divider with 100 kohm loses 1 %.
    assert meter.loaded_voltage(12.0, 0.5) == pytest.approx(12.0, rel=1e-6)
    assert meter.loaded_voltage(12.0, 1e5) == pytest.approx(12.0 / 1.01, rel=1e-9)
    assert meter.loaded_voltage(12.0, np.inf) == 0.0
    # A ghost voltage through 1 Mohm of coupling collapses on a 3 kohm input (Fluke 11x LoZ).
    assert meter.loaded_voltage(12.0, 1e6, 3e3) < 0.05


def test_beep_thresholds_of_five_meters() -> None:
    # Manuals of five meters: 30, 50, 50, 70 and 100 ohm.
    manuals = np.array([30.0, 50.0, 50.0, 70.0, 100.0])
    for ohms in (10.0, 40.0, 60.0, 85.0, 200.0):
        of_five = (manuals > ohms).mean()
        assert meter.beep_probability(ohms) == pytest.approx(of_five, abs=0.2)


def test_a_beep_proves_little() -> None:
    # A speaker coil beeps; so does a power wire of 1 ohm that could not feed an amplifier.
    assert (meter.beep_probability([0.0, 1.0, 4.0, 8.0]) > 0.99).all()
    assert (meter.beep_probability([1e3, 1e6, np.inf]) < 0.01).all()
    assert (np.diff(meter.beep_probability(np.linspace(0, 300, 50))) <= 0).all()


@pytest.mark.parametrize(
    "call",
    [
        lambda: meter.reading_sigma(1.0, "light"),
        lambda: meter.accuracy(1.0, -1.0, 2, 0.1),
        lambda: meter.accuracy(1.0, 1.0, 2, 0.0),
        lambda: meter.through_leads(-1.0, 0.2),
        lambda: meter.loaded_voltage(12.0, 1.0, 0.0),
        lambda: meter.beep_probability(np.nan),
    ],
)
def test_the_impossible_is_refused(call: object) -> None:
    with pytest.raises(GivenError):
        call()  # type: ignore[operator]
