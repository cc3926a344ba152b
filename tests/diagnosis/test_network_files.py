"""The weighing of worlds on networks that a reference package carries as files.

The files lie in pgmpy; pyAgrum reads them. Both packages agreed to six digits on each figure.
"""

from __future__ import annotations

import gzip
from dataclasses import replace
from importlib.resources import files
from typing import TYPE_CHECKING

import pyagrum as gum
import pytest
from pgmpy.inference import VariableElimination
from textbook_networks import ALARM, Drawn, Network, Weighed, from_bif, in_pgmpy, in_pyagrum

if TYPE_CHECKING:
    from pathlib import Path

TOLERANCE = 1e-6
CALLS = {"JohnCalls": "True", "MaryCalls": "True"}
SYMPTOMS = {"Xray": "positive", "Dyspnoea": "True"}
SMALL = [
    ("earthquake", CALLS, ("Burglary", "True"), 0.556522),
    ("earthquake", CALLS, ("Earthquake", "True"), 0.351769),
    ("cancer", SYMPTOMS, ("Cancer", "True"), 0.102919),
]


@pytest.fixture(scope="module")
def networks(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Network]:
    folder: Path = tmp_path_factory.mktemp("networks")
    found = {}
    for name in ("earthquake", "cancer", "win95pts"):
        packed = files("pgmpy") / "utils" / "example_models" / f"{name}.bif.gz"
        if not packed.is_file():
            pytest.skip(f"this release of pgmpy carries no {name} network")
        file = folder / f"{name}.bif"
        file.write_bytes(gzip.decompress(packed.read_bytes()))
        found[name] = from_bif(file)
    return found


@pytest.mark.parametrize(("name", "seen", "asked", "figure"), SMALL)
def test_small_networks_from_files(
    networks: dict[str, Network],
    name: str,
    seen: dict[str, str],
    asked: tuple[str, str],
    figure: float,
) -> None:
    network = networks[name]
    weighed = Weighed(network)
    engine = gum.LazyPropagation(in_pyagrum(network))
    for node, state in seen.items():
        weighed.tell(node, state)
        engine.addEvidence(node, state)
    engine.makeInference()
    node, state = asked
    found = VariableElimination(in_pgmpy(network)).query([node], evidence=seen, show_progress=False)
    assert weighed.belief(node, state) == pytest.approx(figure, abs=TOLERANCE)
    assert engine.posterior(node)[{node: state}] == pytest.approx(figure, abs=TOLERANCE)
    assert found.get_value(**{node: state}) == pytest.approx(figure, abs=TOLERANCE)


def test_the_earthquake_file_is_not_the_alarm_of_the_textbook(
    networks: dict[str, Network],
) -> None:
    """A trap: the file says .01 and .02 where Russell and Norvig say .001 and .002."""
    by_name = {node.name: node for node in networks["earthquake"]}
    textbook = {node.name: node for node in ALARM}
    for node, prior in (("Burglary", 0.01), ("Earthquake", 0.02)):
        assert by_name[node].table[()][0] == pytest.approx(prior, abs=1e-7)
        assert textbook[node.lower()].table[()][0] == pytest.approx(prior / 10)
    # All else is the same, so ten times the priors must give the textbook's figure from the file.
    rare = tuple(
        node if node.parents else replace(node, table=textbook[node.name.lower()].table)
        for node in networks["earthquake"]
    )
    weighed = Weighed(rare)
    for node, state in CALLS.items():
        weighed.tell(node, state)
    assert weighed.belief("Burglary", "True") == pytest.approx(0.284172, abs=TOLERANCE)


def test_printer_faults_by_drawn_worlds(networks: dict[str, Network]) -> None:
    """76 nodes and 112 arcs are too many to list: worlds are drawn and weighed, as in a case.

    The network of printer troubles (win95pts); the figures are exact, the drawn worlds come
    within four standard errors.
    """
    network = networks["win95pts"]
    assert len(network) == 76
    assert sum(len(node.parents) for node in network) == 112
    engine = gum.LazyPropagation(in_pyagrum(network))
    engine.addEvidence("Problem1", "No_Output")
    engine.makeInference()
    assert engine.evidenceProbability() == pytest.approx(0.427446, abs=TOLERANCE)
    asked = {("PrtOn", "No"): 0.184208, ("PrtPaper", "No_Paper"): 0.035744,
             ("NetOK", "No"): 0.376372}  # fmt: skip
    count = 200_000
    drawn = Drawn(network, ["Problem1", *(node for node, _ in asked)], count, seed=1)
    before = drawn.belief("Problem1", "No_Output")
    assert before == pytest.approx(0.427446, abs=4 * (0.427446 * 0.572554 / count) ** 0.5)
    apart = {node: abs(drawn.belief(node, state) - p) for (node, state), p in asked.items()}
    drawn.tell("Problem1", "No_Output")
    left = drawn.population.effective
    assert left == pytest.approx(before * count, rel=1e-3)
    for (node, state), figure in asked.items():
        assert engine.posterior(node)[{node: state}] == pytest.approx(figure, abs=TOLERANCE)
        error = (figure * (1.0 - figure) / left) ** 0.5
        assert drawn.belief(node, state) == pytest.approx(figure, abs=4 * error)
        # The evidence moved the belief by far more than that.
        assert apart[node] > 8 * error
