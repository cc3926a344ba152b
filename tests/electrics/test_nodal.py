from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.electrics.circuit import (
    Circuit,
    ConstantPowerLoad,
    CurrentSource,
    LimitedSource,
    Resistor,
    VoltageSource,
)
from assistant.electrics.nodal import solve
from assistant.errors import GivenError


def oracle() -> Circuit:
    return Circuit(
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


def test_oracle_circuit() -> None:
    # ngspice, lcapy and hand calculation agree on these figures.
    solved = solve(oracle())
    assert solved.current("load") == pytest.approx(30.29137, abs=5e-6)
    assert solved.voltage("battery.positive") == pytest.approx(12.44854, abs=5e-6)
    assert solved.voltage("battery.positive", "fused") == pytest.approx(30.291e-3, abs=5e-7)
    assert solved.voltage("amp.power", "amp.ground") == pytest.approx(12.11655, abs=5e-6)
    assert solved.voltage("amp.ground") == pytest.approx(0.150851, abs=5e-7)
    assert solved.current("emf") == pytest.approx(-30.29137, abs=5e-6)


@st.composite
def circuits(draw: st.DrawFn) -> Circuit:
    """A chain of nodes to ground with resistors thrown across, sources and gentle loads."""
    count = draw(st.integers(2, 6))
    nodes = [f"n{k}" for k in range(count)]
    ohms = st.floats(0.01, 100.0)
    elements = [VoltageSource("v", "n0", "g", draw(st.floats(1, 20)))]
    elements += [
        Resistor(f"r{k}", nodes[k], nodes[k + 1] if k + 1 < count else "g", draw(ohms))
        for k in range(count)
    ]
    for k in range(draw(st.integers(0, 5))):
        a, b = draw(st.sampled_from([*nodes, "g"])), draw(st.sampled_from([*nodes, "g"]))
        if a != b:
            kind = draw(st.sampled_from(["r", "i", "p", "l"]))
            match kind:
                case "r":
                    elements.append(Resistor(f"x{k}", a, b, draw(ohms)))
                case "i":
                    elements.append(CurrentSource(f"x{k}", a, b, draw(st.floats(-1, 1))))
                case "l":
                    elements.append(LimitedSource(f"x{k}", a, "g" if a != "g" else "n0", 14, 1, 3))
                case _:
                    elements.append(ConstantPowerLoad(f"x{k}", a, b, draw(st.floats(0, 1e-2))))
    return Circuit(tuple(elements), ground="g")


@settings(deadline=None)
@given(circuits())
def test_currents_add_to_nothing_at_every_node(circuit: Circuit) -> None:
    # Kirchhoff's current law, and with it Tellegen's theorem, on whatever converges.
    solved = solve(circuit)
    if not solved.converged:
        return
    power = 0.0
    for node in (*circuit.nodes, "g"):
        net, gross = 0.0, 1e-3
        for element in circuit.elements:
            amps = float(solved.current(element.name))
            net += amps * ((element.a == node) - (element.b == node))
            gross = max(gross, abs(amps))
        assert abs(net) <= 1e-8 * gross
    for element in circuit.elements:
        power += float(solved.current(element.name) * solved.voltage(element.a, element.b))
    assert power == pytest.approx(0.0, abs=1e-6)


@settings(deadline=None)
@given(st.lists(st.floats(0.05, 50.0), min_size=5, max_size=5), st.floats(1, 20))
def test_bridge_against_its_closed_form(ohms: list[float], volts: float) -> None:
    # Wheatstone bridge: the middle branch by Thevenin's theorem.
    r1, r2, r3, r4, middle = ohms
    circuit = Circuit(
        (
            VoltageSource("v", "top", "g", volts),
            Resistor("r1", "top", "a", r1),
            Resistor("r2", "a", "g", r2),
            Resistor("r3", "top", "b", r3),
            Resistor("r4", "b", "g", r4),
            Resistor("middle", "a", "b", middle),
        ),
        ground="g",
    )
    thevenin_v = volts * (r2 / (r1 + r2) - r4 / (r3 + r4))
    thevenin_r = r1 * r2 / (r1 + r2) + r3 * r4 / (r3 + r4)
    current = solve(circuit).current("middle")
    assert current == pytest.approx(thevenin_v / (thevenin_r + middle), rel=1e-8, abs=1e-10)


def test_many_worlds_equal_one_by_one() -> None:
    rng = np.random.default_rng(1)
    ohms, watts = rng.uniform(0.005, 0.5, 60), rng.uniform(0, 900, 60)

    def build(wire: object, power: object) -> Circuit:
        return Circuit(
            (
                VoltageSource("emf", "e", "chassis", 12.6),
                Resistor("wire", "e", "amp", wire),  # type: ignore[arg-type]
                ConstantPowerLoad("load", "amp", "chassis", power),  # type: ignore[arg-type]
            )
        )

    together = solve(build(ohms, watts))
    assert together.converged.any()
    assert not together.converged.all()
    for world in range(60):
        one = solve(build(ohms[world], watts[world]))
        assert bool(one.converged) == together.converged[world]
        if one.converged:
            assert one.voltage("amp") == pytest.approx(together.voltage("amp")[world], rel=1e-10)


def test_highest_solution_is_found_among_several() -> None:
    # Another method on the same circuits: load currents held fixed and corrected from no load
    # up. It creeps, but downwards only, so it stops at the highest solution.
    rng = np.random.default_rng(0)
    worlds = 400

    def spread(low: float, high: float) -> np.ndarray:
        return np.exp(rng.uniform(np.log(low), np.log(high), worlds))

    network = (
        VoltageSource("emf", "cell", "g", spread(1, 13)),
        Resistor("inner", "cell", "posts", spread(0.002, 0.5)),
        LimitedSource("first", "posts", "g", spread(11, 17), spread(0.001, 0.2), spread(1, 200)),
        Resistor("wire", "posts", "power", spread(0.002, 0.3)),
        Resistor("ground", "ground", "g", spread(0.001, 0.1)),
        Resistor("branch", "power", "far", spread(0.002, 0.3)),
        LimitedSource("second", "far", "g", spread(11, 17), spread(0.001, 0.2), spread(1, 200)),
    )
    places = {"amp": ("power", "ground"), "other": ("far", "ground"), "lamps": ("posts", "g")}
    watts = {"amp": spread(1, 1500), "other": spread(1, 800), "lamps": spread(1, 300)}
    loaded = [ConstantPowerLoad(name, *ends, watts[name]) for name, ends in places.items()]
    ours = solve(Circuit((*network, *loaded), ground="g"))

    amps = {name: np.zeros(worlds) for name in places}
    dead = np.zeros(worlds, dtype=bool)
    for _ in range(300):
        held = [CurrentSource(name, *ends, amps[name]) for name, ends in places.items()]
        solved = solve(Circuit((*network, *held), ground="g"))
        volts = {name: solved.voltage(*ends) for name, ends in places.items()}
        dead |= np.any([~(v > 0.05) for v in volts.values()], axis=0)
        before = amps
        amps = {n: np.where(dead, 0.0, watts[n] / np.where(dead, 1.0, volts[n])) for n in places}
    change = np.max([np.abs(amps[n] - before[n]) / (1 + before[n]) for n in places], axis=0)
    settled = ~dead & (change < 1e-10)
    assert (settled | dead).all()
    assert settled.sum() > 100
    assert not (ours.converged & dead).any()
    assert (ours.converged & settled).sum() >= 0.99 * settled.sum()
    both = ours.converged & settled
    for name, ends in places.items():
        assert ours.voltage(*ends)[both] == pytest.approx(volts[name][both], rel=1e-7), name


def test_collapse_is_a_flag_and_no_number() -> None:
    circuit = Circuit(
        (
            VoltageSource("emf", "e", "chassis", 12.6),
            Resistor("wire", "e", "amp", 0.5),
            ConstantPowerLoad("load", "amp", "chassis", [50.0, 500.0]),
        )
    )
    solved = solve(circuit)
    assert solved.converged.tolist() == [True, False]
    assert np.isnan(solved.voltage("amp")[1])


def test_open_resistor_leaves_a_node_floating_at_nothing() -> None:
    circuit = Circuit(
        (
            VoltageSource("emf", "e", "chassis", 12.6),
            Resistor("fuse", "e", "amp", [1e-3, np.inf]),
            Resistor("meter", "amp", "chassis", 10e6),
        )
    )
    assert solve(circuit).voltage("amp") == pytest.approx([12.6, 0.0], abs=1e-6)


@pytest.mark.parametrize(
    "call",
    [
        lambda: Circuit((Resistor("r", "a", "a", 1.0),)),
        lambda: Circuit((Resistor("r", "a", "chassis", 0.0),)),
        lambda: Circuit((Resistor("r", "a", "chassis", np.nan),)),
        lambda: Circuit((Resistor("r", "a", "b", 1.0),)),
        lambda: Circuit((Resistor("r", "a", "chassis", 1.0), Resistor("r", "a", "chassis", 1.0))),
        lambda: Circuit((Resistor("r", "a", "chassis", np.ones((2, 2))),)),
        lambda: Circuit(
            (Resistor("r", "a", "chassis", [1.0, 2.0]), Resistor("s", "a", "chassis", [1.0] * 3))
        ),
        lambda: Circuit((ConstantPowerLoad("p", "a", "chassis", -1.0),)),
        lambda: solve(
            Circuit(
                (VoltageSource("v", "a", "chassis", 12.0), VoltageSource("w", "a", "chassis", 11.0))
            )
        ),
        lambda: solve(oracle()).voltage("nowhere"),
        lambda: solve(oracle()).current("nothing"),
    ],
)
def test_the_impossible_is_refused(call: object) -> None:
    with pytest.raises(GivenError):
        call()  # type: ignore[operator]
