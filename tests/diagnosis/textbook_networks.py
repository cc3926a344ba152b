"""Networks of the literature as weighted worlds, for the code path that weighs a case.

Every joint state of a network is one world whose log weight is the log of its joint
probability. Each node can be "measured": its states are told apart as voltages that lie far
apart, so that a reading without slips is evidence beyond doubt to about 1e-9.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pyagrum as gum
from pgmpy.factors.discrete import TabularCPD
from pgmpy.models import DiscreteBayesianNetwork

from assistant.diagnosis.evidence import ReadingEvidence
from assistant.diagnosis.outlook import fault_probabilities
from assistant.diagnosis.population import Population
from assistant.diagnosis.worlds import Worlds
from assistant.electrics.responses import Predicted
from assistant.knowledge.schema import Check, Complaint, Do
from assistant.readings.reading import Value

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

VOLTS: Final = (12.0, -12.0, 0.0, 4.0, -4.0)


@dataclass(frozen=True)
class Node:
    """States, parents, and a row of probabilities for each joint state of the parents."""

    name: str
    states: tuple[str, ...]
    parents: tuple[str, ...]
    table: Mapping[tuple[str, ...], tuple[float, ...]]


def yes_no(name: str, parents: tuple[str, ...] = (), **rows: float) -> Node:
    """Give a node of yes and no; a key of ``rows`` spells the parents' states: y, yn, nny ..."""
    names = {"y": "yes", "n": "no"}
    table = {
        tuple(names[letter] for letter in key.strip("_")): (p, 1.0 - p) for key, p in rows.items()
    }
    return Node(name, ("yes", "no"), parents, table)


Network = tuple[Node, ...]


def always(name: str, p: float) -> Node:
    return Node(name, ("yes", "no"), (), {(): (p, 1.0 - p)})


# Two parts and a light: own example; pgmpy, pyAgrum and brute force gave 0.652933 and 0.101833.
THREE_NODES: Network = (
    always("battery_bad", 0.1),
    always("fuse_bad", 0.05),
    yes_no("starts", ("battery_bad", "fuse_bad"), yy=0.0, yn=0.01, ny=0.02, nn=0.99),
)
# Jensen, Bayesian Networks and Decision Graphs, chapters 1 and 2 (tables from memory).
CAR_START: Network = (
    always("fuel", 0.98),
    always("plugs", 0.96),
    Node(
        "meter", ("full", "half", "empty"), ("fuel",),
        {("yes",): (0.39, 0.60, 0.01), ("no",): (0.001, 0.001, 0.998)},
    ),
    yes_no("start", ("fuel", "plugs"), yy=0.99, yn=0.01, ny=0.0, nn=0.0),
)  # fmt: skip
# Charniak 1991, Bayesian Networks without Tears (tables from memory).
DOG: Network = (
    always("family_out", 0.15),
    always("bowel_problem", 0.01),
    yes_no("light_on", ("family_out",), y=0.6, n=0.05),
    yes_no("dog_out", ("family_out", "bowel_problem"), yy=0.99, yn=0.90, ny=0.97, nn=0.3),
    yes_no("bark", ("dog_out",), y=0.7, n=0.01),
)
# Russell and Norvig, Artificial Intelligence: A Modern Approach (tables from memory, sure).
ALARM: Network = (
    always("burglary", 0.001),
    always("earthquake", 0.002),
    yes_no("alarm", ("burglary", "earthquake"), yy=0.95, yn=0.94, ny=0.29, nn=0.001),
    yes_no("john", ("alarm",), y=0.90, n=0.05),
    yes_no("mary", ("alarm",), y=0.70, n=0.01),
)
# Lauritzen and Spiegelhalter 1988; tables as in the examples of MRC BUGS.
ASIA: Network = (
    always("asia", 0.01),
    yes_no("tub", ("asia",), y=0.05, n=0.01),
    always("smoke", 0.5),
    yes_no("lung", ("smoke",), y=0.1, n=0.01),
    yes_no("bronc", ("smoke",), y=0.6, n=0.3),
    yes_no("either", ("lung", "tub"), yy=1.0, yn=1.0, ny=1.0, nn=0.0),
    yes_no("xray", ("either",), y=0.98, n=0.05),
    yes_no("dysp", ("bronc", "either"), yy=0.9, yn=0.8, ny=0.7, nn=0.1),
)
NETWORKS: Final[Mapping[str, Network]] = {
    "three nodes": THREE_NODES,
    "car start": CAR_START,
    "dog": DOG,
    "alarm": ALARM,
    "asia": ASIA,
}


def _row(node: Node, state: Mapping[str, str]) -> tuple[float, ...]:
    return node.table[tuple(state[parent] for parent in node.parents)]


class Weighed:
    """A network as a population; ``tell`` weighs it by what is seen of one node."""

    def __init__(self, network: Network) -> None:
        joint = [
            dict(zip([node.name for node in network], states, strict=True))
            for states in itertools.product(*(node.states for node in network))
        ]
        mass = [
            math.prod(_row(node, state)[node.states.index(state[node.name])] for node in network)
            for state in joint
        ]
        held = [(state, p) for state, p in zip(joint, mass, strict=True) if p > 0.0]
        self.total = math.fsum(mass)
        codes = {
            node.name: np.array([node.states.index(state[node.name]) for state, _ in held])
            for node in network
        }
        self._hold(network, codes, np.log([p for _, p in held]))

    def _hold(
        self,
        network: Network,
        codes: Mapping[str, NDArray[np.intp]],
        log_weights: NDArray[np.float64],
    ) -> None:
        """Make the population; ``codes`` number the state of each node, (worlds,) each."""
        self.labels = [(node.name, state) for node in network for state in node.states]
        self.nodes = {node.name: node for node in network}
        slots = np.stack(
            [
                np.where(codes[name] == self.nodes[name].states.index(value), number, -1)
                for number, (name, value) in enumerate(self.labels)
            ]
        ).astype(np.int16)
        predicted = {name: Predicted(value=np.array(VOLTS)[codes[name]]) for name in self.nodes}
        faults = tuple(SimpleNamespace(id=f"{name}={value}") for name, value in self.labels)
        self.population = Population(
            model=SimpleNamespace(faults=faults),  # type: ignore[arg-type]
            complaint=Complaint(symptom="protects"),
            checks={name: _volts_check(name) for name in self.nodes},
            worlds=Worlds(latents=np.zeros((0, len(log_weights)), dtype=np.float32), slots=slots),
            log_weights=log_weights,
            _now=SimpleNamespace(),  # type: ignore[arg-type]
            _predicted=predicted,
        )

    def seen(self, node: str, state: str) -> Value:
        """Give the reading that shows ``node`` in ``state``."""
        return Value(value=VOLTS[self.nodes[node].states.index(state)], unit="V")

    def tell(self, node: str, state: str, *, slip: float = 0.0) -> None:
        item = ReadingEvidence(check=node, reading=self.seen(node, state), slip=slip)
        # With a size of 0 the worlds are never drawn anew: they are all there are.
        self.population.tell(item, np.random.default_rng(0), 0)

    def belief(self, node: str, state: str) -> float:
        return float(fault_probabilities(self.population)[self.labels.index((node, state))])


class Drawn(Weighed):
    """A network too large to list, as worlds drawn from it; only the ``kept`` nodes are held.

    Nodes must come after their parents. All worlds weigh the same before evidence, as the
    program's own first worlds do.
    """

    def __init__(self, network: Network, kept: Sequence[str], count: int, seed: int) -> None:
        rng = np.random.default_rng(seed)
        states = {node.name: node.states for node in network}
        codes: dict[str, NDArray[np.intp]] = {}
        for node in network:
            columns = list(itertools.product(*(states[parent] for parent in node.parents)))
            table = np.cumsum([node.table[column] for column in columns], axis=1)[:, :-1]
            row = np.zeros(count, dtype=np.intp)
            for parent in node.parents:
                row = row * len(states[parent]) + codes[parent]
            codes[node.name] = (rng.random(count)[:, np.newaxis] >= table[row]).sum(axis=1)
        held = tuple(node for node in network if node.name in kept)
        self._hold(held, codes, np.zeros(count))

    def tell(self, node: str, state: str, *, slip: float = 0.0) -> None:
        # Weighed only: the few worlds that a case keeps for choosing checks are not drawn.
        held = self.population
        held.log_weights = held.log_weights + held.weigh(node, self.seen(node, state), slip)


def _volts_check(name: str) -> Check:
    do = Do(quantity="dc_voltage", red="amp.power", black="amp.ground", vehicle="accessory",
            audio="quiet")  # fmt: skip
    return Check(id=name, do=do, minutes=1.0, place="amplifier", grammar="volts", spoken="",
                 typed="", name=name)  # fmt: skip


def in_pyagrum(network: Network) -> gum.BayesNet:
    net = gum.BayesNet()
    for node in network:
        net.add(gum.LabelizedVariable(node.name, node.name, list(node.states)))
    for node in network:
        for parent in node.parents:
            net.addArc(parent, node.name)
        for states, row in node.table.items():
            if node.parents:
                net.cpt(node.name)[dict(zip(node.parents, states, strict=True))] = list(row)
            else:
                net.cpt(node.name).fillWith(list(row))
    return net


def in_pgmpy(network: Network) -> DiscreteBayesianNetwork:
    model = DiscreteBayesianNetwork(
        [(parent, node.name) for node in network for parent in node.parents]
    )
    model.add_nodes_from([node.name for node in network])
    states = {node.name: node.states for node in network}
    for node in network:
        columns = list(itertools.product(*(states[parent] for parent in node.parents)))
        values = np.array([node.table[column] for column in columns]).T
        names: dict[str, Any] = {node.name: list(node.states)}
        names |= {parent: list(states[parent]) for parent in node.parents}
        model.add_cpds(
            TabularCPD(
                node.name, len(node.states), values, evidence=list(node.parents) or None,
                evidence_card=[len(states[p]) for p in node.parents] or None, state_names=names,
            )
        )  # fmt: skip
    assert model.check_model()
    return model


def from_bif(file: Path) -> Network:
    """Read a network in the Bayesian network interchange format; parents come first."""
    net = gum.loadBN(str(file))
    network = []
    for number in net.topologicalOrder():
        variable = net.variable(number)
        parents = tuple(name for name in net.cpt(number).names if name != variable.name())
        states = {name: net.variable(name).labels() for name in parents}
        table = {}
        for column in itertools.product(*states.values()):
            row = net.cpt(number)[dict(zip(parents, column, strict=True))] if parents else None
            table[column] = tuple(map(float, net.cpt(number)[:] if row is None else row))
        network.append(Node(variable.name(), tuple(variable.labels()), parents, table))
    return tuple(network)
