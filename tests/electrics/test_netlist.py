from __future__ import annotations

import numpy as np
import pytest

from assistant.electrics.circuit import (
    Circuit,
    ConstantPowerLoad,
    CurrentSource,
    LimitedSource,
    Resistor,
    VoltageSource,
)
from assistant.electrics.netlist import parse_output, spice_nodes, write_deck
from assistant.errors import GivenError


def circuit() -> Circuit:
    return Circuit(
        (
            VoltageSource("emf", "cell", "chassis", 12.6),
            Resistor("inner", "cell", "battery.positive", [5e-3, np.inf]),
            LimitedSource("alternator", "battery.positive", "chassis", 14.4, 2e-3, 60.0),
            CurrentSource("vehicle", "battery.positive", "chassis", 8.0),
            ConstantPowerLoad("amp", "battery.positive", "chassis", 300.0),
        )
    )


def test_deck_text() -> None:
    deck = write_deck(circuit(), "two worlds", world=1, start={"battery.positive": 12.6})
    lines = deck.splitlines()
    assert lines[0] == "* two worlds"
    assert "Rinner cell battery_positive 1000000000000000.0" in lines
    assert "Ivehicle battery_positive 0 DC 8" in lines
    assert "Bamp battery_positive 0 I=300/max(V(battery_positive,0),1e-3)" in lines
    assert ".nodeset v(battery_positive)=12.6" in lines
    assert lines[-1] == ".end"
    first = write_deck(circuit(), "two worlds")
    assert "Rinner cell battery_positive 0.0050000000000000001" in first


def test_numbers_keep_all_their_digits() -> None:
    odd = 1.0 / 3.0
    deck = write_deck(Circuit((Resistor("r", "a", "chassis", odd),)), "t")
    line = next(line for line in deck.splitlines() if line.startswith("Rr"))
    assert float(line.split()[-1]) == odd


def test_output_is_read() -> None:
    text = """
Note: some message
v(cell) = 1.260000000000000e+01
V(battery_positive) = 1.251e+01
i(vemf) = -3.5e+00
"""
    volts, amps = parse_output(text, circuit())
    assert volts == {"chassis": 0.0, "cell": 12.6, "battery.positive": 12.51}
    assert amps == {"emf": -3.5}


def test_failed_simulation_is_told() -> None:
    with pytest.raises(GivenError, match="has no v"):
        parse_output("Error: singular matrix", circuit())


def test_names_that_collide_are_refused() -> None:
    twins = Circuit(
        (Resistor("r", "amp.power", "chassis", 1.0), Resistor("s", "amp_power", "chassis", 1.0))
    )
    with pytest.raises(GivenError):
        spice_nodes(twins)
    names = Circuit((Resistor("R.1", "a", "chassis", 1.0), Resistor("r_1", "a", "chassis", 1.0)))
    with pytest.raises(GivenError):
        write_deck(names, "t")
    with pytest.raises(GivenError):
        write_deck(circuit(), "two\nlines")
