"""A second battery at the amplifier: hand-computed cases, Kirchhoff's laws, and ngspice at 1e-6.

The hand-computed cases are Thevenin's theorem on two sources side by side (any textbook of
circuits); the random installations are solved by ngspice, element by element.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from supply_circuits import (
    CHARGE_ACCEPTANCE_OHM,
    NODES,
    PLAIN,
    REL,
    STATES,
    by_ngspice,
    circuit,
    draws,
    readings,
)

from assistant.diagnosis.worlds import NO_FAULT, WorldModel, Worlds
from assistant.electrics.battery import open_circuit_voltage
from assistant.electrics.charging import source_curve
from assistant.electrics.circuit import (
    Circuit,
    Element,
    LimitedSource,
    Resistor,
    VoltageSource,
)
from assistant.electrics.joined import battery_current, current_through_link, joined_sources
from assistant.electrics.parts import Situation
from assistant.electrics.responses import Responder
from assistant.electrics.second_battery import settle_joined
from assistant.electrics.supply import Supply
from assistant.knowledge import load
from assistant.knowledge.schema import Do, Installation
from assistant.practice.draws import draw_installation
from assistant.practice.kinds import KINDS

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from supply_circuits import Simulate

    from assistant.electrics.parts import Parts

OPEN = 1e9
LOAD_FLOOR_V = 6.0
SECOND_NODES = (
    "charge_relay.amp_side", "second_fuse.wire_side", "second_battery.positive",
    "second_battery.negative",
)  # fmt: skip


def installation(joined: str, kind: str = "coupe_five", seed: int = 0) -> Installation:
    drawn = draw_installation(np.random.default_rng(seed), kind)
    drawn["supply"]["wire"]["length_m"] += 2.5
    drawn["supply"]["second_battery"] = {"place": "trunk", "joined": joined}
    return Installation.model_validate(drawn)


def parts_of(
    stated: Installation, count: int, rng: np.random.Generator, *faults: str, **changed: float
) -> Parts:
    """Draw worlds with ``faults`` (one of them each in turn), in double precision."""
    model = WorldModel(stated)
    slots = np.full((2, count), NO_FAULT, dtype=np.int16)
    if faults:
        number = {fault.id: n for n, fault in enumerate(model.faults)}
        slots[0] = np.resize([number[fault] for fault in faults], count)
    parts = model.parts(Worlds(latents=model.draw_latents(count, rng), slots=slots))
    values = {name: column.astype(np.float64) for name, column in parts.values.items()}
    values |= {name: np.full(count, value) for name, value in {**PLAIN, **changed}.items()}
    for name in ("battery_ohm", "second_battery_ohm"):
        # The circuit needs a battery that gives through less than it takes through.
        values[name] = np.minimum(values[name], 0.14)
    return replace(parts, values=values)


def relay_ohm(parts: Parts, situation: Situation) -> NDArray[np.float64]:
    """Give the relay's resistance as a person would say it: joined, by whom, and when."""
    closes = parts.flag("relay_stuck")
    if situation.vehicle == "running":
        closes = np.ones_like(closes)
    if situation.vehicle in {"accessory", "cranking"}:
        closes = closes | parts.flag("relay_with_key")
    closed = np.where(closes, parts["relay_ohm"] + parts["relay_contact_ohm"], OPEN)
    return np.where(parts.flag("joined_by_relay"), closed, parts["plain_joint_ohm"])


def joined_circuit(
    parts: Parts, situation: Situation, watts: NDArray[np.float64], amps: NDArray[np.float64]
) -> Circuit:
    """Put the second battery with relay, fuse, ground and lead into the circuit of the supply."""
    one = circuit(parts, situation, watts, amps)
    emf = open_circuit_voltage(parts["second_charge_ratio"], parts.ambient_c)
    emf = emf + parts["second_surface_v"]
    extra = 1.0 / (1.0 / parts["second_battery_ohm"] - 1.0 / CHARGE_ACCEPTANCE_OHM)
    plus, minus = "second_battery.positive", "second_battery.negative"
    unhooked = "disconnect:second_battery" in situation.setup
    ground = parts["second_ground_wire_ohm"] + parts["second_ground_contact_ohm"]
    wire = parts["wire_ohm"] * parts["wire_spread_ratio"] + parts["wire_contact_ohm"]
    second: list[Element] = [
        Resistor("relay", "main_fuse.amp_side", "charge_relay.amp_side",
                 relay_ohm(parts, situation)),
        Resistor("wire", "charge_relay.amp_side", "second_fuse.wire_side", wire),
        Resistor("fuse2", "second_fuse.wire_side", plus,
                 parts["second_fuse_ohm"] + parts["second_fuse_contact_ohm"]),
        Resistor("lead", plus, "amp.power", parts["second_lead_ohm"]),
        VoltageSource("emf2", "cell2", minus, emf),
        Resistor("acceptance2", "cell2", plus, CHARGE_ACCEPTANCE_OHM),
        LimitedSource("gives2", plus, minus, emf, extra, 1e6),
        Resistor("ground2", minus, "chassis", OPEN if unhooked else ground),
    ]  # fmt: skip
    kept = [element for element in one.elements if element.name != "wire"]
    if "remove:main_fuse" in situation.setup:
        kept = [element for element in kept if element.name != "fuse"]
        kept.append(Resistor("fuse", "main_fuse.battery_side", "main_fuse.amp_side", OPEN))
    return Circuit((*kept, *second), ground=one.ground)


def hang_free(parts: Parts, situation: Situation, world: int) -> set[str]:
    """Name the nodes of the link between two open places: what a meter shows there is its own."""
    fuse = parts["fuse_ohm"] + parts["fuse_contact_ohm"]
    wire = parts["wire_ohm"] * parts["wire_spread_ratio"] + parts["wire_contact_ohm"]
    second = parts["second_fuse_ohm"] + parts["second_fuse_contact_ohm"]
    steps = [ohm[world] >= OPEN / 10 for ohm in (fuse, relay_ohm(parts, situation), wire, second)]
    nodes = ("main_fuse.amp_side", "charge_relay.amp_side", "second_fuse.wire_side")
    return {node for at, node in enumerate(nodes, start=1) if any(steps[:at]) and any(steps[at:])}


# -- by hand ----------------------------------------------------------------------------------


def bench(vehicle: str = "accessory", **changed: float) -> tuple[Parts, Situation]:
    """Give one world whose numbers a person can work with: 12.6 V twice, 10 milliohm steps."""
    drawn = parts_of(installation("direct"), 1, np.random.default_rng(0))
    plain = {
        "charge_ratio": 0.95, "surface_charge_v": 0.0, "second_charge_ratio": 0.95,
        "second_surface_v": 0.0, "battery_ohm": 0.010, "second_battery_ohm": 0.010,
        "post_ohm": 0.001, "fuse_ohm": 0.001, "fuse_contact_ohm": 0.001, "wire_ohm": 0.004,
        "wire_spread_ratio": 1.0, "wire_contact_ohm": 0.001, "plain_joint_ohm": 1e-9,
        "second_fuse_ohm": 0.001, "second_fuse_contact_ohm": 0.0005, "strap_ohm": 0.0005,
        "second_ground_wire_ohm": 0.0, "second_ground_contact_ohm": 1e-9,
        "second_lead_ohm": 1e-9, "ground_wire_ohm": 1e-9, "ground_contact_ohm": 0.0,
        "house_accessory_a": 0.0,
    }  # fmt: skip
    values = {n: np.full(1, v) for n, v in {**plain, **changed}.items()}
    return replace(drawn, values={**drawn.values, **values}, ambient_c=25.0), Situation(
        vehicle,
        "quiet",
        frozenset(),  # type: ignore[arg-type]
    )


def settled(parts: Parts, situation: Situation, amps: float) -> dict[str, float]:
    """Settle ``amps`` on both batteries; give volts by node, and the currents."""
    front = Supply(parts).source(situation.vehicle)
    done = settle_joined(parts, situation, front, np.zeros(1), np.full(1, amps))
    numbers = {node: float(volts[0]) for node, volts in done.nodes.items()}
    return numbers | {
        "link_a": float(done.link_a[0]), "second_a": float(done.second_a[0]),
        "front_v": float(done.front_v[0]),
    }  # fmt: skip


def test_two_like_batteries_share_by_their_resistances() -> None:
    """10 milliohm behind 10 of link against 10: the second gives two thirds of 30 A.

    Rest voltage by the BCI table is 12.61 V at 95 %; the joint falls by 20 A times 10 milliohm.
    """
    parts, situation = bench()
    emf = float(open_circuit_voltage(0.95, parts.ambient_c))
    found = settled(parts, situation, 30.0)
    assert found["second_a"] == pytest.approx(20.0, rel=1e-5)
    assert found["link_a"] == pytest.approx(10.0, rel=1e-5)
    joint = found["second_battery.positive"] - found["second_battery.negative"]
    assert joint == pytest.approx(emf - 0.200, abs=1e-6)
    assert found["front_v"] == pytest.approx(emf - 0.100, abs=1e-6)
    # 10 A over 1 + 2 + 5 + 1.5 milliohm of plus side and 0.5 of the body.
    assert found["main_fuse.battery_side"] == pytest.approx(found["front_v"] - 0.010, abs=1e-6)
    assert found["main_fuse.amp_side"] == pytest.approx(found["front_v"] - 0.030, abs=1e-6)
    assert found["second_fuse.wire_side"] == pytest.approx(found["front_v"] - 0.080, abs=1e-6)
    assert found["second_battery.positive"] == pytest.approx(found["front_v"] - 0.095, abs=1e-6)
    assert found["chassis"] == pytest.approx(0.005, abs=1e-6)


def test_a_flat_second_battery_is_charged_by_the_first() -> None:
    """12.61 V behind 20 milliohm into 11.89 V behind 150: 0.72 V / 0.17 ohm, by hand."""
    parts, situation = bench(second_charge_ratio=0.0)
    gap = float(open_circuit_voltage(0.95, 25.0) - open_circuit_voltage(0.0, 25.0))
    found = settled(parts, situation, 0.0)
    assert found["second_a"] == pytest.approx(-gap / 0.170, rel=1e-5)
    assert found["link_a"] == pytest.approx(gap / 0.170, rel=1e-5)


def test_running_the_alternator_charges_both() -> None:
    """14.4 V behind 5 milliohm against the second battery's 12.61 V behind 150, by hand.

    The first battery takes (v - 12.61)/0.15 as well; the posts stand where the currents agree.
    """
    parts, situation = bench(
        "running", charge_v=14.4, charge_ohm=0.005, charge_limit_a=200.0, house_running_a=0.0
    )
    emf = float(open_circuit_voltage(0.95, 25.0))
    found = settled(parts, situation, 0.0)
    give, take, second = 1 / 0.005, 1 / 0.150, 1 / 0.160  # 150 milliohm and 10 of link
    posts = (14.4 * give + emf * (take + second)) / (give + take + second)
    assert found["front_v"] == pytest.approx(posts, abs=1e-6)
    assert found["second_a"] == pytest.approx(-(posts - emf) * second, rel=1e-5)


@pytest.mark.parametrize(
    ("broken", "changed"),
    [
        ("main fuse", {"fuse_contact_ohm": OPEN}),
        ("wire", {"wire_contact_ohm": OPEN}),
        ("second fuse", {"second_fuse_contact_ohm": OPEN}),
        ("relay", {"joined_by_relay": 1.0, "relay_contact_ohm": OPEN}),
    ],
)
def test_with_the_link_open_the_amplifier_lives_on_the_second_battery(
    broken: str, changed: dict[str, float]
) -> None:
    parts, situation = bench(**changed)
    found = settled(parts, situation, 30.0)
    emf = float(open_circuit_voltage(0.95, 25.0))
    assert found["second_battery.positive"] == pytest.approx(emf - 0.300, abs=1e-6), broken
    assert found["front_v"] == pytest.approx(emf, abs=1e-6)
    order = ["main_fuse.battery_side", "main_fuse.amp_side", "charge_relay.amp_side",
             "second_fuse.wire_side"]  # fmt: skip
    first_behind = {"main fuse": 1, "relay": 2, "wire": 3, "second fuse": 4}[broken]
    for place, node in enumerate(order):
        side = emf if place < first_behind else emf - 0.300
        assert found[node] == pytest.approx(side, abs=1e-6), node


def test_between_two_open_places_nothing_is_left() -> None:
    parts, situation = bench(fuse_contact_ohm=OPEN, second_fuse_contact_ohm=OPEN)
    found = settled(parts, situation, 10.0)
    assert found["main_fuse.amp_side"] == found["second_fuse.wire_side"] == 0.0
    assert found["main_fuse.battery_side"] > 12.0


def test_unhooked_it_shows_its_rest_voltage_and_gives_nothing() -> None:
    parts, _ = bench()
    situation = Situation("off", "off", frozenset({"disconnect:second_battery"}))
    found = settled(parts, situation, 0.0)
    across = found["second_battery.positive"] - found["second_battery.negative"]
    assert across == pytest.approx(float(open_circuit_voltage(0.95, 25.0)), abs=1e-6)
    dead = Situation("off", "off", frozenset({"disconnect:second_battery", "remove:main_fuse"}))
    gone = settled(parts, dead, 0.0)
    assert gone["amp.power"] == gone["main_fuse.amp_side"] == 0.0


def test_a_path_that_cannot_give_the_power_collapses() -> None:
    """12.61 V behind 10 milliohm gives V^2/4R at most: 3975 W from the second battery alone."""
    parts, situation = bench(second_fuse_contact_ohm=OPEN)
    front = Supply(parts).source(situation.vehicle)
    most = float(open_circuit_voltage(0.95, 25.0)) ** 2 / (4 * 0.010)
    below, above = (
        settle_joined(parts, situation, front, np.full(1, share * most), np.zeros(1))
        for share in (0.999, 1.001)
    )
    assert not below.collapsed[0]
    assert above.collapsed[0]


# -- Kirchhoff's laws -------------------------------------------------------------------------

OHM = st.one_of(st.floats(1e-3, 0.2), st.just(OPEN))
BATTERY_OHM = st.floats(2e-3, 0.14)


@settings(max_examples=200, deadline=None)
@given(
    set_point=st.floats(11.0, 18.0), limit=st.sampled_from([0.0, 40.0, 150.0]),
    emf=st.floats(9.0, 13.2), ohm=BATTERY_OHM, other=st.floats(0.0, 280.0), link=OHM,
    second_emf=st.floats(6.0, 13.2), give=BATTERY_OHM, drawn=st.floats(-5.0, 250.0),
)  # fmt: skip
def test_the_currents_of_both_sources_add_up(  # noqa: PLR0917
    set_point: float, limit: float, emf: float, ohm: float, other: float, link: float,
    second_emf: float, give: float, drawn: float,
) -> None:  # fmt: skip
    front = source_curve(
        set_point=np.array([set_point if limit else 0.0]), limit=limit, battery_emf=emf,
        battery_resistance=ohm, output_resistance=0.005, other_current=other,
    )  # fmt: skip
    take = max(give, CHARGE_ACCEPTANCE_OHM)
    both = joined_sources(front, link, emf=second_emf, give_ohm=give, take_ohm=take)
    joint = both.voltage_at(drawn)
    first, posts = current_through_link(front, link, joint)
    second = battery_current(second_emf, give, take, joint)
    assert float((first + second)[0]) == pytest.approx(drawn, abs=1e-8)
    assert float(front.voltage_at(first)[0]) == pytest.approx(float(posts[0]), abs=1e-8)
    if link < 1.0:
        assert float((posts - link * first)[0]) == pytest.approx(float(joint[0]), abs=1e-8)
    # Falling: more drawn, less left.
    assert float(both.voltage_at(drawn + 1.0)[0]) < float(joint[0])


# -- ngspice ----------------------------------------------------------------------------------

FAULTS = (
    "supply.battery_weak", "supply.charging_low", "supply.charging_high",
    "supply.main_fuse_loose", "supply.power_wire_resistive", "supply.power_wire_undersized",
    "supply.ground_resistive", "supply.second_battery_weak", "supply.second_fuse_loose",
    "supply.second_fuse_open", "supply.second_ground_resistive",
)  # fmt: skip
RELAY_FAULTS = (
    "supply.charge_relay_open", "supply.charge_relay_burnt", "supply.charge_relay_stuck",
)  # fmt: skip


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("joined", ["direct", "charge_relay"])
@pytest.mark.parametrize("kind", KINDS)
def test_a_random_installation_with_a_second_battery(
    ngspice: Simulate, kind: str, joined: str, seed: int
) -> None:
    rng = np.random.default_rng([seed, len(kind), len(joined)])
    faults = FAULTS if joined == "direct" else (*FAULTS, *RELAY_FAULTS)
    parts = parts_of(installation(joined, kind, seed), 42, rng, *faults)
    for name in rng.permutation(list(STATES))[:3]:
        situation = STATES[name]
        state, nodes = readings(parts, situation)
        watts, amps = draws(parts, situation, state)
        supply = joined_circuit(parts, situation, watts, amps)
        # Only where a world neither collapsed nor tripped for another reason is its draw certain.
        sure = (state.works | ~parts.flag("sag_stays")) & ~state.supply.collapsed
        sure &= (watts == 0.0) | (state.supply.load_v > LOAD_FLOOR_V)
        # A starter that draws its current whatever it gets leaves some batteries below nothing.
        sure &= nodes["battery.positive"] > 0.0
        world = int(rng.choice(np.flatnonzero(sure)))
        wanted = by_ngspice(ngspice, supply, parts, situation, world, floor_v=LOAD_FLOOR_V,
                            nodes=(*NODES, *SECOND_NODES))  # fmt: skip
        free = hang_free(parts, situation, world)
        for node in wanted.keys() - free:
            shown = float(nodes[node][world])
            assert shown == pytest.approx(wanted[node], rel=REL, abs=2e-8), node
        assert all(nodes[node][world] == 0.0 for node in free)


def test_the_set_ups_against_ngspice(ngspice: Simulate) -> None:
    rng = np.random.default_rng(4)
    parts = parts_of(installation("direct"), 6, rng)
    for setup in ({"disconnect:second_battery"}, {"remove:main_fuse"}):
        situation = Situation("accessory", "quiet", frozenset(setup))
        state, nodes = readings(parts, situation)
        watts, amps = draws(parts, situation, state)
        world = int(np.flatnonzero(state.works)[0])
        supply = joined_circuit(parts, situation, watts, amps)
        wanted = by_ngspice(ngspice, supply, parts, situation, world, floor_v=LOAD_FLOOR_V,
                            nodes=(*NODES, *SECOND_NODES))  # fmt: skip
        for node, volts in wanted.items():
            assert float(nodes[node][world]) == pytest.approx(volts, rel=REL, abs=2e-8), node


# -- readings ---------------------------------------------------------------------------------


def median(parts: Parts, check: str, stated: Installation) -> float:
    do = load().checks(stated)[check].do
    return float(np.median(Responder(parts).predict(do).value))


@pytest.mark.parametrize(
    ("fault", "check", "low", "high"),
    [
        # Common practice, no source: what each fault is known by at the meter.
        ("supply.charge_relay_open", "charge_relay_drop_running", 1.0, 5.0),
        ("supply.second_fuse_open", "second_fuse_drop", 1.0, 5.0),
        ("supply.second_fuse_open", "second_battery_running", 10.5, 12.7),
        ("supply.second_ground_resistive", "second_ground_drop", 0.1, 12.0),
        ("supply.charge_relay_stuck", "charge_relay_drop_key", -0.05, 0.05),
        ("supply.second_battery_weak", "second_battery_at_rest", 10.0, 12.1),
    ],
)
def test_each_fault_shows_where_the_trade_looks_for_it(
    fault: str, check: str, low: float, high: float
) -> None:
    stated = installation("charge_relay")
    rng = np.random.default_rng(1)
    sound, faulty = parts_of(stated, 400, rng), parts_of(stated, 400, rng, fault)
    shown = median(faulty, check, stated)
    assert low < shown < high
    if fault != "supply.charge_relay_stuck":
        assert not low < median(sound, check, stated) < high


def test_ripple_hardly_reaches_an_amplifier_behind_an_open_link() -> None:
    stated = installation("direct")
    do = Do(quantity="ac_voltage", red="amp.power", black="amp.ground", vehicle="running",
            audio="quiet")  # fmt: skip
    sound, cut = (
        parts_of(stated, 50, np.random.default_rng(2), *faults)
        for faults in ((), ("supply.second_fuse_open",))
    )
    whole = Responder(sound).predict(do).value
    assert np.all(whole < sound["ripple_v"])
    assert np.all(Responder(cut).predict(do).value < 1e-6)


def test_ohms_from_the_fuse_to_the_lead_count_every_step() -> None:
    parts, _ = bench(meter_lead_ohm=0.0)
    do = Do(
        quantity="resistance", red="main_fuse.amp_side", black="amp.power", vehicle="off",
        audio="off", setup=("remove:main_fuse", "disconnect:amp_power",
                            "disconnect:second_battery"),
    )  # fmt: skip
    # Wire 4 + 1 and fuse 1 + 0.5 milliohm.
    assert float(Responder(parts).predict(do).value[0]) == pytest.approx(0.0065, abs=1e-7)
