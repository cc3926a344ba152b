"""Ohms of speaker lines, leaks and signal leads against the nodal solver, element by element.

A meter on ohms sends a known current and reads the voltage: so does the circuit here, with 1 A.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from response_worlds import PAIRS, POSITIONS, worlds

from assistant.electrics.circuit import (
    Circuit,
    CurrentSource,
    Element,
    Resistor,
    VoltageSource,
)
from assistant.electrics.load import past_short
from assistant.electrics.nodal import solve
from assistant.electrics.responses import Responder
from assistant.knowledge.schema import Do

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from assistant.electrics.parts import Parts

REL = 1e-6
PLACE = "front_left"
SPEAKER_FAULTS = {
    "sound": (),
    "coil shorted": (f"speaker.{PLACE}.coil_shorted",),
    "wires shorted": (f"speaker.{PLACE}.wires_shorted",),
    "wire to chassis": (f"speaker.{PLACE}.wire_to_chassis",),
    "wires shorted and to chassis": (
        f"speaker.{PLACE}.wires_shorted",
        f"speaker.{PLACE}.wire_to_chassis",
    ),
    "wires shorted, coil open": (
        f"speaker.{PLACE}.wires_shorted",
        f"speaker.{PLACE}.coil_open",
    ),
    "wire to chassis, coil open": (
        f"speaker.{PLACE}.wire_to_chassis",
        f"speaker.{PLACE}.coil_open",
    ),
}
EVERY = pytest.mark.parametrize("faults", SPEAKER_FAULTS.values(), ids=SPEAKER_FAULTS)
N = 40


def line(parts: Parts, red: str, black: str) -> Circuit:
    """Two wires from the amplifier to the coil, a short half way, a leak at the amplifier's end.

    Each wire is half of the line's resistance; the meter's current goes from red to black.
    """
    quarter = parts[f"speaker_wire_ohm.{PLACE}"] / 4
    coil = parts[f"nominal_ohm.{PLACE}"] * parts[f"coil_ratio.{PLACE}"]
    coil = np.where(parts[f"coil_open.{PLACE}"] > 0, 1e15, coil)
    on_negative = parts[f"leak_on_negative.{PLACE}"] > 0
    leak = parts[f"leak_ohm.{PLACE}"]
    elements: list[Element] = [
        Resistor("there_1", "plus", "plus_half", quarter),
        Resistor("there_2", "plus_half", "coil_plus", quarter),
        Resistor("coil", "coil_plus", "coil_minus", coil),
        Resistor("back_2", "coil_minus", "minus_half", quarter),
        Resistor("back_1", "minus_half", "minus", quarter),
        Resistor("short", "plus_half", "minus_half", parts[f"wires_short_ohm.{PLACE}"]),
        Resistor("leak_plus", "plus", "chassis", np.where(on_negative, 1e15, leak)),
        Resistor("leak_minus", "minus", "chassis", np.where(on_negative, leak, 1e15)),
        CurrentSource("meter", black, red, 1.0),
    ]
    return Circuit(tuple(elements), ground=black)


def ohms(circuit: Circuit, red: str) -> NDArray[np.float64]:
    solved = solve(circuit)
    assert solved.converged.all()
    return solved.voltage(red)


def reading(parts: Parts, red: str, black: str) -> NDArray[np.float64]:
    """Ohms that the program predicts, without the meter's leads."""
    do = Do(quantity="resistance", red=red, black=black, vehicle="off", audio="off",
            setup=(f"disconnect:speaker.{PLACE}",))  # fmt: skip
    return Responder(parts).predict(do).value - parts["meter_lead_ohm"]


@EVERY
def test_the_line_at_the_amplifier(faults: tuple[str, ...]) -> None:
    parts = worlds(N, seed=1, faults=faults)
    want = ohms(line(parts, "plus", "minus"), "plus")
    got = reading(parts, f"speaker.{PLACE}.amp_positive", f"speaker.{PLACE}.amp_negative")
    is_open = want > 1e8
    assert np.isinf(got[is_open]).all()
    np.testing.assert_allclose(got[~is_open], want[~is_open], rtol=REL)


@EVERY
@pytest.mark.parametrize("end", ["plus", "minus"])
def test_either_wire_against_the_body(faults: tuple[str, ...], end: str) -> None:
    parts = worlds(N, seed=2, faults=faults)
    node = {"plus": "amp_positive", "minus": "amp_negative"}[end]
    want = ohms(line(parts, end, "chassis"), end)
    got = reading(parts, f"speaker.{PLACE}.{node}", "chassis")
    is_open = want > 1e8
    assert np.isinf(got[is_open]).all()
    np.testing.assert_allclose(got[~is_open], want[~is_open], rtol=REL)


def test_the_line_in_ngspice(
    ngspice: Callable[..., tuple[dict[str, float], dict[str, float]]],
) -> None:
    faults = SPEAKER_FAULTS["wires shorted and to chassis"]
    parts = worlds(N, seed=3, faults=faults)
    for red, black in (("plus", "minus"), ("plus", "chassis"), ("minus", "chassis")):
        volts, _ = ngspice(line(parts, red, black), world=5)
        names = {"plus": f"speaker.{PLACE}.amp_positive", "minus": f"speaker.{PLACE}.amp_negative"}
        got = reading(parts, names[red], names.get(black, "chassis"))
        assert got[5] == pytest.approx(volts[red], rel=REL)


def test_a_speaker_at_its_own_terminals_is_its_coil() -> None:
    parts = worlds(N, seed=4, faults=(), **{f"lifted_at_amp__{PLACE}": 0.0})
    got = reading(parts, f"speaker.{PLACE}.positive", f"speaker.{PLACE}.negative")
    coil = parts[f"nominal_ohm.{PLACE}"] * parts[f"coil_ratio.{PLACE}"]
    np.testing.assert_allclose(got, coil, rtol=1e-9)
    # Eminence's FAQ: a nominal 4 ohm speaker has 2.1 to 4 ohm of direct-current resistance.
    four = worlds(500, seed=4, **{f"nominal_ohm__{PLACE}": 4.0, f"lifted_at_amp__{PLACE}": 0.0})
    got = reading(four, f"speaker.{PLACE}.positive", f"speaker.{PLACE}.negative")
    assert ((got > 2.1) & (got < 4.0)).all()


def test_lifted_at_the_wrong_end_a_short_of_the_wires_shows() -> None:
    """With its wires still on, the coil is in parallel with half the line and the short."""
    faults = SPEAKER_FAULTS["wires shorted"]
    parts = worlds(N, seed=5, faults=faults, **{f"lifted_at_amp__{PLACE}": 1.0})
    coil = parts[f"nominal_ohm.{PLACE}"] * parts[f"coil_ratio.{PLACE}"]
    path = parts[f"speaker_wire_ohm.{PLACE}"] / 2 + parts[f"wires_short_ohm.{PLACE}"]
    got = reading(parts, f"speaker.{PLACE}.positive", f"speaker.{PLACE}.negative")
    # Within what a meter's leads leave uncertain (0.2 to 0.5 ohm, a meter guide).
    assert (np.abs(got - coil * path / (coil + path)) < 0.25).all()
    assert (got < 1.0).all()


def test_other_positions_are_not_touched_by_a_fault_here() -> None:
    sound = worlds(N, seed=6)
    faulty = worlds(N, seed=6, faults=SPEAKER_FAULTS["wires shorted and to chassis"])
    other = "front_right"
    for name in ("speaker_wire_ohm", "coil_ratio", "nominal_ohm"):
        assert (sound[f"{name}.{other}"] == faulty[f"{name}.{other}"]).all()
    for place in POSITIONS:
        ends = (f"speaker.{place}.amp_positive", f"speaker.{place}.amp_negative")
        same = reading(sound, *ends) == reading(faulty, *ends)
        assert same.all() == (place != PLACE)


@pytest.mark.parametrize("pair", PAIRS)
@pytest.mark.parametrize("kind", ["", "shorted", "shield_open"])
def test_a_signal_lead_from_center_to_shell_and_to_the_body(pair: str, kind: str) -> None:
    """A lead is a short across its own end beside the source's output resistance."""
    parts = worlds(N, seed=7, faults=(f"signal.{pair}.{kind}",) if kind else ())
    left = np.where(parts[f"shell_parted.{pair}"] > 0, 1e15, parts[f"shell_open_ohm.{pair}"])
    shell = np.where(parts[f"shell_open.{pair}"] > 0, left, 1e-6)
    source = np.where(parts[f"source_out_open.{pair}"] > 0, 1e15, parts[f"source_out_ohm.{pair}"])
    ground = np.where(
        parts[f"shell_floats.{pair}"] > 0, parts[f"shell_float_ohm.{pair}"],
        parts[f"shell_ohm.{pair}"],
    )  # fmt: skip
    elements: list[Element] = [
        Resistor("source", "center", "far", source),
        Resistor("shield", "shell", "far", shell),
        Resistor("short", "center", "shell", parts[f"signal_short_ohm.{pair}"]),
        Resistor("body", "far", "chassis", ground),
    ]
    for red, black in (("center", "shell"), ("shell", "chassis")):
        meter = CurrentSource("meter", black, red, 1.0)
        want = ohms(Circuit((*elements, meter), ground=black), red)
        nodes = {"center": f"signal.{pair}.center", "shell": f"signal.{pair}.shell"}
        do = Do(quantity="resistance", red=nodes[red], black=nodes.get(black, "chassis"),
                vehicle="off", audio="off", setup=(f"disconnect:signal.{pair}",))  # fmt: skip
        got = Responder(parts).predict(do).value - parts["meter_lead_ohm"]
        is_open = want > 1e8
        assert np.isinf(got[is_open]).all()
        # The program leaves the source's 40 ohm and more beside a short of at most 4 out.
        np.testing.assert_allclose(
            got[~is_open], want[~is_open], rtol=0.1 if kind == "shorted" else 1e-3
        )


def test_ohms_along_the_supply_are_sums_of_its_parts() -> None:
    parts = worlds(N, seed=8)
    wire = parts["wire_ohm"] * parts["wire_spread_ratio"] + parts["wire_contact_ohm"]
    ground = parts["ground_wire_ohm"] + parts["ground_contact_ohm"]
    for red, black, want in (
        ("main_fuse.amp_side", "amp.power", wire),
        ("amp.ground", "chassis", ground),
        ("amp.ground", "battery.negative", ground + parts["strap_ohm"]),
    ):
        setup = ("remove:main_fuse", "disconnect:amp_power")
        do = Do(quantity="resistance", red=red, black=black, vehicle="off", audio="off",
                setup=setup)  # fmt: skip
        for asked in (do, do.model_copy(update={"red": black, "black": red})):
            got = Responder(parts).predict(asked).value - parts["meter_lead_ohm"]
            np.testing.assert_allclose(got, want, rtol=1e-9)
    fuse = Do(quantity="resistance", red="main_fuse.battery_side", black="main_fuse.amp_side",
              vehicle="off", audio="off", setup=("remove:main_fuse",))  # fmt: skip
    assert np.isinf(Responder(parts).predict(fuse).value).all()


def test_a_broken_shell_leaves_a_meter_most_of_the_signal() -> None:
    # By hand: 10 Mohm of meter (Fluke 11x) behind 10 Mohm of break shows half, behind 10 kohm all.
    do = Do(
        quantity="ac_voltage", red="signal.front.center", black="signal.front.shell",
        vehicle="accessory", audio="loud", setup=("disconnect:signal.front",),
    )  # fmt: skip
    kept = {"source_dead": 0.0, "converter_dead": 0.0, "shell_parted__front": 0.0}
    sound = Responder(worlds(seed=3, **kept)).predict(do).value
    for left, share in ((1e4, 0.999), (1e7, 0.5), (9e7, 0.1)):
        parts = worlds(seed=3, **kept, shell_open__front=1.0, shell_open_ohm__front=left)
        assert Responder(parts).predict(do).value == pytest.approx(sound * share, rel=1e-3)
    parted = worlds(seed=3, **{**kept, "shell_parted__front": 1.0}, shell_open__front=1.0)
    assert Responder(parted).predict(do).value < 0.01 * sound


@pytest.mark.parametrize("short", [0.02, 0.3, 2.0])
def test_past_a_short_of_the_wires_a_speaker_keeps_its_part(short: float) -> None:
    # Kirchhoff, solved element by element: half the wires, the short, half the wires, the coil.
    parts = worlds(seed=5, **{f"wires_short_ohm__{PLACE}": short})
    half = float(parts[f"speaker_wire_ohm.{PLACE}"][0]) / 2
    circuit = Circuit(
        (
            VoltageSource("music", "out", "chassis", 10.0),
            Resistor("half", "out", "middle", half),
            Resistor("short", "middle", "chassis", short),
        )
    )
    left = float(solve(circuit).voltage("middle", "chassis")) / 10.0
    assert float(past_short(parts, PLACE)[0]) == pytest.approx(left, rel=REL)
