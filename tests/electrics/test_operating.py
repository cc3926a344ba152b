from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from assistant.electrics.charging import solve_source, source_curve
from assistant.electrics.circuit import (
    Circuit,
    ConstantPowerLoad,
    CurrentSource,
    LimitedSource,
    Resistor,
    VoltageSource,
)
from assistant.electrics.nodal import solve
from assistant.electrics.operating import (
    constant_power_operating_point,
    operating_point_two_source,
)
from assistant.errors import GivenError


def test_500_watts_through_16_milliohm() -> None:
    # scipy's brentq and the closed form agree on 41.913301 A (12.6 V, 16 milliohm, 500 W).
    point = constant_power_operating_point(12.6, 0.016, 500.0)
    assert point.current == pytest.approx(41.913301, abs=5e-7)
    by_brentq = brentq(lambda i: (12.6 - 0.016 * i) * i - 500.0, 0.0, 200.0, xtol=1e-12)
    assert point.current == pytest.approx(by_brentq, rel=1e-12)
    assert point.voltage * point.current == pytest.approx(500.0, rel=1e-12)
    assert not point.collapsed


def test_most_power_is_emf_squared_over_four_r() -> None:
    # The maximum power theorem (Jacobi): E^2 / 4R, at half the emf.
    most = 12.6**2 / (4 * 0.05)
    point = constant_power_operating_point(12.6, 0.05, [most * (1 - 1e-9), most * (1 + 1e-9)])
    assert point.collapsed.tolist() == [False, True]
    assert point.voltage == pytest.approx([6.3, 6.3], rel=1e-3)
    assert point.current == pytest.approx([126.0, 126.0], rel=1e-3)


def test_open_path_and_nothing_drawn() -> None:
    point = constant_power_operating_point(
        [12.6, 12.6, 12.6, 12.6, 0.0], [np.inf, np.inf, 0.0, 0.1, 0.1], [500, 0, 500, 0, 10]
    )
    assert point.voltage == pytest.approx([0.0, 12.6, 12.6, 12.6, 0.0])
    assert point.current == pytest.approx([0.0, 0.0, 500 / 12.6, 0.0, 0.0])
    assert point.collapsed.tolist() == [True, False, False, False, True]


@settings(deadline=None)
@given(st.floats(6, 18), st.floats(1e-4, 0.5), st.floats(0, 3000), st.floats(0, 5))
def test_closed_form_against_the_nodal_solver(
    emf: float, ohms: float, watts: float, idle: float
) -> None:
    point = constant_power_operating_point(emf, ohms, watts, idle)
    # Beside the brink two solutions meet, and Newton steps lose their digits.
    inner = emf - ohms * idle
    assume(inner > 0 and abs(inner**2 / (4 * ohms * watts + 1e-12) - 1) > 1e-3)
    circuit = Circuit(
        (
            VoltageSource("emf", "e", "g", emf),
            Resistor("path", "e", "load", ohms),
            ConstantPowerLoad("amp", "load", "g", watts),
            CurrentSource("idle", "load", "g", idle),
        ),
        ground="g",
    )
    solved = solve(circuit)
    assert bool(point.collapsed) is not bool(solved.converged)
    if solved.converged:
        assert point.voltage == pytest.approx(float(solved.voltage("load")), rel=1e-8)
        assert point.current == pytest.approx(float(solved.current("path")), rel=1e-7, abs=1e-8)


sources = st.fixed_dictionaries(
    {
        "set_point": st.floats(11, 17),
        "limit": st.floats(0, 200),
        "battery_emf": st.floats(10, 13),
        "battery_resistance": st.floats(0.002, 0.1),
        "charge_resistance": st.floats(0.1, 0.5),
        "output_resistance": st.floats(1e-3, 0.1),
        "other_current": st.floats(0, 60),
    }
)


def kirchhoff(volts: float, source: dict[str, float]) -> float:
    """Current that alternator and battery give at ``volts``, written out once more."""
    alternator = (source["set_point"] - volts) / source["output_resistance"]
    alternator = min(max(alternator, 0.0), source["limit"])
    over = source["battery_emf"] - volts
    ohms = source["battery_resistance"] if over > 0 else source["charge_resistance"]
    return alternator + over / ohms - source["other_current"]


@settings(deadline=None)
@given(sources, st.floats(0, 300))
def test_source_curve_against_brentq(source: dict[str, float], drawn: float) -> None:
    volts = brentq(lambda v: kirchhoff(v, source) - drawn, -200.0, 60.0, xtol=1e-13, rtol=1e-14)
    assert source_curve(**source).voltage_at(drawn) == pytest.approx(volts, abs=1e-8)
    solved = solve_source(current=drawn, **source)
    assert solved.voltage == pytest.approx(volts, abs=1e-8)
    shared = solved.alternator_current + solved.battery_current
    assert shared == pytest.approx(drawn + source["other_current"], rel=1e-9, abs=1e-9)
    assert 0.0 <= solved.alternator_current <= source["limit"]
    if solved.alternator_current < source["limit"] - 1e-6:
        # Not at its limit: it holds its set-point, or the battery is above it.
        assert solved.output_voltage >= source["set_point"] - 1e-5


@settings(deadline=None)
@given(sources, st.floats(0, 299), st.floats(0.1, 50))
def test_source_falls_with_current(source: dict[str, float], drawn: float, more: float) -> None:
    volts = source_curve(**source).voltage_at([drawn, drawn + more])
    assert volts[1] < volts[0] + 1e-9


@settings(deadline=None)
@given(sources, st.floats(1e-3, 0.2), st.floats(0, 3000), st.floats(0, 3))
def test_two_sources_against_a_scan(
    source: dict[str, float], ohms: float, watts: float, idle: float
) -> None:
    point = operating_point_two_source(resistance=ohms, power=watts, idle_current=idle, **source)
    curve = source_curve(**source)
    at_source = float(curve.voltage_at(point.current))
    assert point.voltage == pytest.approx(max(at_source - ohms * float(point.current), 0), abs=1e-9)
    currents = np.linspace(idle, 2500.0, 50_001)
    power = (currents - idle) * (curve.voltage_at(currents) - ohms * currents)
    if point.collapsed:
        assert power.max() <= watts * (1 + 1e-6) + 1e-6
        given = (point.current - idle) * point.voltage
        if power.max() > 0:
            # Where it collapses it stands at the most that the path can give.
            assert given == pytest.approx(power.max(), rel=1e-3, abs=1e-3)
    else:
        drawn = (point.current - idle) * point.voltage
        assert drawn == pytest.approx(watts, rel=1e-7, abs=1e-6)
        # No lower current would do: it is the stable crossing.
        lower = currents < point.current - 1e-6 * (1 + point.current)
        assert (power[lower] < watts * (1 + 1e-9) + 1e-9).all()


@settings(deadline=None, max_examples=50)
@given(sources, st.floats(2e-3, 0.2), st.floats(10, 1500))
def test_two_sources_against_the_nodal_solver(
    source: dict[str, float], ohms: float, watts: float
) -> None:
    # A battery that gives and takes through one resistance is a plain circuit.
    source = source | {"charge_resistance": source["battery_resistance"]}
    circuit = Circuit(
        (
            VoltageSource("emf", "e", "g", source["battery_emf"]),
            Resistor("inner", "e", "posts", source["battery_resistance"]),
            LimitedSource(
                "alternator",
                "posts",
                "g",
                source["set_point"],
                source["output_resistance"],
                source["limit"],
            ),
            CurrentSource("vehicle", "posts", "g", source["other_current"]),
            Resistor("path", "posts", "load", ohms),
            ConstantPowerLoad("amp", "load", "g", watts),
        ),
        ground="g",
    )
    point = operating_point_two_source(resistance=ohms, power=watts, **source)
    solved = solve(circuit)
    # The nodal solver finds a solution where there is one, and none where there is none.
    assert bool(solved.converged) is not bool(point.collapsed)
    if solved.converged:
        assert solved.voltage("load") == pytest.approx(float(point.voltage), rel=1e-7)


@settings(deadline=None)
@given(sources, st.floats(0.5, 5), st.floats(20, 1e9), st.floats(0, 500))
def test_path_that_cannot_carry_the_idle_current(
    source: dict[str, float], idle: float, ohms: float, watts: float
) -> None:
    # A nearly open fuse: the load sits at 0 V and Ohm's law gives what trickles through.
    ohms = ohms * 2 / idle
    point = operating_point_two_source(resistance=ohms, power=watts, idle_current=idle, **source)
    at_posts = float(source_curve(**source).voltage_at(point.current))
    assert point.collapsed
    assert point.voltage == pytest.approx(0.0, abs=1e-6)
    assert point.current * ohms == pytest.approx(at_posts, rel=1e-6, abs=1e-6)
    plain = constant_power_operating_point(12.6, ohms, watts, idle)
    assert plain.voltage == 0.0
    assert plain.current == pytest.approx(12.6 / ohms)


def test_standing_engine_is_the_battery_alone() -> None:
    alone = constant_power_operating_point(12.6, 0.005 + 0.011, 500.0)
    joined = operating_point_two_source(
        set_point=14.4, limit=0.0, battery_emf=12.6, battery_resistance=0.005,
        resistance=0.011, power=500.0,
    )  # fmt: skip
    assert joined.voltage == pytest.approx(float(alone.voltage), rel=1e-12)


def test_within_its_limit_the_alternator_holds_the_posts() -> None:
    # Kona service manual set-point, 14.55 V at 25 degC; Kirchhoff for the rest.
    solved = solve_source(
        current=[0.0, 20.0, 60.0, 100.0], set_point=14.55, limit=90.0, battery_emf=12.65,
        battery_resistance=0.005,
    )  # fmt: skip
    assert solved.voltage[:3] == pytest.approx([14.55] * 3, abs=1e-6)
    assert solved.voltage[3] == pytest.approx(12.65 - 10 * 0.005)
    assert solved.battery_current[3] == pytest.approx(10.0)
    assert (solved.battery_current[:3] < 0).all()


def test_all_worlds_at_once_equal_one_by_one() -> None:
    rng = np.random.default_rng(3)
    many = {
        "set_point": rng.uniform(13, 16, 400),
        "limit": rng.choice([0.0, 60.0, 120.0], 400),
        "battery_emf": rng.uniform(11, 13, 400),
        "battery_resistance": rng.uniform(0.003, 0.05, 400),
        "resistance": rng.choice([0.01, 0.1, np.inf], 400),
        "power": rng.uniform(0, 1500, 400),
    }
    together = operating_point_two_source(**many)
    for world in range(0, 400, 40):
        one = operating_point_two_source(**{key: values[world] for key, values in many.items()})
        assert one.voltage == together.voltage[world]
        assert one.current == together.current[world]
        assert one.collapsed == together.collapsed[world]


@pytest.mark.parametrize(
    "call",
    [
        lambda: constant_power_operating_point(-1.0, 0.1, 10.0),
        lambda: constant_power_operating_point(12.0, -0.1, 10.0),
        lambda: constant_power_operating_point(12.0, 0.1, np.inf),
        lambda: source_curve(set_point=14.4, limit=-1, battery_emf=12, battery_resistance=0.01),
        lambda: source_curve(
            set_point=14.4, limit=9, battery_emf=12, battery_resistance=0.01, charge_resistance=0
        ),
    ],
)
def test_the_impossible_is_refused(call: object) -> None:
    with pytest.raises(GivenError):
        call()  # type: ignore[operator]
