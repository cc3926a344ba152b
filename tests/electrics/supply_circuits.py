"""The supply of whole worlds as circuits, built element by element from the same parts."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

import numpy as np
import pytest

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
from assistant.electrics.parts import Situation
from assistant.electrics.responses import Responder
from assistant.errors import GivenError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from assistant.electrics.amplifier import AmplifierState
    from assistant.electrics.parts import Parts


class Simulate(Protocol):
    """What the fixture ``ngspice`` gives."""

    def __call__(
        self, circuit: Circuit, *, world: int, start: dict[str, float], floor_v: float
    ) -> tuple[dict[str, float], dict[str, float]]:
        """Give volts by node and amperes by source."""
        ...


REL = 1e-6
CHARGE_ACCEPTANCE_OHM = 0.15
BLEED_A = 5e-4
NODES = (
    "battery.positive", "main_fuse.battery_side", "main_fuse.amp_side", "amp.power",
    "amp.ground", "chassis", "charging.output", "engine_block",
)  # fmt: skip
GROUND_SIDE = {"amp.ground", "chassis", "engine_block"}
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


def by_ngspice(
    ngspice: Simulate,
    supply: Circuit,
    parts: Parts,
    situation: Situation,
    world: int,
    *,
    floor_v: float = 1e-3,
    nodes: tuple[str, ...] = NODES,
) -> dict[str, float]:
    """Give the volts of every node of one world as ngspice finds them.

    Its first guess is flat, nothing of our answer: the set-point or a resting battery, and where
    the simulator finds no solution from there, lower by shares of what the alternator's cable
    drops at its limit. Below ``floor_v`` it does not look for the load's power.
    """
    running = situation.vehicle == "running"
    warmer = parts["charge_slope_v_per_c"][world] * (parts.ambient_c - 25.0)
    first = float(parts["charge_v"][world] + warmer) if running else 12.0
    knee = float(parts["charge_ohm"][world] * parts["charge_limit_a"][world])
    for share in (0.0, 0.2, 0.4, 0.6, 0.8, 1.0):
        guess = first - share * knee
        start = {node: 0.0 if node in GROUND_SIDE else guess for node in supply.nodes}
        try:
            volts, amperes = ngspice(supply, world=world, start=start, floor_v=floor_v)
        except GivenError:
            continue
        break
    else:
        pytest.fail("the simulator finds no solution from any flat guess")
    found = {node: volts[node] for node in nodes if node != "charging.output"}
    drop = float(parts["charge_ohm"][world]) * amperes["ammeter"]
    found["charging.output"] = found["battery.positive"] + (drop if running else 0.0)
    return found
