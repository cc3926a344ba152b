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

from assistant.electrics.battery import open_circuit_voltage
from assistant.electrics.circuit import (
    Circuit,
    ConstantPowerLoad,
    CurrentSource,
    Element,
    LimitedSource,
    Resistor,
    VoltageSource,
)
from assistant.electrics.nodal import solve
from assistant.electrics.parts import Situation
from assistant.electrics.responses import Responder
from assistant.knowledge.schema import Do

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from assistant.electrics.amplifier import AmplifierState
    from assistant.electrics.parts import Parts

REL = 1e-6
CHARGE_ACCEPTANCE_OHM = 0.15
BLEED_A = 5e-4
NODES = (
    "battery.positive", "main_fuse.battery_side", "main_fuse.amp_side", "amp.power",
    "amp.ground", "chassis", "charging.output", "engine_block",
)  # fmt: skip
GROUND_SIDE = {"amp.ground", "chassis", "engine_block"}
CLOSED_SUPPLY_FAULTS = (
    "supply.battery_weak", "supply.charging_low", "supply.charging_high",
    "supply.main_fuse_loose", "supply.power_wire_resistive", "supply.power_wire_undersized",
    "supply.ground_resistive", "amp.fuse_open", "charging.ripple",
)  # fmt: skip
STATES = {
    "key off": Situation("off", "off", frozenset()),
    "key on": Situation("accessory", "quiet", frozenset()),
    "key on, loud": Situation("accessory", "loud", frozenset()),
    "running": Situation("running", "quiet", frozenset()),
    "running, loud": Situation("running", "loud", frozenset()),
    "cranking": Situation("cranking", "quiet", frozenset()),
}
# A source that is on whenever the key is: when the draw starts is not what is tested here.
PLAIN = {
    "silence_switches_off": 0.0, "cranking_cuts_accessory": 0.0, "remote_threshold_v": 4.5,
    "shorted_input_trips": 0.0, "latches": 0.0,
}  # fmt: skip


def music_w(parts: Parts, situation: Situation) -> NDArray[np.float64]:
    """Power in for the music's mean power out: output over efficiency."""
    if situation.vehicle == "off":
        return np.zeros(parts.count)
    share = {"off": 0.0, "quiet": parts["quiet_ratio"], "loud": parts["loud_ratio"]}
    efficiency = parts["class_efficiency_ratio"] * parts["efficiency_ratio"]
    return np.asarray(parts["rated_w"] * share[situation.audio] / np.clip(efficiency, 0.2, 0.97))


def drawn(count: int, seed: int, fault: str) -> Parts:
    parts = worlds(count, seed=seed, faults=(fault,) if fault else (), **PLAIN)
    # The circuit below needs a battery that gives through less than it takes through.
    held = np.minimum(parts["battery_ohm"], 0.14)
    return worlds(
        count, seed=seed, faults=(fault,) if fault else (), **{**PLAIN, "battery_ohm": held}
    )


def circuit(
    parts: Parts, situation: Situation, watts: NDArray[np.float64], amps: NDArray[np.float64]
) -> Circuit:
    """Put battery, alternator, vehicle, path and amplifier together, numbers (worlds,)."""
    emf = open_circuit_voltage(parts["charge_ratio"], parts.ambient_c) + parts["surface_charge_v"]
    running = situation.vehicle == "running"
    set_point = parts["charge_v"] + parts["charge_slope_v_per_c"] * (parts.ambient_c - 25.0)
    other = {
        "off": np.full(parts.count, 0.03),
        "accessory": parts["house_accessory_a"],
        "running": parts["house_running_a"],
        "cranking": np.zeros(parts.count),
    }[situation.vehicle]
    crank = parts["crank_a"] if situation.vehicle == "cranking" else np.zeros(parts.count)
    # A battery gives through its inner resistance and takes through a larger one: the larger
    # one both ways, and a source that only gives beside it.
    extra = 1.0 / (1.0 / parts["battery_ohm"] - 1.0 / CHARGE_ACCEPTANCE_OHM)
    elements: list[Element] = [
        VoltageSource("emf", "cell", "battery.negative", emf),
        Resistor("acceptance", "cell", "battery.positive", CHARGE_ACCEPTANCE_OHM),
        LimitedSource("gives", "battery.positive", "battery.negative", emf, extra, 1e6),
        LimitedSource(
            "alternator", "out", "battery.negative", set_point, parts["charge_ohm"],
            parts["charge_limit_a"] if running else np.zeros(parts.count),
        ),
        VoltageSource("ammeter", "out", "battery.positive", 0.0),
        CurrentSource("house", "battery.positive", "battery.negative", other),
        CurrentSource("starter", "battery.positive", "engine_block", crank),
        Resistor("engine_strap", "engine_block", "battery.negative", parts["engine_strap_ohm"]),
        Resistor("post", "battery.positive", "main_fuse.battery_side", parts["post_ohm"]),
        Resistor("fuse", "main_fuse.battery_side", "main_fuse.amp_side",
                 parts["fuse_ohm"] + parts["fuse_contact_ohm"]),
        Resistor("wire", "main_fuse.amp_side", "amp.power",
                 parts["wire_ohm"] * parts["wire_spread_ratio"] + parts["wire_contact_ohm"]),
        Resistor("ground", "amp.ground", "chassis",
                 parts["ground_wire_ohm"] + parts["ground_contact_ohm"]),
        Resistor("strap", "chassis", "battery.negative", parts["strap_ohm"]),
        ConstantPowerLoad("amp", "amp.power", "amp.ground", watts),
        CurrentSource("idle", "amp.power", "amp.ground", amps),
    ]  # fmt: skip
    return Circuit(tuple(elements), ground="battery.negative")


def draws(
    parts: Parts, situation: Situation, state: AmplifierState
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Tell watts and amperes that the amplifier draws, from whether it works, (worlds,).

    Working it draws music and idle current; tripped by itself its standby current, or all of it
    where it goes on pulling; dead, switched off or with its fuse open next to nothing.
    """
    watts, idle = music_w(parts, situation), parts["idle_a"]
    is_on = state.remote.at_amp >= parts["remote_threshold_v"]
    is_on &= ~parts.flag("amp_fuse_open") & (parts["internal_kind"] != 1)
    pulls = state.works | (is_on & parts.flag("sag_stays"))
    amps = np.where(pulls, idle, np.where(is_on, parts["standby_a"], BLEED_A))
    return np.where(pulls, watts, 0.0), amps


def readings(
    parts: Parts, situation: Situation
) -> tuple[AmplifierState, dict[str, NDArray[np.float64]]]:
    state = Responder(parts).state(situation)
    return state, dict(state.supply.nodes)


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
    # A flat first guess, of the set-point or of a resting battery; nothing of our answer.
    first = float(parts["charge_v"][world]) if situation.vehicle == "running" else 12.0
    start = {node: 0.0 if node in GROUND_SIDE else first for node in ours.nodes}
    volts, amperes = ngspice(ours, world=world, start=start)
    for node in NODES:
        if node == "charging.output":
            drop = parts["charge_ohm"][world] * amperes["ammeter"]
            want = volts["battery.positive"] + (drop if situation.vehicle == "running" else 0.0)
        else:
            want = volts[node]
        assert float(nodes[node][world]) == pytest.approx(want, rel=REL, abs=1e-8), node


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
