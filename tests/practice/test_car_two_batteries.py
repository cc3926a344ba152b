"""A car with a second battery beside the amplifier, read by hand-worked figures and by ngspice."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from assistant.errors import GivenError
from assistant.knowledge import load
from assistant.knowledge.schema import Installation
from assistant.practice import drive
from assistant.practice.car import Car
from assistant.practice.contract import line_breaches
from assistant.practice.draws import draw_installation, draw_parts
from assistant.practice.faults import draw_changes
from assistant.practice.kinds import ALL_KINDS, KINDS, LONG_KINDS, SECOND_KINDS
from assistant.practice.scenario import GARAGES, draw_case, fleet
from assistant.practice.spice import SpiceSolver
from assistant.practice.words import every_fault, is_node, is_setup, same_repair

CarOf = Callable[..., Car]
ROUND: dict[str, Any] = {
    "battery.accept": 0.15,
    "house.accessory": 5.0,
    "source.amps": 0.0,
    "house.body": 0.5e-3,
    "second.ocv": 12.6,
    "second.inner": 5e-3,
    "second.accept": 0.15,
    "second.stub": 0.2e-3,
    "second.lead": 1e-3,
    "second.ground": 1e-3,
    "second.ground_contact": 0.5e-3,
    "second.fuse": 1e-3,
    "second.fuse_contact": 0.5e-3,
    "second.relay_ohms": 1e-3,
    "second.relay_with_key": False,
}
OFF = {"vehicle": "off", "audio": "off"}
QUIET = {"vehicle": "accessory", "audio": "quiet"}
RUNNING = {"vehicle": "running", "audio": "off"}
SECOND = ("second_battery.positive", "second_battery.negative")
RELAY = ("charge_relay.battery_side", "charge_relay.amp_side")
FUSE = ("second_fuse.wire_side", "second_fuse.battery_side")


@pytest.fixture
def car_of(make_car: Callable[..., Car]) -> CarOf:
    """Give a car with round figures on both batteries and ``faults`` on top."""

    def make(*, relay: bool, **faults: dict[str, Any]) -> Car:
        return make_car("bus_mono", figures={**ROUND, "second.relay": relay}, **faults)

    return make


def volts(car: Car, ends: tuple[str, str], *setup: str, **state: str) -> float:
    red, black = ends
    asked = {"quantity": "dc_voltage", "red": red, "black": black, "setup": list(setup), **state}
    value = car.answer(asked)["value"]
    assert isinstance(value, float | int)
    return float(value)


def test_at_rest_each_battery_shows_its_own_voltage_behind_an_open_relay(car_of: CarOf) -> None:
    car = car_of(relay=True, low={"second.ocv": 11.9})
    assert volts(car, SECOND, **OFF) == pytest.approx(11.9, abs=0.02)
    assert volts(car, ("battery.positive", "battery.negative"), **OFF) == pytest.approx(
        12.6, abs=0.02
    )
    assert volts(car, RELAY, **OFF) == pytest.approx(0.7, abs=0.03)


def test_joined_directly_the_fuller_one_charges_the_other(car_of: CarOf) -> None:
    # 0.7 V over 5 milliohm, 11.2 of link and 150 of a battery that takes charge: 4.2 A; the
    # second then stands 4.2 A times 150 milliohm over its 11.9 V.
    car = car_of(relay=False, low={"second.ocv": 11.9})
    assert volts(car, SECOND, **OFF) == pytest.approx(11.9 + 0.7 * 150 / 168.2, abs=0.02)


def test_the_running_engine_closes_the_relay(car_of: CarOf) -> None:
    car = car_of(relay=True)
    assert volts(car, SECOND, **RUNNING) > 13.6
    assert abs(volts(car, RELAY, **RUNNING)) < 0.05
    assert volts(car, SECOND, **QUIET) < 12.7


@pytest.mark.parametrize(
    ("fault", "ends"),
    [
        ({"second.relay_works": False}, RELAY),
        ({"second.fuse_open": True}, FUSE),
        ({"second.fuse_contact": 3.0}, FUSE),
        ({"second.relay_ohms": 3.0}, RELAY),
    ],
)
def test_what_is_broken_in_the_link_has_the_drop(
    car_of: CarOf, fault: dict[str, Any], ends: tuple[str, str]
) -> None:
    # Charging voltage on one side, the second battery's own on the other (common practice).
    car = car_of(relay=True, fault={**fault, "second.ocv": 12.0})
    assert 1.4 < volts(car, ends, **RUNNING) < 2.5
    other = FUSE if ends == RELAY else RELAY
    assert abs(volts(car, other, **RUNNING)) < 0.1
    assert volts(car, SECOND, **RUNNING) < 12.6


def test_a_stuck_relay_drops_nothing_with_the_engine_off(car_of: CarOf) -> None:
    loud = {"vehicle": "accessory", "audio": "loud"}
    stuck = car_of(relay=True, stuck={"second.relay_stuck": True, "second.ocv": 12.3})
    well = car_of(relay=True, older={"second.ocv": 12.3})
    assert abs(volts(stuck, RELAY, **loud)) < 0.03
    assert volts(well, RELAY, **loud) > 0.25


def test_the_ground_of_the_second_battery_drops_by_ohms_law(car_of: CarOf) -> None:
    # 13 W idling at about 12 V through 0.5 ohm: 1.05 A, half a volt and a little more.
    car = car_of(relay=True, ground={"second.ground_contact": 0.5})
    ends = ("chassis", "second_battery.negative")
    idle = {"vehicle": "accessory", "audio": "off"}
    across = volts(car, ("amp.power", "amp.ground"), **idle)
    assert volts(car, ends, **idle) == pytest.approx(0.501 * 13.0 / across, abs=0.02)


def test_the_amplifier_stays_live_until_both_are_unhooked(car_of: CarOf) -> None:
    car = car_of(relay=True)
    ends = ("amp.power", "amp.ground")
    assert volts(car, ends, "remove:main_fuse", **OFF) > 12.0
    assert abs(volts(car, ends, "remove:main_fuse", "disconnect:second_battery", **OFF)) < 0.5
    across = volts(car, SECOND, "disconnect:second_battery", **OFF)
    assert across == pytest.approx(12.6, abs=0.02)


def test_the_clamp_at_the_amplifier_reads_the_amplifier(car_of: CarOf) -> None:
    car = car_of(relay=True)
    asked = {"quantity": "dc_current", "setup": [], "vehicle": "accessory", "audio": "off"}
    at_amp = car.answer({**asked, "red": "main_fuse.amp_side", "black": "amp.power"})
    at_front = car.answer({**asked, "red": "main_fuse.battery_side", "black": "main_fuse.amp_side"})
    assert at_amp["value"] == pytest.approx(13.0 / 12.6, abs=0.1)
    assert abs(at_front["value"]) <= 0.1  # the clamp's own zero


@pytest.mark.skipif(not SpiceSolver.installed(), reason="ngspice is not installed")
@pytest.mark.parametrize("relay", [True, False])
@pytest.mark.parametrize(
    ("ends", "state"),
    [
        (SECOND, {"vehicle": "running", "audio": "loud"}),
        (("amp.power", "amp.ground"), {"vehicle": "accessory", "audio": "loud"}),
        (FUSE, {"vehicle": "running", "audio": "off"}),
        (("battery.positive", "chassis"), {"vehicle": "running", "audio": "loud"}),
    ],
)
def test_two_batteries_by_ngspice_read_the_same(
    car_of: CarOf, ends: tuple[str, str], state: dict[str, str], *, relay: bool
) -> None:
    # Source: ngspice in place of this house's solver, to the last displayed count.
    fault = {"low": {"second.ocv": 12.1, "second.fuse_contact": 0.05}}
    ours, spice = car_of(relay=relay, **fault), car_of(relay=relay, **fault)
    spice.solver = SpiceSolver()
    assert volts(ours, ends, **state) == pytest.approx(volts(spice, ends, **state), abs=0.0101)


def test_a_relay_that_stays_closed_is_noticed_while_cranking(car_of: CarOf) -> None:
    """With the starter on the same wire the amplifier goes off where it used to play on."""
    figures = {
        "house.starter": 300.0,
        "battery.inner": 16e-3,
        "second.inner": 18e-3,
        "amp.under": 11.0,
        "amp.loud_share": 0.1,
    }
    stuck = {**figures, "second.relay_stuck": True}
    assert car_of(relay=True, tired=figures).complaint() is None
    told = car_of(relay=True, tired=stuck).complaint()
    assert told is not None
    assert (told["symptom"], told.get("when", ["cranking"])) == ("cuts_out", ["cranking"])


# -- fleets -----------------------------------------------------------------------------------


def test_every_fault_of_a_second_battery_is_planned_and_known_to_the_program() -> None:
    planned = {faults[0] for _, _, faults in fleet(200, 3, garage="second_battery")}
    wanted = {
        "supply.second_battery_weak", "supply.second_fuse_open", "supply.second_fuse_loose",
        "supply.second_ground_resistive", "supply.charge_relay_open",
        "supply.charge_relay_burnt", "supply.charge_relay_stuck",
    }  # fmt: skip
    assert wanted <= planned
    for kind in SECOND_KINDS:
        drawn = draw_installation(np.random.default_rng(1), kind)
        known = load().faults(Installation.model_validate(drawn))
        assert set(every_fault(drawn)) <= set(known)


@pytest.mark.parametrize(
    "fault",
    ["supply.second_battery_weak", "supply.second_fuse_open", "supply.charge_relay_open",
     "supply.charge_relay_burnt", "supply.second_ground_resistive"],
)  # fmt: skip
def test_a_car_with_that_fault_has_something_to_complain_of(fault: str) -> None:
    case = draw_case(7, "bus_mono", [fault])
    assert case.given["supply"]["second_battery"] is not None
    assert case.car.mend(fault)
    assert case.car.works()
    assert case.car.complaint() is None


def test_usual_cars_have_no_second_battery_and_no_long_runs() -> None:
    assert GARAGES["usual"] == KINDS
    for kind in KINDS:
        drawn = draw_installation(np.random.default_rng(2), kind)
        assert "second_battery" not in drawn["supply"]
        assert draw_parts(np.random.default_rng(2), drawn).second is None
        assert drawn["supply"]["wire"]["length_m"] <= 7.0


@pytest.mark.parametrize("kind", LONG_KINDS)
def test_long_runs_are_as_long_as_those_of_buses_and_boats(kind: str) -> None:
    for seed in range(6):
        supply = draw_installation(np.random.default_rng(seed), kind)["supply"]
        assert 6.0 <= supply["wire"]["length_m"] <= 9.0
        returns = ALL_KINDS[kind].returns
        assert (supply["ground"]["length_m"] == supply["wire"]["length_m"]) == returns


def test_a_car_without_a_relay_cannot_have_its_faults() -> None:
    rng = np.random.default_rng(0)
    drawn = draw_installation(rng, "bus_mono")
    drawn["supply"]["second_battery"]["joined"] = "direct"
    assert not [fault for fault in every_fault(drawn) if "charge_relay" in fault]
    with pytest.raises(GivenError):
        draw_changes(rng, draw_parts(rng, drawn), drawn, "supply.charge_relay_open")


def test_the_contract_knows_the_words_of_a_second_battery() -> None:
    assert all(is_node(node) for node in (*SECOND, *RELAY, *FUSE))
    assert is_setup("disconnect:second_battery")
    assert same_repair("supply.charge_relay_open", "supply.charge_relay_burnt")
    assert not same_repair("supply.second_fuse_open", "supply.main_fuse_open")


@pytest.mark.parametrize("fault", ["supply.second_fuse_open", "supply.charge_relay_open"])
def test_a_relay_that_is_not_there_cannot_be_measured(fault: str) -> None:
    case = draw_case(8, "bus_mono", [fault])
    asked = {"quantity": "dc_voltage", "red": RELAY[0], "black": RELAY[1]}
    assert case.car.parts.second is not None
    assert drive._possible(asked, case) == case.car.parts.second.relay
    assert drive._possible({**asked, "red": SECOND[0], "black": SECOND[1]}, case)
    assert not drive._possible(asked, draw_case(8, "van_mono", ["amp.fuse_open"]))


@pytest.mark.parametrize(("kind", "breach"), [("bus_mono", False), ("van_mono", True)])
def test_a_check_at_a_second_battery_is_a_breach_where_there_is_none(
    kind: str, *, breach: bool
) -> None:
    drawn = draw_installation(np.random.default_rng(1), kind)
    line = {
        "type": "check", "id": "x", "say": "x", "cautions": [], "minutes": 1.0, "bits": 0.1,
        "do": {"quantity": "dc_voltage", "red": SECOND[0], "black": SECOND[1], "vehicle": "off",
               "audio": "off", "setup": []},
        "expect": {"low": 11.0, "high": 13.0, "unit": "V"},
    }  # fmt: skip
    assert bool(line_breaches(line, drawn)) == breach
