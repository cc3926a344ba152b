"""The car's solver and ngspice, one test body over both, on published and hand-made circuits."""

from __future__ import annotations

import math

import numpy as np
import pytest

from assistant.errors import MisuseError
from assistant.practice.behaviour import conduct
from assistant.practice.circuit import AmpState, Situation, build
from assistant.practice.draws import draw_installation, draw_parts
from assistant.practice.kinds import KINDS
from assistant.practice.parts import changed
from assistant.practice.solver import Charger, Network, NodalSolver, PowerLoad, Solver
from assistant.practice.spice import SpiceSolver

SOLVERS = [
    pytest.param(NodalSolver, id="own"),
    pytest.param(
        SpiceSolver,
        id="ngspice",
        marks=pytest.mark.skipif(not SpiceSolver.installed(), reason="ngspice is not installed"),
    ),
]


@pytest.fixture(params=SOLVERS)
def solver(request: pytest.FixtureRequest) -> Solver:
    return request.param()


def test_simple_supply_matches_ngspice_lcapy_and_hand(solver: Solver) -> None:
    # Source: one circuit solved by ngspice 39.3, by lcapy 1.26 and by hand, which agree:
    # 12.6 V, 5 mohm, fuse 1 mohm, wire 4.98 mohm, load 0.4 ohm, return 4.98 mohm.
    network = Network("post")
    network.source("battery", "post", 12.6, 5e-3)
    network.resistor("battery", "fuse", 1e-3)
    network.resistor("fuse", "load", 4.98e-3)
    network.resistor("load", "ground", 0.4)
    network.resistor("ground", "post", 4.98e-3)
    volts = solver.solve(network)
    assert volts["battery"] == pytest.approx(12.44854, abs=5e-6)
    assert volts["battery"] - volts["fuse"] == pytest.approx(30.291e-3, abs=5e-7)
    assert volts["load"] - volts["ground"] == pytest.approx(12.11655, abs=5e-6)
    assert volts["ground"] == pytest.approx(0.150851, abs=5e-7)
    assert (volts["load"] - volts["ground"]) / 0.4 == pytest.approx(30.29137, abs=5e-6)


def test_constant_power_load_matches_its_closed_form(solver: Solver) -> None:
    # Source: 500 W through 16 mohm from 12.6 V is 41.913301 A (scipy's brentq and the quadratic).
    network = Network("post")
    network.source("load", "post", 12.6, 16e-3)
    network.loads.append(PowerLoad("load", "post", 500.0, 5.0))
    volts = solver.solve(network)["load"]
    assert 500.0 / volts == pytest.approx(41.913301, abs=1e-6)
    assert volts == pytest.approx((12.6 + math.sqrt(12.6**2 - 4 * 500 * 16e-3)) / 2, rel=1e-9)


@pytest.mark.parametrize(
    ("loads", "ohms"),
    # Source: circuit law; two 4 ohm in parallel 2, 8 with 4 2.6667, three 8 2.6667, four 4 1.
    [((4, 4), 2.0), ((8, 4), 8 / 3), ((8, 8, 8), 8 / 3), ((4, 4, 4, 4), 1.0), ((2, 2), 1.0)],
)
def test_parallel_loads(solver: Solver, loads: tuple[float, ...], ohms: float) -> None:
    network = Network("minus")
    for load in loads:
        network.resistor("plus", "minus", float(load))
    network.current("minus", "plus", 1.0)
    assert solver.solve(network)["plus"] == pytest.approx(ohms, rel=1e-9)


@pytest.mark.parametrize(
    ("draw", "expected"),
    [
        (20.0, 14.4 - 20 * 0.01),  # the charger carries all: set-point less its own drop
        (200.0, 12.6 - (200 - 80) * 0.005),  # at its limit of 80 A the battery gives the rest
    ],
)
def test_charger_regulates_and_then_gives_its_limit(
    solver: Solver, draw: float, expected: float
) -> None:
    # Source: Kirchhoff's current law by hand; the battery takes no charge in this circuit.
    network = Network("ground")
    network.chargers.append(Charger("bus", "ground", 12.6, 0.005, 1e6))
    network.chargers.append(Charger("bus", "ground", 14.4, 0.01, 80.0))
    network.resistor("bus", "ground", expected / draw)
    assert solver.solve(network)["bus"] == pytest.approx(expected, abs=1e-6)


def test_overloaded_supply_falls_below_the_knee(solver: Solver) -> None:
    # Maximum power that 12 V behind 0.1 ohm can give is 12**2 / 0.4 = 360 W (power transfer).
    network = Network("post")
    network.source("load", "post", 12.0, 0.1)
    network.loads.append(PowerLoad("load", "post", 500.0, 5.0))
    volts = solver.solve(network)["load"]
    ohmic = 25.0 / 500.0
    assert volts == pytest.approx(12.0 * ohmic / (ohmic + 0.1), rel=1e-6)
    assert volts < 5.0


@pytest.mark.skipif(not SpiceSolver.installed(), reason="ngspice is not installed")
@pytest.mark.parametrize("kind", list(KINDS))
def test_whole_cars_agree_with_ngspice(kind: str) -> None:
    # Source: ngspice as an independent solver, 1e-6 relative to the battery's voltage.
    rng = np.random.default_rng(11)
    parts = draw_parts(rng, draw_installation(rng, kind))
    ours, spice = NodalSolver(), SpiceSolver()
    place = next(iter(parts.speakers))
    for changes in (
        {},
        {"supply.fuse_contact": 1.7},
        {"supply.ground_contact": 0.4},
        {"charging.setpoint": 17.1},
        {f"speakers.{place}.leak": 2.5},
    ):
        car = changed(parts, changes)
        for vehicle, audio in (("accessory", "quiet"), ("running", "loud"), ("cranking", "quiet")):
            situation = Situation(vehicle=vehicle, audio=audio)
            state = conduct(car, situation).state
            for kind_of_current in ("dc", "audio", "ripple"):
                network = build(car, situation, state, kind=kind_of_current)
                mine, theirs = ours.solve(network), spice.solve(network)
                worst = max(abs(mine[node] - theirs[node]) for node in mine)
                assert worst < 1e-6 * 12, (changes, vehicle, audio, kind_of_current)


@pytest.mark.parametrize("seed", range(40))
def test_currents_balance_at_every_node_however_hard_the_load(seed: int) -> None:
    # Source: Kirchhoff's current law, at loads up to and beyond what the supply can give.
    rng = np.random.default_rng(seed)
    kind = list(KINDS)[seed % len(KINDS)]
    parts = draw_parts(rng, draw_installation(rng, kind))
    vehicle = ("accessory", "running", "cranking")[seed % 3]
    state = AmpState(mode="on", watts=float(rng.uniform(0, 3 * parts.amp.rated)))
    network = build(parts, Situation(vehicle=vehicle), state, sections=frozenset({"supply"}))
    volts = NodalSolver().solve(network)
    balance = dict.fromkeys(volts, 0.0)
    for one, other, ohms in network.resistors:
        amperes = (volts[one] - volts[other]) / ohms
        balance[one] += amperes
        balance[other] -= amperes
    for plus, minus, emf, ohms in network.sources:
        amperes = (volts[plus] - volts[minus] - emf) / ohms
        balance[plus] += amperes
        balance[minus] -= amperes
    for start, end, amperes in network.currents:
        balance[start] += amperes
        balance[end] -= amperes
    for device in (*network.loads, *network.chargers):
        amperes = device.current(volts[device.plus] - volts[device.minus])[0]
        balance[device.plus] += amperes
        balance[device.minus] -= amperes
    del balance[network.reference]
    assert max(abs(amperes) for amperes in balance.values()) < 1e-4


def test_a_negative_resistance_is_refused() -> None:
    with pytest.raises(MisuseError):
        Network().resistor("a", "b", -1.0)
