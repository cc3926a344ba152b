"""Whole circuits against ngspice, an independent circuit simulator, at 1e-6 relative.

Every fault of the supply and of the load is one circuit. Each is solved three ways where it
can be: by ngspice, by the nodal solver, and in the closed form that the worlds are solved by.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from assistant.electrics.battery import open_circuit_voltage
from assistant.electrics.charging import set_point_v, solve_source
from assistant.electrics.circuit import (
    Circuit,
    ConstantPowerLoad,
    CurrentSource,
    Element,
    LimitedSource,
    Resistor,
    VoltageSource,
)
from assistant.electrics.conductors import parallel, wire_resistance
from assistant.electrics.fuses import cold_resistance_ohm
from assistant.electrics.loads import bridged_side_load, series
from assistant.electrics.nodal import Solution, solve
from assistant.electrics.operating import (
    constant_power_operating_point,
    operating_point_two_source,
)

if TYPE_CHECKING:
    from collections.abc import Callable

REL = 1e-6
CHARGE_OHM = 0.15
GROUND_SIDE = {"amp.ground", "chassis"}


def agree(circuit: Circuit, simulate: Callable[..., object], *, start: float | None) -> Solution:
    """Check every node voltage and source current against ngspice; give our solution.

    ``start`` is a flat first guess in V for the simulator, the same for every node of the
    positive side and 0 V for the ground side: it holds nothing of our answer.
    """
    ours = solve(circuit)
    assert ours.converged.all()
    guesses = None
    if start is not None:
        guesses = {node: 0.0 if node in GROUND_SIDE else start for node in circuit.nodes}
    volts, amps = simulate(circuit, start=guesses)  # type: ignore[misc]
    for node in circuit.nodes:
        assert float(ours.voltage(node)) == pytest.approx(volts[node], rel=REL, abs=1e-8), node
    for source, through in amps.items():
        assert float(ours.current(source)) == pytest.approx(through, rel=REL, abs=1e-8), source
    return ours


def test_oracle(ngspice: Callable[..., object]) -> None:
    # 12.6 V, 5 milliohm, fuse 1 milliohm, wire and return 4.98 milliohm each, load 0.4 ohm:
    # ngspice, lcapy and hand calculation gave these figures.
    circuit = Circuit(
        (
            VoltageSource("emf", "cell", "battery.negative", 12.6),
            Resistor("inner", "cell", "battery.positive", 5e-3),
            Resistor("fuse", "battery.positive", "fused", 1e-3),
            Resistor("wire", "fused", "amp.power", 4.98e-3),
            Resistor("load", "amp.power", "amp.ground", 0.4),
            Resistor("return", "amp.ground", "battery.negative", 4.98e-3),
        ),
        ground="battery.negative",
    )
    ours = agree(circuit, ngspice, start=None)
    assert ours.current("load") == pytest.approx(30.29137, abs=5e-6)
    assert ours.voltage("amp.power", "amp.ground") == pytest.approx(12.11655, abs=5e-6)
    assert ours.voltage("amp.ground") == pytest.approx(0.150851, abs=5e-7)


@dataclass(frozen=True)
class Supply:
    """A supply in numbers; the defaults are a healthy van with its engine off, playing loud."""

    charge: float = 1.0
    inner: float = 0.005
    set_point: float = 14.4
    limit: float = 0.0
    vehicle: float = 3.0
    main_fuse: float = float(cold_resistance_ohm(100.0, "anl"))
    wire: float = float(wire_resistance("4 AWG", "copper", 5.5, 25.0))
    amp_fuse: float = float(cold_resistance_ohm(30.0, "blade")) / 2
    ground: float = float(wire_resistance("4 AWG", "copper", 0.6, 25.0))
    body: float = 0.0005
    watts: float = 450.0
    idle: float = 1.2

    @property
    def emf(self) -> float:
        return float(open_circuit_voltage(self.charge))

    @property
    def path(self) -> float:
        """From the posts to the output stage and back."""
        return float(series(self.main_fuse, self.wire, self.amp_fuse, self.ground, self.body))

    def circuit(self) -> Circuit:
        output = 0.002
        elements: list[Element] = [
            VoltageSource("emf", "cell", "battery.negative", self.emf),
            Resistor("inner", "cell", "battery.positive", self.inner),
            CurrentSource("vehicle", "battery.positive", "battery.negative", self.vehicle),
            LimitedSource(
                "alternator", "battery.positive", "battery.negative",
                self.set_point, output, self.limit,
            ),
            Resistor("main_fuse", "battery.positive", "main_fuse.amp_side", self.main_fuse),
            Resistor("wire", "main_fuse.amp_side", "amp.power", self.wire),
            Resistor("amp_fuse", "amp.power", "amp.inside", self.amp_fuse),
            Resistor("ground", "amp.ground", "chassis", self.ground),
            Resistor("body", "chassis", "battery.negative", self.body),
        ]  # fmt: skip
        if np.isfinite(self.path):
            elements += [
                ConstantPowerLoad("amp", "amp.inside", "amp.ground", self.watts),
                CurrentSource("idle", "amp.inside", "amp.ground", self.idle),
            ]
        else:
            # Without power an amplifier is some bleeder resistance.
            elements.append(Resistor("amp", "amp.inside", "amp.ground", 2200.0))
        return Circuit(tuple(elements), ground="battery.negative")


HEALTHY = Supply()
RUNNING = Supply(limit=90.0, vehicle=25.0)

SUPPLIES = {
    "healthy, engine off, loud": HEALTHY,
    "healthy, engine off, quiet": replace(HEALTHY, watts=8.0),
    "healthy, running, loud": RUNNING,
    "running, more than the alternator gives": replace(RUNNING, watts=1400.0),
    "battery weak": replace(HEALTHY, charge=0.3, inner=0.030),
    "battery weak, cranking": replace(
        HEALTHY, charge=0.3, inner=0.012, vehicle=180.0, watts=8.0
    ),
    "charging low": replace(RUNNING, set_point=12.9),
    "charging high": replace(RUNNING, set_point=16.6),
    "charging lost, running": replace(RUNNING, limit=0.0),
    "main fuse open": replace(HEALTHY, main_fuse=np.inf),
    "main fuse loose": replace(HEALTHY, main_fuse=0.045),
    "power wire resistive": replace(HEALTHY, wire=HEALTHY.wire + 0.035),
    "power wire undersized": replace(
        HEALTHY, wire=float(wire_resistance("10 AWG", "copper_clad_aluminum", 5.5, 25.0))
    ),
    "ground resistive": replace(RUNNING, ground=0.060),
    "amplifier fuse open": replace(HEALTHY, amp_fuse=np.inf),
    "weak battery and resistive ground": replace(
        HEALTHY, charge=0.5, inner=0.025, ground=0.025
    ),
    "hot wire of metric size": replace(
        RUNNING, wire=float(wire_resistance("16 mm2", "copper", 5.5, 80.0))
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", SUPPLIES)
def test_supply(name: str, ngspice: Callable[..., object]) -> None:
    supply = SUPPLIES[name]
    ours = agree(supply.circuit(), ngspice, start=12.0 if np.isfinite(supply.path) else None)
    at_amp = float(ours.voltage("amp.inside", "amp.ground"))
    if np.isinf(supply.path):
        assert at_amp == pytest.approx(0.0, abs=1e-6)
        return
    # The closed form that all worlds are solved by; its battery takes charge as it gives here.
    point = operating_point_two_source(
        set_point=supply.set_point, limit=supply.limit, battery_emf=supply.emf,
        battery_resistance=supply.inner, charge_resistance=supply.inner,
        output_resistance=0.002, other_current=supply.vehicle, resistance=supply.path,
        power=supply.watts, idle_current=supply.idle,
    )  # fmt: skip
    assert not point.collapsed
    assert point.voltage == pytest.approx(at_amp, rel=REL)
    source = solve_source(
        current=point.current, set_point=supply.set_point, limit=supply.limit,
        battery_emf=supply.emf, battery_resistance=supply.inner,
        charge_resistance=supply.inner, output_resistance=0.002, other_current=supply.vehicle,
    )  # fmt: skip
    assert source.voltage == pytest.approx(float(ours.voltage("battery.positive")), rel=REL)
    alternator = -float(ours.current("alternator"))
    assert source.alternator_current == pytest.approx(alternator, rel=REL, abs=1e-7)
    if supply.limit == 0.0:
        # Without charging the plain closed form must give the same.
        plain = constant_power_operating_point(
            supply.emf - supply.inner * supply.vehicle,
            supply.inner + supply.path,
            supply.watts,
            supply.idle,
        )
        assert plain.voltage == pytest.approx(at_amp, rel=REL)


def test_faulty_supplies_look_their_part() -> None:
    """The drop shows at the faulty part and nowhere else: what the whole job rests on."""

    def drops(name: str) -> dict[str, float]:
        solved = solve(SUPPLIES[name].circuit())
        return {
            "main_fuse": float(solved.voltage("battery.positive", "main_fuse.amp_side")),
            "wire": float(solved.voltage("main_fuse.amp_side", "amp.power")),
            "ground": float(solved.voltage("amp.ground", "chassis")),
        }

    healthy = drops("healthy, engine off, loud")
    # A maker's voltage-drop page credited to SAE: 0.2 V over a high-current cable.
    assert max(healthy.values()) < 0.2
    for name, part in [
        ("main fuse loose", "main_fuse"),
        ("power wire resistive", "wire"),
        ("power wire undersized", "wire"),
        ("ground resistive", "ground"),
    ]:
        faulty = drops(name)
        assert faulty.pop(part) > 0.5
        assert max(faulty.values()) < 0.3, name


def test_running_battery_takes_charge_slowly(ngspice: Callable[..., object]) -> None:
    # A charged battery takes less than its inner resistance would let in: one more circuit,
    # with the battery as a charging resistance, which is right while it takes charge.
    emf = float(open_circuit_voltage(1.0))
    set_point = float(set_point_v(60.0))
    circuit = Circuit(
        (
            VoltageSource("emf", "cell", "battery.negative", emf),
            Resistor("charge", "cell", "battery.positive", CHARGE_OHM),
            Resistor("cable", "charging.output", "battery.positive", 0.003),
            VoltageSource("regulator", "charging.output", "battery.negative", set_point),
            CurrentSource("vehicle", "battery.positive", "battery.negative", 20.0),
            Resistor("path", "battery.positive", "amp.power", 0.008),
            ConstantPowerLoad("amp", "amp.power", "battery.negative", 300.0),
        ),
        ground="battery.negative",
    )
    ours = agree(circuit, ngspice, start=13.0)
    point = operating_point_two_source(
        set_point=set_point, limit=200.0, battery_emf=emf, battery_resistance=0.005,
        charge_resistance=CHARGE_OHM, output_resistance=0.003, other_current=20.0,
        resistance=0.008, power=300.0,
    )  # fmt: skip
    assert point.voltage == pytest.approx(float(ours.voltage("amp.power")), rel=REL)
    source = solve_source(
        current=point.current, set_point=set_point, limit=200.0, battery_emf=emf,
        battery_resistance=0.005, charge_resistance=CHARGE_OHM, output_resistance=0.003,
        other_current=20.0,
    )  # fmt: skip
    assert source.output_voltage == pytest.approx(set_point, rel=REL)
    assert source.battery_current == pytest.approx(float(ours.current("charge")), rel=REL)


@dataclass(frozen=True)
class Line:
    """One speaker line of a bridge output at a moment: both sides rest at half the supply."""

    coil: float = 3.4
    lead: float = 0.12
    across_wires: float = np.inf
    to_chassis: float = np.inf
    swing: float = 6.0
    output: float = 0.1
    second_coil: float = np.inf
    rest: float = 7.0

    def circuit(self) -> Circuit:
        """Two sides, each a source behind its output resistance, with the load between."""
        return Circuit(
            (
                VoltageSource("plus", "drive.plus", "chassis", self.rest + self.swing / 2),
                VoltageSource("minus", "drive.minus", "chassis", self.rest - self.swing / 2),
                Resistor("out_plus", "drive.plus", "amp_positive", self.output),
                Resistor("out_minus", "drive.minus", "amp_negative", self.output),
                Resistor("lead_plus", "amp_positive", "positive", self.lead / 2),
                Resistor("lead_minus", "amp_negative", "negative", self.lead / 2),
                Resistor("coil", "positive", "negative", self.coil),
                Resistor("second", "positive", "negative", self.second_coil),
                Resistor("wires", "amp_positive", "amp_negative", self.across_wires),
                Resistor("leak", "positive", "chassis", self.to_chassis),
            )
        )


LINES = {
    "healthy": Line(),
    "coil shorted": Line(coil=0.3),
    "coil open": Line(coil=np.inf),
    "coil shorted turns": Line(coil=1.1),
    "wires shorted": Line(across_wires=0.05),
    "leak to chassis": Line(to_chassis=0.4),
    "weak leak to chassis": Line(to_chassis=150.0),
    "load too low, two 4 ohm side by side": Line(second_coil=3.4),
    "load too low, two 2 ohm side by side": Line(coil=1.7, second_coil=1.7),
    "two 4 ohm in series": Line(coil=float(series(3.4, 3.4))),
    "series and parallel of four": Line(coil=6.8, second_coil=6.8),
    "leak and shorted coil": Line(coil=0.4, to_chassis=2.0),
}


@pytest.mark.parametrize("name", LINES)
def test_speaker_line(name: str, ngspice: Callable[..., object]) -> None:
    line = LINES[name]
    ours = agree(line.circuit(), ngspice, start=None)
    if np.isfinite(line.to_chassis):
        # A leak shows as a current that does not come back through the other side.
        back = float(ours.current("out_plus") + ours.current("out_minus"))
        assert back == pytest.approx(float(ours.current("leak")), rel=1e-6)
        assert back > 0.03
        return
    coils = parallel(line.coil, line.second_coil)
    seen = parallel(series(coils, line.lead), line.across_wires)
    assert ours.current("out_plus") == pytest.approx(
        float(line.swing / series(seen, 2 * line.output)), rel=REL, abs=1e-9
    )


def test_bridged_output_sees_half_on_each_side(ngspice: Callable[..., object]) -> None:
    # Circuit law: with sides in antiphase the middle of the load stands still.
    bridge = Line(coil=4.0, lead=1e-6, output=1e-6, rest=0.0)
    whole = agree(bridge.circuit(), ngspice, start=None)
    half = Circuit(
        (
            VoltageSource("plus", "drive", "chassis", bridge.swing / 2),
            Resistor("load", "drive", "chassis", float(bridged_side_load(4.0))),
        )
    )
    one_side = agree(half, ngspice, start=None)
    assert whole.current("out_plus") == pytest.approx(float(one_side.current("load")), rel=1e-5)


@pytest.mark.parametrize(
    ("resistance", "extra", "remote"),
    [(1.5, 0.0, 13.5), (180.0, 0.0, 4.0), (1.5, 1.2, 11.0), (np.inf, 0.0, 0.0)],
    ids=["healthy", "resistive lead", "drags a relay along", "lost lead"],
)
def test_remote_lead(
    resistance: float, extra: float, remote: float, ngspice: Callable[..., object]
) -> None:
    # A source's remote output feeds the amplifier's 100 ohm input and perhaps a relay.
    circuit = Circuit(
        (
            VoltageSource("source", "output", "chassis", 13.7),
            Resistor("driver", "output", "source.remote", 0.5),
            Resistor("lead", "source.remote", "amp.remote", resistance),
            Resistor("input", "amp.remote", "chassis", 100.0),
            CurrentSource("relay", "amp.remote", "chassis", extra),
        )
    )
    ours = agree(circuit, ngspice, start=None)
    assert ours.voltage("amp.remote") == pytest.approx(remote, abs=1.1)
    if np.isfinite(resistance):
        total = 0.5 + resistance
        divider = (13.7 - extra * total) * 100.0 / (100.0 + total)
        assert ours.voltage("amp.remote") == pytest.approx(divider, rel=REL)


def test_current_in_a_shield_is_noise(ngspice: Callable[..., object]) -> None:
    # Common-impedance law: 316 uA through 1 ohm of shield is 316 uV of noise.
    circuit = Circuit(
        (
            VoltageSource("signal", "source.center", "source.shell", 0.316),
            CurrentSource("loop", "chassis", "source.shell", 316e-6),
            Resistor("shield", "source.shell", "chassis", 1.0),
            Resistor("center", "source.center", "amp.center", 0.5),
            Resistor("input", "amp.center", "chassis", 10e3),
        )
    )
    ours = agree(circuit, ngspice, start=None)
    noise = float(ours.voltage("source.shell")) + 0.316 / 10e3
    assert noise == pytest.approx(316e-6, rel=1e-3)
    # -60 dB under -10 dBV.
    assert 20 * np.log10(noise / 0.316) == pytest.approx(-60.0, abs=0.1)
