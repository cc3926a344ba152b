"""A stated wire is judged by its own computed drop, against the drops that are published."""

from __future__ import annotations

import pytest

from assistant.diagnosis.installed import installed_spreads
from assistant.knowledge import load
from assistant.knowledge.schema import Installation

WATTS, EFFICIENCY, VOLTS = 600.0, 0.60, 12.5
HEAVY = 1 / 3
"""Music at a third of full power, 4.77 dB under it (FTC): the heavy case of rating practice."""
OHM_PER_M = {"4 AWG": 0.8152e-3, "8 AWG": 2.061e-3, "16 mm2": 1.21e-3}
"""Copper at 20 degC: ASTM B258 with IEC 60028; metric IEC 60228 class 5."""


def suspected(gauge: str, drop_v: float, *, material: str = "copper") -> bool:
    """Tell whether a copper wire long enough for ``drop_v`` is suspected on paper alone."""
    length = drop_v / (WATTS * HEAVY / EFFICIENCY / VOLTS) / OHM_PER_M[gauge]
    raw = {
        "amplifier": {"channels": 1, "watts_per_channel": WATTS, "class": "AB"},
        "supply": {"wire": {"gauge": gauge, "material": material, "length_m": length}},
        "ambient_c": 15.0,
    }
    stated = installed_spreads(Installation.model_validate(raw), load().spreads)
    return stated.rate_factors.get("supply.power_wire_undersized", 1.0) > 1.0


@pytest.mark.parametrize("gauge", OHM_PER_M)
@pytest.mark.parametrize(
    ("drop_v", "thin"),
    [
        # Marine sizing pages: 3 % for critical circuits, 10 % for others, of 12 and 12.6 V.
        (0.36, False), (0.378, False), (1.20, True), (1.26, True),
        # NEC 210.19 and 215.2 notes (advisory): 3 % for a branch, 5 % in all, of 12.6 V.
        (0.63, True),
        # Whole paths in makers' manuals: Honda 2001 1 V. A drop near Kia's 0.5 V (1997) is where
        # the program begins to suspect the wire.
        (1.0, True), (0.43, False), (0.60, True),
    ],
)  # fmt: skip
def test_a_wire_is_thin_from_between_3_and_5_percent(
    gauge: str, drop_v: float, *, thin: bool
) -> None:
    assert suspected(gauge, drop_v) == thin


def test_clad_aluminum_makes_a_good_length_too_long() -> None:
    # ASTM B566: at least 62.9 to 64.4 % of copper's conductivity, so 1.5 to 1.6 times the drop.
    assert not suspected("4 AWG", 0.42)
    assert suspected("4 AWG", 0.42, material="copper_clad_aluminum")
    assert not suspected("4 AWG", 0.30, material="copper_clad_aluminum")


LONG_M = (6.0, 7.5, 9.0)
"""Runs of buses and boats."""


def long_run(gauge: str | None, length_m: float, **supply: object) -> Installation:
    wire = {"length_m": length_m} | ({"gauge": gauge, "material": "copper"} if gauge else {})
    return Installation.model_validate(
        {
            "amplifier": {"channels": 1, "watts_per_channel": WATTS, "class": "AB"},
            "supply": {"wire": wire, **supply},
            "ambient_c": 15.0,
        }
    )


def judged(installation: Installation) -> bool:
    stated = installed_spreads(installation, load().spreads)
    return stated.rate_factors.get("supply.power_wire_undersized", 1.0) > 1.0


@pytest.mark.parametrize("length_m", LONG_M)
@pytest.mark.parametrize("gauge", OHM_PER_M)
def test_a_long_run_is_judged_by_its_own_drop(gauge: str, length_m: float) -> None:
    # By hand: the same tables, the same heavy music; only what is far from the limit is asked.
    drop = WATTS * HEAVY / EFFICIENCY / VOLTS * OHM_PER_M[gauge] * length_m
    if abs(drop - 0.5) > 0.06:
        assert judged(long_run(gauge, length_m)) == (drop > 0.5)


def test_a_return_wire_as_long_as_the_run_counts_too() -> None:
    # A boat has no body to go back by: twice the length of 16 mm2 drops twice as much.
    there = long_run("16 mm2", 9.0)
    back = {"gauge": "16 mm2", "material": "copper", "length_m": 9.0}
    assert not judged(there)
    assert judged(long_run("16 mm2", 9.0, ground=back))
    assert not judged(long_run("16 mm2", 9.0, ground={**back, "length_m": 0.6}))


def test_a_run_longer_than_cars_have_may_have_more_ohms_than_theirs() -> None:
    spreads = load().spreads
    usual = spreads.scalar["wire_ohm"].loguniform
    assert usual is not None
    for length, factor in ((5.5, 1.0), (7.0, 1.0), (10.5, 1.5)):
        stated = installed_spreads(long_run(None, length), spreads).spreads["wire_ohm"]
        assert stated.loguniform == pytest.approx((usual[0], usual[1] * factor))


@pytest.mark.parametrize("gauge", ["4 AWG", "8 AWG"])
@pytest.mark.parametrize("told", ["watts", "fuses", "main fuse"])
def test_fuses_tell_the_draw_where_the_watts_are_not_told(gauge: str, told: str) -> None:
    # By hand: 600 W at 60 % and 12.5 V are 80 A. Fuses for the full output: common practice.
    amplifier: dict[str, object] = {"channels": 1, "class": "AB"}
    supply: dict[str, object] = {"wire": {"gauge": gauge, "material": "copper", "length_m": 5.0}}
    if told == "watts":
        amplifier["watts_per_channel"] = WATTS
    elif told == "fuses":
        amplifier["fuse_amps"] = [40, 40]
    else:
        supply["main_fuse"] = {"amps": 80}
    raw = {"amplifier": amplifier, "supply": supply, "ambient_c": 15.0}
    stated = installed_spreads(Installation.model_validate(raw), load().spreads)
    low, high = stated.spreads["rated_w"].loguniform or (0.0, 0.0)
    assert low < WATTS < high
    assert high / low < 4.0
    drop = 80 * HEAVY * OHM_PER_M[gauge] * 5.0
    assert (stated.rate_factors.get("supply.power_wire_undersized", 1.0) > 1.0) == (drop > 0.5)


def test_watts_of_bridged_channels_are_told_in_two_ways() -> None:
    raw = {"amplifier": {"channels": 4, "bridged": True, "watts_per_channel": 100.0}}
    stated = installed_spreads(Installation.model_validate(raw), load().spreads)
    low, high = stated.spreads["rated_w"].loguniform or (0.0, 0.0)
    for watts in (200.0, 400.0):
        assert low < watts < high
