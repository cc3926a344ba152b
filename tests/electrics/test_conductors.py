from __future__ import annotations

import numpy as np
import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.electrics import conductors
from assistant.electrics.conductors import (
    awg_area_mm2,
    awg_diameter_mm,
    gauge_area_mm2,
    gauge_resistance_per_m,
    parallel,
    solid_resistance_per_m,
    voltage_drop,
    wire_resistance,
)
from assistant.errors import GivenError

# AWG, diameter mm, milliohm/m and ohm/kft of solid copper at 20 degC, then ohm/kft at 75 degC
# solid and stranded. Diameter: ASTM B258. 20 degC: B258 with IEC 60028, and the table in Floyd's
# textbook. 75 degC: NEC chapter 9 table 8, uncoated copper.
TABLE = [
    ("18", 1.0237, 20.948, 6.385, 7.77, 7.95),
    ("16", 1.2908, 13.175, 4.016, 4.89, 4.99),
    ("14", 1.6277, 8.286, 2.525, 3.07, 3.14),
    ("12", 2.0525, 5.211, 1.588, 1.93, 1.98),
    ("10", 2.5882, 3.277, 0.9989, 1.21, 1.24),
    ("8", 3.2636, 2.061, 0.6282, 0.764, 0.778),
    ("6", 4.1154, 1.296, 0.3951, None, 0.491),
    ("4", 5.1894, 0.8152, 0.2485, None, 0.308),
    ("2", 6.5437, 0.5127, 0.1563, None, 0.194),
    ("1", 7.3481, 0.4066, 0.1239, None, 0.154),
    ("1/0", 8.2515, 0.3224, 0.0983, None, 0.122),
    ("2/0", 9.2658, 0.2557, 0.0779, None, 0.0967),
    ("3/0", 10.405, 0.2028, 0.0618, None, 0.0766),
    ("4/0", 11.684, 0.1608, 0.0490, None, 0.0608),
]
KFT_M = 304.8


def awg(size: str) -> float:
    return 1.0 - int(size[0]) if "/" in size else float(size)


def test_end_points_of_the_gauge() -> None:
    # ASTM B258, NBS Handbook 100: 36 AWG is 0.0050 in, 4/0 is 0.4600 in.
    units = pint.UnitRegistry()
    inches = (awg_diameter_mm([36, -3]) * units.mm).to("inch").magnitude
    assert inches == pytest.approx([0.0050, 0.4600], rel=1e-9)


def test_ratios_of_the_gauge() -> None:
    # From the ASTM B258 formula: area x1.26098 a gauge, diameter x2.00503 every six.
    assert awg_area_mm2(9) / awg_area_mm2(10) == pytest.approx(1.26098, abs=5e-6)
    assert awg_diameter_mm(4) / awg_diameter_mm(10) == pytest.approx(2.00503, abs=5e-6)


@pytest.mark.parametrize("row", TABLE, ids=lambda row: row[0])
def test_solid_copper_at_20_degc(row: tuple[str, float, float, float, float, float]) -> None:
    # ASTM B258 and IEC 60028; the ohm/kft column as in Floyd's textbook.
    size, diameter, milliohm_m, ohm_kft, _, _ = row
    assert awg_diameter_mm(awg(size)) == pytest.approx(diameter, rel=1e-4)
    per_m = solid_resistance_per_m(awg_area_mm2(awg(size)))
    assert per_m * 1e3 == pytest.approx(milliohm_m, rel=3e-4)
    assert per_m * KFT_M == pytest.approx(ohm_kft, rel=2e-3)


@pytest.mark.parametrize("row", TABLE, ids=lambda row: row[0])
def test_75_degc_column_of_the_nec(row: tuple[str, float, float, float, float, float]) -> None:
    # NEC chapter 9 table 8, uncoated copper at 75 degC, solid and stranded.
    size, _, _, _, solid, stranded = row
    area = awg_area_mm2(awg(size))
    if solid is not None:
        assert solid_resistance_per_m(area, "copper", 75.0) * KFT_M == pytest.approx(
            solid, rel=4e-3
        )
    per_m = gauge_resistance_per_m(f"{size} AWG", "copper", 75.0)
    assert per_m * KFT_M == pytest.approx(stranded, rel=7e-3)


def test_temperature_factor_at_75_degc() -> None:
    # NBS Handbook 100 and IEC 60028 (coefficient from memory): 1.2162 at 75 degC.
    assert conductors.temperature_factor("copper", 75.0) == pytest.approx(1.2162, abs=1e-4)


def test_resistivity_with_units() -> None:
    # IEC 60028: 17.241 ohm mm2/km; pint does the conversions.
    units = pint.UnitRegistry()
    per_m = solid_resistance_per_m(1.0) * units.ohm / units.m
    assert per_m.to("ohm/km").magnitude == pytest.approx(17.241, abs=5e-4)
    resistivity = 17.241e-9 * units.ohm * units.m
    area = np.pi / 4 * (0.2043 * units.inch) ** 2  # 4 AWG
    expected = (resistivity * (18 * units.foot) / area).to("ohm").magnitude
    length_m = (18 * units.foot).to("m").magnitude
    ours = wire_resistance("4 AWG", "copper", length_m, strand_factor=1.0)
    assert ours == pytest.approx(expected, rel=3e-4)


CLASS_5 = {
    0.5: 39.0, 0.75: 26.0, 1: 19.5, 1.5: 13.3, 2.5: 7.98, 4: 4.95, 6: 3.30, 10: 1.91, 16: 1.21,
    25: 0.780, 35: 0.554, 50: 0.386, 70: 0.272, 95: 0.206,
}  # fmt: skip
# ISO 6722-1:2011 dimension table, from memory: never the only check of a size.
ISO_6722 = {
    0.5: 37.1, 0.75: 24.7, 1: 18.5, 1.5: 12.7, 2.5: 7.60, 4: 4.71, 6: 3.14, 10: 1.82, 16: 1.16,
    25: 0.743, 35: 0.527, 50: 0.368, 70: 0.259, 95: 0.196,
}  # fmt: skip


@pytest.mark.parametrize("size", CLASS_5)
def test_metric_sizes(size: float) -> None:
    # IEC 60228 class 5, plain copper, greatest resistance at 20 degC in milliohm/m.
    per_m = gauge_resistance_per_m(f"{size:g} mm2") * 1e3
    assert per_m == pytest.approx(CLASS_5[size], rel=1e-9)
    # ISO 6722-1 (from memory) asks some 5 % less of vehicle cable.
    assert 1.03 < per_m / ISO_6722[size] < 1.07


@pytest.mark.parametrize(("between", "lower", "upper"), [(20, 16, 25), (5, 4, 6), (120, 95, 150)])
def test_metric_sizes_between_and_beyond_the_table(
    between: float, lower: float, upper: float
) -> None:
    def of(size: float) -> float:
        return float(gauge_resistance_per_m(f"{size} mm2"))

    assert of(upper) < of(between) < of(lower)
    assert of(between) > solid_resistance_per_m(between)


def test_clad_aluminum_conducts_as_astm_b566_says() -> None:
    # ASTM B566 as a wire maker quotes it: 15 % copper 64.4 % IACS, 10 % copper 62.9 % at least.
    area = awg_area_mm2(14)
    copper = solid_resistance_per_m(area)
    clad = solid_resistance_per_m(area, "copper_clad_aluminum")
    clad_10 = solid_resistance_per_m(area, "copper_clad_aluminum_10")
    assert clad / copper == pytest.approx(1.553, abs=5e-4)
    assert clad_10 / copper == pytest.approx(1.590, abs=5e-4)
    # The maker's 14 AWG rows: 3.91 and 3.79 over 2.525 ohm/kft, so a band of 1.50 to 1.60.
    assert 1.50 <= clad / copper <= 1.60
    assert clad * KFT_M == pytest.approx(3.79, rel=0.04)
    assert clad_10 * KFT_M == pytest.approx(3.91, rel=0.04)


@pytest.mark.parametrize(
    ("material", "drop"),
    [("copper", 0.2446), ("copper_clad_aluminum", 0.380), ("copper_clad_aluminum_10", 0.389)],
)
def test_drop_along_4_awg(material: str, drop: float) -> None:
    # 5 m one way at 60 A and 20 degC; worked from ASTM B258, IEC 60028 and ASTM B566.
    wire = wire_resistance("4 AWG", material, 5.0, strand_factor=1.0)
    assert voltage_drop(60.0, wire) == pytest.approx(drop, abs=5e-4)


def test_drop_there_and_back() -> None:
    # Same example, both ways: 0.489 V.
    wire = wire_resistance("4 AWG", "copper", 10.0, strand_factor=1.0)
    assert voltage_drop(60.0, wire) == pytest.approx(0.489, abs=5e-4)


def test_aluminum_resistivity() -> None:
    # IEC note page: aluminium 28.264 ohm mm2/km at 20 degC.
    assert solid_resistance_per_m(1.0, "aluminum") * 1e3 == pytest.approx(28.264, rel=1e-3)


def test_gauge_area() -> None:
    assert gauge_area_mm2("16 mm2") == 16.0
    assert gauge_area_mm2("4 AWG") == pytest.approx(21.15, abs=0.005)  # ASTM B258


def test_worlds_keep_their_shape() -> None:
    worlds = np.linspace(-40, 120, 7)
    assert gauge_resistance_per_m("4 AWG", "copper", worlds).shape == (7,)
    assert wire_resistance("16 mm2", "copper", 3.0, worlds).dtype == np.float64


@pytest.mark.parametrize(
    "call",
    [
        lambda: gauge_resistance_per_m("four", "copper"),
        lambda: gauge_resistance_per_m("4 AWG", "silver"),
        lambda: wire_resistance("4 AWG", "copper", -1.0),
        lambda: wire_resistance("4 AWG", "copper", np.array([1.0, np.nan])),
        lambda: solid_resistance_per_m(0.0),
        lambda: awg_diameter_mm(41),
        lambda: awg_diameter_mm("thick"),
        parallel,
        lambda: parallel(4.0, -4.0),
    ],
)
def test_the_impossible_is_refused(call: object) -> None:
    with pytest.raises(GivenError) as told:
        call()  # type: ignore[operator]
    assert told.value.next_step


@settings(deadline=None)
@given(st.lists(st.floats(1e-3, 1e6), min_size=1, max_size=6))
def test_parallel_is_below_the_least_and_adds_conductances(ohms: list[float]) -> None:
    joined = float(parallel(*ohms))
    assert joined <= min(ohms) * (1 + 1e-12)
    assert 1 / joined == pytest.approx(sum(1 / ohm for ohm in ohms), rel=1e-12)


def test_parallel_at_the_ends() -> None:
    assert parallel(4.0, 0.0) == 0.0
    assert parallel(4.0, np.inf) == 4.0
    assert np.isinf(parallel(np.inf, np.inf))


@settings(deadline=None)
@given(st.integers(-3, 39), st.floats(-40, 120), st.floats(0.1, 5))
def test_thinner_or_hotter_wire_resists_more(gauge: int, celsius: float, hotter: float) -> None:
    here = solid_resistance_per_m(awg_area_mm2(gauge), "copper", celsius)
    assert solid_resistance_per_m(awg_area_mm2(gauge + 1), "copper", celsius) > here
    assert solid_resistance_per_m(awg_area_mm2(gauge), "copper", celsius + hotter) > here
