"""The weighing of worlds against networks of the literature, pyAgrum and pgmpy."""

from __future__ import annotations

import itertools

import pyagrum as gum
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pgmpy.inference import VariableElimination
from textbook_networks import (
    ALARM,
    ASIA,
    CAR_START,
    DOG,
    NETWORKS,
    THREE_NODES,
    Network,
    Weighed,
    always,
    in_pgmpy,
    in_pyagrum,
    yes_no,
)

TOLERANCE = 1e-6

# network, what is seen, what is asked, the figure. Car start: figures computed from the tables;
# Jensen prints .03965 for one entry (exact .039608). Dog: computed from Charniak's tables.
# Alarm: Russell and Norvig. Asia: pgmpy and pyAgrum agree to six digits on each.
PUBLISHED = [
    (THREE_NODES, {"starts": "no"}, ("battery_bad", "yes"), 0.652933),
    (THREE_NODES, {"starts": "no", "fuse_bad": "yes"}, ("battery_bad", "yes"), 0.101833),
    (CAR_START, {}, ("start", "no"), 0.068216),
    (CAR_START, {"start": "no"}, ("fuel", "no"), 0.293186),
    (CAR_START, {"start": "no"}, ("plugs", "no"), 0.580626),
    (CAR_START, {"start": "no", "meter": "half"}, ("fuel", "no"), 0.000691),
    (CAR_START, {"start": "no", "meter": "half"}, ("plugs", "no"), 0.804350),
    (DOG, {"light_on": "yes", "bark": "no"}, ("family_out", "yes"), 0.500552),
    (DOG, {"light_on": "yes", "bark": "yes"}, ("family_out", "yes"), 0.857859),
    (ALARM, {"john": "yes", "mary": "yes"}, ("burglary", "yes"), 0.284172),
    (ASIA, {}, ("tub", "yes"), 0.0104),
    (ASIA, {}, ("lung", "yes"), 0.055),
    (ASIA, {}, ("bronc", "yes"), 0.45),
    (ASIA, {}, ("either", "yes"), 0.064828),
    (ASIA, {}, ("xray", "yes"), 0.11029),
    (ASIA, {}, ("dysp", "yes"), 0.435971),
    (ASIA, {"asia": "yes", "dysp": "yes"}, ("tub", "yes"), 0.087751),
    (ASIA, {"asia": "yes", "dysp": "yes"}, ("lung", "yes"), 0.099525),
    (ASIA, {"asia": "yes", "dysp": "yes"}, ("bronc", "yes"), 0.811402),
    (ASIA, {"asia": "yes", "dysp": "yes"}, ("either", "yes"), 0.1823),
    (ASIA, {"asia": "yes", "dysp": "yes"}, ("xray", "yes"), 0.219539),
    (ASIA, {"asia": "yes", "dysp": "yes"}, ("smoke", "yes"), 0.62592),
]


@pytest.mark.parametrize(("network", "seen", "asked", "figure"), PUBLISHED)
def test_figures_of_the_literature(
    network: Network, seen: dict[str, str], asked: tuple[str, str], figure: float
) -> None:
    weighed = Weighed(network)
    for node, state in seen.items():
        weighed.tell(node, state)
    assert weighed.belief(*asked) == pytest.approx(figure, abs=TOLERANCE)


def test_a_joint_state_of_the_alarm() -> None:
    # Russell and Norvig: both call, the alarm rings, neither burglary nor earthquake: .000628111.
    weighed, joint = Weighed(ALARM), 1.0
    for node, state in (("burglary", "no"), ("earthquake", "no"), ("alarm", "yes"),
                        ("john", "yes"), ("mary", "yes")):  # fmt: skip
        joint *= weighed.belief(node, state)
        weighed.tell(node, state)
    assert joint == pytest.approx(0.000628111, abs=5e-10)


@pytest.mark.parametrize("name", NETWORKS)
def test_a_network_is_a_whole(name: str) -> None:
    weighed = Weighed(NETWORKS[name])
    assert weighed.total == pytest.approx(1.0, abs=1e-12)
    for node in weighed.nodes.values():
        assert sum(weighed.belief(node.name, s) for s in node.states) == pytest.approx(1.0)


@given(st.data())
@settings(max_examples=60, deadline=None)
def test_any_evidence_as_pyagrum_has_it(data: st.DataObject) -> None:
    network = NETWORKS[data.draw(st.sampled_from(sorted(NETWORKS)))]
    weighed, net = Weighed(network), in_pyagrum(network)
    names = sorted(weighed.nodes)
    seen = data.draw(st.lists(st.sampled_from(names), unique=True, max_size=4))
    infer = gum.LazyPropagation(net)
    # A reading is evidence beyond doubt only to 1e-9, which rare evidence would magnify.
    chance = 1.0
    for node in seen:
        states = weighed.nodes[node].states
        likely = [s for s in states if chance * weighed.belief(node, s) > 0.01]
        if not likely:
            break
        state = data.draw(st.sampled_from(likely))
        chance *= weighed.belief(node, state)
        weighed.tell(node, state)
        infer.addEvidence(node, state)
    infer.makeInference()
    for node in names:
        expected = infer.posterior(node)
        for state in weighed.nodes[node].states:
            assert weighed.belief(node, state) == pytest.approx(
                expected[{node: state}], abs=TOLERANCE
            )


@pytest.mark.parametrize("name", NETWORKS)
def test_evidence_as_pgmpy_has_it(name: str) -> None:
    network = NETWORKS[name]
    infer = VariableElimination(in_pgmpy(network))
    for seen in network:
        weighed = Weighed(network)
        state = max(seen.states, key=lambda s: weighed.belief(seen.name, s))
        weighed.tell(seen.name, state)
        for node in network:
            if node is seen:
                continue
            found = infer.query([node.name], evidence={seen.name: state}, show_progress=False)
            for value in node.states:
                expected = found.get_value(**{node.name: value})
                assert weighed.belief(node.name, value) == pytest.approx(expected, abs=TOLERANCE)


@pytest.mark.parametrize("slip", [0.02, 0.2])
def test_a_reading_that_may_slip_is_soft_evidence(slip: float) -> None:
    """With a chance of a slip a reading becomes a likelihood over the states (Pearl 1988)."""
    weighed, net = Weighed(ASIA), in_pyagrum(ASIA)
    weighed.tell("dysp", "yes", slip=slip)
    # The likelihood: Student's t with 4 degrees of freedom at the state's own voltage, the
    # slip spread evenly over the scale of voltages.
    found = weighed.population
    share = {s: weighed.belief("dysp", s) / Weighed(ASIA).belief("dysp", s) for s in ("yes", "no")}
    infer = gum.LazyPropagation(net)
    infer.addEvidence("dysp", [share["yes"], share["no"]])
    infer.makeInference()
    assert share["no"] > 0.0
    assert share["yes"] > 5 * share["no"]
    assert found.effective > 1.0
    for node in ("tub", "lung", "bronc", "smoke", "xray"):
        assert weighed.belief(node, "yes") == pytest.approx(
            infer.posterior(node)[{node: "yes"}], abs=TOLERANCE
        )


# -- the polybox ------------------------------------------------------------------------------

PARTS = ("M1", "M2", "M3", "A1", "A2")


def consistent(broken: frozenset[str]) -> bool:
    """Tell whether some outputs of the ``broken`` parts explain F=10 and G=12.

    de Kleer and Williams 1987: F = (a c) + (b d), G = (b d) + (c e), inputs 3, 2, 2, 3, 3.
    """
    a, b, c, d, e = 3, 2, 2, 3, 3
    any_number = range(-30, 31)
    first = any_number if "M1" in broken else (a * c,)
    second = any_number if "M2" in broken else (b * d,)
    third = any_number if "M3" in broken else (c * e,)
    return any(
        ("A1" in broken or x + y == 10) and ("A2" in broken or y + z == 12)
        for x, y, z in itertools.product(first, second, third)
    )


def polybox() -> tuple[Weighed, list[frozenset[str]]]:
    """Each part broken with 0.01, and a last node that tells whether the outputs fit."""
    rows = {}
    sets = []
    for states in itertools.product("yn", repeat=len(PARTS)):
        broken = frozenset(p for p, s in zip(PARTS, states, strict=True) if s == "y")
        sets.append(broken)
        rows["".join(states)] = 1.0 if consistent(broken) else 0.0
    network = (*(always(part, 0.01) for part in PARTS), yes_no("fits", PARTS, **rows))
    return Weighed(network), sets


def test_the_polybox_of_de_kleer_and_williams() -> None:
    # Inputs as printed in the paper; the figures were computed, not printed there.
    weighed, sets = polybox()
    weighed.tell("fits", "yes")
    left = [broken for broken in sets if consistent(broken)]
    assert len(left) == 27
    minimal = {s for s in left if not any(other < s for other in left)}
    assert minimal == {
        frozenset({"A1"}), frozenset({"M1"}), frozenset({"A2", "M2"}), frozenset({"M2", "M3"}),
    }  # fmt: skip
    mass = {broken: 0.01 ** len(broken) * 0.99 ** (len(PARTS) - len(broken)) for broken in left}
    found = dict.fromkeys(sets, 0.0)
    for world, weight in enumerate(weighed.population.weights):
        said = labels_of(weighed, world)
        found[frozenset(part for part in PARTS if (part, "yes") in said)] += weight
    for broken in sets:
        expected = mass.get(broken, 0.0) / sum(mass.values())
        assert found[broken] == pytest.approx(expected, abs=TOLERANCE)
    for part in ("A1", "M1"):
        assert found[frozenset({part})] == pytest.approx(0.478026, abs=TOLERANCE)


def labels_of(weighed: Weighed, world: int) -> set[tuple[str, str]]:
    return {weighed.labels[n] for n in weighed.population.worlds.slots[:, world] if n >= 0}
