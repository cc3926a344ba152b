from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.electrics import fuses
from assistant.errors import GivenError


def test_15_a_blade_cold() -> None:
    # Littelfuse data sheet quoted in an automotive forum: 4.8 milliohm, 4.5 measured there.
    ohms = float(fuses.cold_resistance_ohm(15.0, "blade"))
    assert ohms == pytest.approx(4.8e-3, rel=1e-9)
    assert ohms * (1 - fuses.COLD_SPREAD) < 4.5e-3 < ohms


def test_10_a_blade_shows_130_ma_by_a_millivolt() -> None:
    # mvwautotechniek.nl: 1 mV over a standard 10 A blade fuse is 130 mA.
    assert fuses.current_from_drop_a(1e-3, 10.0, "blade") == pytest.approx(0.130, abs=5e-4)
    assert fuses.drop_v(0.130, 10.0, "blade") == pytest.approx(1e-3, rel=4e-3)


@pytest.mark.parametrize(("millivolts", "milliamps"), [(0.1, 22.0), (1.0, 218.0)])
def test_15_a_mini(millivolts: float, milliamps: float) -> None:
    # MACS Service Reports, June 2017: 0.1 mV is 22 mA and 1.0 mV 218 mA.
    current = fuses.current_from_drop_a(millivolts * 1e-3, 15.0, "mini")
    assert current * 1e3 == pytest.approx(milliamps, abs=0.5)


def test_other_blades() -> None:
    # Maker sheets, from memory; the published ratings above are the hard checks.
    ohms = fuses.cold_resistance_ohm([5, 7.5, 20, 25, 30], "blade")
    assert ohms == pytest.approx(np.array([17, 11, 3.2, 2.4, 1.9]) * 1e-3, rel=0.05)


@pytest.mark.parametrize(
    ("kind", "lowest", "highest"),
    [("blade", 1, 40), ("mini", 2, 30), ("maxi", 20, 120), ("midi", 20, 200), ("anl", 5, 750)],
)
def test_larger_fuses_resist_less_and_drop_about_a_tenth_of_a_volt(
    kind: str, lowest: float, highest: float
) -> None:
    # Common practice, no source: a fuse at its rating drops some 40 to 150 mV.
    ratings = np.linspace(lowest, highest, 50)
    ohms = fuses.cold_resistance_ohm(ratings, kind)
    assert (np.diff(ohms) < 0).all()
    drop = ohms * ratings
    assert (drop > 0.03).all()
    assert (drop < 0.2).all()


def test_the_mini_is_a_little_below_the_blade() -> None:
    ratings = np.array([5.0, 10.0, 20.0, 30.0])
    ratio = fuses.cold_resistance_ohm(ratings, "mini") / fuses.cold_resistance_ohm(ratings, "blade")
    assert ratio == pytest.approx(4.59 / 4.8, rel=1e-3)  # MACS 2017 over the data sheet


def test_continuous_load() -> None:
    # Littelfuse "Fuseology": a 10 A fuse for 7.5 A at 25 degC.
    assert fuses.continuous_limit_a(10.0) == 7.5


@pytest.mark.parametrize(
    ("kind", "percent", "low_s", "high_s"),
    [
        # ISO 8820-3, SAE J1284, SAE J2077 (from memory).
        ("blade", 110, 360_000, np.inf),
        ("blade", 135, 0.75, 1800),
        ("blade", 200, 0.15, 5),
        ("mini", 200, 0.15, 5),
        ("blade", 160, 0.25, 50),
        # ISO 8820-3, SAE J1888 (from memory).
        ("maxi", 135, 60, 1800),
        ("maxi", 200, 2, 60),
        ("maxi", 350, 0.2, 7),
        ("maxi", 600, 0.04, 1),
        # ISO 8820-5 (from memory, low sureness).
        ("midi", 135, 120, 1800),
        ("midi", 200, 1, 15),
    ],
)
def test_opening_times(kind: str, percent: float, low_s: float, high_s: float) -> None:
    low, high = fuses.opening_time_band_s(percent, kind)
    assert (low, high) == (low_s, high_s)
    band = next(b for b in fuses.OPENING_BANDS[kind] if b.percent == percent)  # type: ignore[index]
    assert band.sureness in {"medium", "low"}
    assert band.source


@settings(deadline=None)
@given(st.floats(0, 1000), st.floats(0, 500), st.sampled_from(["blade", "maxi", "midi"]))
def test_a_heavier_load_never_opens_later(load: float, more: float, kind: str) -> None:
    low, high = fuses.opening_time_band_s([load, load + more], kind)
    assert low[0] <= high[0]
    assert low[1] <= low[0]
    assert high[1] <= high[0]


def test_kinds_are_read() -> None:
    assert fuses.fuse_kind("ANL") == "anl"
    assert fuses.fuse_kind(" ATO ") == "blade"
    assert fuses.fuse_kind("mini ANL") == "midi"
    assert fuses.fuse_kind(None, 25.0) == "blade"
    assert fuses.fuse_kind(None, 100.0) == "anl"


@pytest.mark.parametrize(
    "call",
    [
        lambda: fuses.fuse_kind("porcelain"),
        lambda: fuses.cold_resistance_ohm(100.0, "blade"),
        lambda: fuses.cold_resistance_ohm(-1.0, "anl"),
        lambda: fuses.cold_resistance_ohm(10.0, "glass"),
        lambda: fuses.opening_time_band_s(200.0, "anl"),
        lambda: fuses.opening_time_band_s(-1.0, "blade"),
        lambda: fuses.continuous_limit_a(0.0),
    ],
)
def test_the_impossible_is_refused(call: object) -> None:
    with pytest.raises(GivenError):
        call()  # type: ignore[operator]
