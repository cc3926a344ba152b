from __future__ import annotations

import pytest

from assistant.errors import GivenError
from assistant.practice.wire import area_mm2, wire_ohms


@pytest.mark.parametrize(
    ("gauge", "milliohm_per_m"),
    # Source: AWG diameters of ASTM B258 with copper of IEC 60028 at 20 °C, solid; the same
    # figures stand in Floyd's table in ohm per 1000 ft.
    [
        ("18 AWG", 20.948),
        ("12 AWG", 5.211),
        ("10 AWG", 3.277),
        ("8 AWG", 2.061),
        ("4 AWG", 0.8152),
        ("1/0 AWG", 0.3224),
        ("4/0 AWG", 0.1608),
    ],
)
def test_awg_resistance(gauge: str, milliohm_per_m: float) -> None:
    assert wire_ohms(gauge, 1.0) * 1e3 == pytest.approx(milliohm_per_m, rel=5e-4)


@pytest.mark.parametrize(
    ("gauge", "ohm_per_1000_ft"),
    # Source: NEC chapter 9 table 8, uncoated copper at 75 °C, stranded (quoted on three pages).
    [("8 AWG", 0.778), ("4 AWG", 0.308), ("1/0 AWG", 0.122)],
)
def test_awg_at_75_degrees_is_within_the_lay_of_strands(gauge: str, ohm_per_1000_ft: float) -> None:
    ours = wire_ohms(gauge, 304.8, celsius=75.0)
    assert 0.97 < ours / ohm_per_1000_ft < 1.0


@pytest.mark.parametrize(
    ("gauge", "most"),
    # Source: IEC 60228 class 5, plain, the most at 20 °C in mohm/m (tables on four pages).
    [("2.5 mm2", 7.98), ("10 mm2", 1.91), ("16 mm2", 1.21), ("35 mm2", 0.554)],
)
def test_metric_resistance_is_below_the_standards_most(gauge: str, most: float) -> None:
    assert 0.85 * most < wire_ohms(gauge, 1.0) * 1e3 <= most


def test_copper_clad_aluminium_against_copper() -> None:
    # Source: ASTM B566 as a wire maker quotes it; published rows give 1.50 to 1.60.
    clad = wire_ohms("14 AWG", 1.0, material="copper_clad_aluminum")
    assert 1.50 <= clad / wire_ohms("14 AWG", 1.0) <= 1.60


def test_unknown_gauge_is_refused() -> None:
    with pytest.raises(GivenError):
        area_mm2("thick")
