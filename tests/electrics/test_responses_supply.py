"""Node voltages of whole worlds against circuits built here, by ngspice and the nodal solver.

The worlds' supply is solved in closed form over all worlds at once. Here the same parts are put
into a circuit, element by element, and solved by modified nodal analysis and by ngspice, an
independent simulator, to 1e-6 relative.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from response_worlds import worlds
from supply_circuits import (
    NODES,
    PLAIN,
    REL,
    STATES,
    by_ngspice,
    circuit,
    draws,
    music_w,
    readings,
)

from assistant.electrics.circuit import (
    Circuit,
    Resistor,
)
from assistant.electrics.nodal import solve
from assistant.electrics.responses import Responder
from assistant.knowledge.schema import Do

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.electrics.parts import Parts, Situation

CLOSED_SUPPLY_FAULTS = (
    "supply.battery_weak", "supply.charging_low", "supply.charging_high",
    "supply.main_fuse_loose", "supply.power_wire_resistive", "supply.power_wire_undersized",
    "supply.ground_resistive", "amp.fuse_open", "charging.ripple",
)  # fmt: skip


def drawn(count: int, seed: int, fault: str) -> Parts:
    parts = worlds(count, seed=seed, faults=(fault,) if fault else (), **PLAIN)
    # The circuit below needs a battery that gives through less than it takes through.
    held = np.minimum(parts["battery_ohm"], 0.14)
    return worlds(
        count, seed=seed, faults=(fault,) if fault else (), **{**PLAIN, "battery_ohm": held}
    )


@pytest.mark.parametrize("situation", STATES.values(), ids=STATES)
@pytest.mark.parametrize("fault", ["", *CLOSED_SUPPLY_FAULTS], ids=lambda f: f or "sound")
def test_every_node_against_the_nodal_solver(fault: str, situation: Situation) -> None:
    parts = drawn(60, 7, fault)
    state, nodes = readings(parts, situation)
    watts, amps = draws(parts, situation, state)
    ours = circuit(parts, situation, watts, amps)
    theirs = solve(ours)
    # Only where a world neither collapsed nor tripped for another reason is its draw certain.
    sure = theirs.converged & (state.works | ~parts.flag("sag_stays")) & ~state.supply.collapsed
    assert sure.mean() > 0.3
    alternator = -theirs.current("alternator")
    expected = {node: theirs.voltage(node) for node in NODES if node != "charging.output"}
    expected["charging.output"] = theirs.voltage("battery.positive") + np.where(
        situation.vehicle == "running", parts["charge_ohm"] * alternator, 0.0
    )
    for node in NODES:
        np.testing.assert_allclose(
            nodes[node][sure], expected[node][sure], rtol=REL, atol=1e-8, err_msg=node
        )


@pytest.mark.parametrize("situation", STATES.values(), ids=STATES)
@pytest.mark.parametrize("fault", ["", *CLOSED_SUPPLY_FAULTS], ids=lambda f: f or "sound")
def test_every_node_against_ngspice(
    ngspice: Callable[..., tuple[dict[str, float], dict[str, float]]],
    fault: str,
    situation: Situation,
) -> None:
    parts = drawn(40, 8, fault)
    state, nodes = readings(parts, situation)
    watts, amps = draws(parts, situation, state)
    ours = circuit(parts, situation, watts, amps)
    sure = (state.works | ~parts.flag("sag_stays")) & ~state.supply.collapsed
    world = int(np.flatnonzero(sure)[0])
    wanted = by_ngspice(ngspice, ours, parts, situation, world)
    for node, volts in wanted.items():
        assert float(nodes[node][world]) == pytest.approx(volts, rel=REL, abs=1e-8), node


@pytest.mark.parametrize("ambient_c", [-20.0, 25.0, 45.0])
def test_the_charging_output_follows_the_temperature(ambient_c: float) -> None:
    """Regulators lower their set-point when warm (Hyundai Kona 2021: -3.5 +-2 mV per degree)."""
    situation = STATES["running"]
    parts = worlds(60, seed=9, ambient_c=ambient_c, **PLAIN)
    state, nodes = readings(parts, situation)
    watts, amps = draws(parts, situation, state)
    theirs = solve(circuit(parts, situation, watts, amps))
    sure = theirs.converged & state.works
    want = theirs.voltage("battery.positive") - parts["charge_ohm"] * theirs.current("alternator")
    np.testing.assert_allclose(nodes["charging.output"][sure], want[sure], rtol=REL, atol=1e-8)


def test_worlds_that_cannot_carry_their_load_do_not_work() -> None:
    # V^2 - (E - R I) V + R P = 0 has no root: collapse is a state, not an exception.
    parts = worlds(
        50, seed=3, rated_w=1500.0, loud_ratio=0.4, ground_contact_ohm=0.5, **PLAIN
    )  # fmt: skip
    situation = STATES["key on, loud"]
    state, nodes = readings(parts, situation)
    theirs = solve(circuit(parts, situation, music_w(parts, situation), parts["idle_a"]))
    assert not theirs.converged.any()
    assert not state.works.any()
    for node in NODES:
        assert np.isfinite(nodes[node]).all()


def test_behind_an_open_fuse_a_meter_shows_next_to_nothing() -> None:
    parts = worlds(30, seed=4, faults=("supply.main_fuse_open",), **PLAIN)
    situation = STATES["key on"]
    state, nodes = readings(parts, situation)
    watts = np.zeros(parts.count)
    open_circuit = circuit(parts, situation, watts, watts)
    meter = Resistor("meter", "amp.power", "battery.negative", 10e6)
    theirs = solve(Circuit((*open_circuit.elements, meter), ground="battery.negative"))
    for node in ("main_fuse.amp_side", "amp.power"):
        # 12 V over 1 gigohm of dirt and the meter's 10 megohm: 0.12 V at most.
        assert (np.abs(nodes[node] - theirs.voltage(node)) < 0.15).all()
    assert np.allclose(nodes["main_fuse.battery_side"], theirs.voltage("battery.positive"))
    assert not state.works.any()


@pytest.mark.parametrize(
    ("red", "black"),
    [
        ("battery.positive", "battery.negative"),
        ("amp.power", "amp.ground"),
        ("amp.power", "chassis"),
        ("amp.ground", "chassis"),
        ("main_fuse.battery_side", "main_fuse.amp_side"),
        ("battery.positive", "amp.power"),
        ("amp.ground", "battery.negative"),
        ("engine_block", "battery.negative"),
    ],
)
def test_a_reading_is_the_difference_of_its_nodes(red: str, black: str) -> None:
    parts = worlds(20, seed=5, **PLAIN)
    situation = STATES["cranking"]
    state, _ = readings(parts, situation)
    theirs = solve(circuit(parts, situation, *draws(parts, situation, state)))
    do = Do(quantity="dc_voltage", red=red, black=black, vehicle="cranking", audio="quiet")
    there = Responder(parts).predict(do).value
    back = Responder(parts).predict(do.model_copy(update={"red": black, "black": red})).value
    sure = theirs.converged & (state.works | ~parts.flag("sag_stays")) & ~state.supply.collapsed
    np.testing.assert_allclose(there[sure], theirs.voltage(red, black)[sure], rtol=REL, atol=1e-7)
    np.testing.assert_allclose(back, -there)


def test_the_current_to_the_amplifier_is_idle_plus_power_over_volts() -> None:
    parts = worlds(80, seed=6, **PLAIN)
    situation = STATES["key on, loud"]
    state, _ = readings(parts, situation)
    do = Do(quantity="dc_current", red="main_fuse.amp_side", black="amp.power",
            vehicle="accessory", audio="loud")  # fmt: skip
    works = state.works
    volts = state.supply.nodes["amp.power"] - state.supply.nodes["amp.ground"]
    want = parts["idle_a"] + music_w(parts, situation) / volts
    assert works.sum() > 20
    np.testing.assert_allclose(Responder(parts).predict(do).value[works], want[works], rtol=1e-9)
