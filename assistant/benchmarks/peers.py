"""The belief after three answers beside two Bayesian network packages on one discretised slice.

A slice is a few hundred worlds of one case: one node for the world with its weight, one for the
needed repair, and one for each check with the chance of every answer in every world. The packages
(of the extra bench) infer the repair from the answers; the program multiplies weights. All three
must agree, and their times are compared in one run; what does not depend on the answers is
prepared for each beforehand.
"""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING, Final

import numpy as np

from assistant.benchmarks.timing import median_ms
from assistant.diagnosis.likelihood import SLIP, fit
from assistant.diagnosis.outlook import belief_of
from assistant.diagnosis.population import Population
from assistant.diagnosis.proposal import first_population
from assistant.diagnosis.worlds import WorldModel
from assistant.knowledge import load
from assistant.knowledge.schema import Complaint, Installation
from assistant.readings.reading import SEEN_ANSWERS, Seen

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

__all__ = ["main"]

_ANSWERS: Final = {"power_light": "lit", "protect_light": "lit", "protect_light_bare": "off"}
_INSTALLATION: Final = {
    "amplifier": {"channels": 1, "watts_per_channel": 500, "class": "D"},
    "speakers": {"sub": {"nominal_ohms": 4}},
}


def _tables(population: Population) -> dict[str, NDArray[np.float64]]:
    """Chance of each answer in each world, (worlds x answers), by check."""
    found = {}
    for check in _ANSWERS:
        quantity = population.checks[check].do.quantity
        columns = [
            fit(quantity, Seen(state=state), population.predict(check)).mixed(SLIP)
            for state in SEEN_ANSWERS[quantity]
        ]
        table = np.stack(columns, axis=1)
        found[check] = table / table.sum(axis=1, keepdims=True)
    return found


def _answer(population: Population, check: str) -> int:
    return SEEN_ANSWERS[population.checks[check].do.quantity].index(_ANSWERS[check])


def _needed(population: Population, repairs: list[str]) -> NDArray[np.float64]:
    """Whether each repair is needed in each world, (worlds x repairs)."""
    faults = population.model.faults
    slots = population.present.slots
    return np.stack(
        [
            np.isin(slots, [n for n, f in enumerate(faults) if f.repair == name]).any(axis=0)
            for name in repairs
        ],
        axis=1,
    ).astype(float)


def _own(population: Population, repairs: list[str]) -> Callable[[], NDArray[np.float64]]:
    def infer() -> NDArray[np.float64]:
        log_weights = population.log_weights
        for check, state in _ANSWERS.items():
            log_weights = log_weights + population.weigh(check, Seen(state=state), SLIP)
        after = Population(
            model=population.model,
            complaint=population.complaint,
            checks=population.checks,
            worlds=population.worlds,
            log_weights=log_weights,
        )
        stated = dict(belief_of(after).repairs)
        return np.array([stated[name] for name in repairs])

    return infer


def _agrum(population: Population, repairs: list[str]) -> Callable[[], NDArray[np.float64]]:
    import pyagrum as gum  # noqa: PLC0415 - of the extra bench

    net = gum.BayesNet()
    net.add(gum.RangeVariable("world", "world", 0, population.worlds.count - 1))
    net.cpt("world").fillWith(list(population.weights))
    needed = _needed(population, repairs)
    for number, name in enumerate(repairs):
        net.add(gum.LabelizedVariable(name, name, ["idle", "needed"]))
        net.addArc("world", name)
        net.cpt(name)[:] = np.stack([1.0 - needed[:, number], needed[:, number]], axis=1)
    for check, table in _tables(population).items():
        net.add(gum.RangeVariable(check, check, 0, table.shape[1] - 1))
        net.addArc("world", check)
        net.cpt(check)[:] = table

    def infer() -> NDArray[np.float64]:
        engine = gum.LazyPropagation(net)
        engine.setEvidence({check: _answer(population, check) for check in _ANSWERS})
        engine.makeInference()
        return np.array([engine.posterior(name)[1] for name in repairs])

    return infer


def _pgmpy(population: Population, repairs: list[str]) -> Callable[[], NDArray[np.float64]]:
    from pgmpy.factors.discrete import TabularCPD  # noqa: PLC0415 - of the extra bench
    from pgmpy.inference import VariableElimination  # noqa: PLC0415
    from pgmpy.models import DiscreteBayesianNetwork  # noqa: PLC0415

    count = population.worlds.count
    tables = _tables(population)
    net = DiscreteBayesianNetwork([("world", name) for name in (*repairs, *tables)])
    needed = _needed(population, repairs)
    cpds = [TabularCPD("world", count, population.weights[:, np.newaxis])]
    for number, name in enumerate(repairs):
        share = needed[:, number]
        cpds.append(TabularCPD(name, 2, np.stack([1.0 - share, share]), ["world"], [count]))
    for check, table in tables.items():
        cpds.append(TabularCPD(check, table.shape[1], table.T, ["world"], [count]))
    net.add_cpds(*cpds)
    evidence = {check: _answer(population, check) for check in _ANSWERS}

    def infer() -> NDArray[np.float64]:
        engine = VariableElimination(net)
        return np.array([
            engine.query([name], evidence=evidence, show_progress=False).values[1]
            for name in repairs
        ])  # fmt: skip

    return infer


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the times and the agreement; 1 where the three do not agree to 1e-6."""
    parser = argparse.ArgumentParser(
        prog="python -m assistant.benchmarks peers", description=__doc__
    )
    parser.add_argument("--worlds", type=int, default=300, help="worlds of the slice (300)")
    parser.add_argument("--repeats", type=int, default=7, help="timings of each (7)")
    parser.add_argument("--seed", type=int, default=5, help="seed of the worlds (5)")
    given = parser.parse_args(arguments)
    car = Installation.model_validate(_INSTALLATION)
    population = first_population(
        WorldModel(car),
        Complaint(symptom="protects"),
        load().checks(car),
        given.worlds,
        np.random.default_rng(given.seed),
    )
    repairs = sorted({fault.repair for fault in population.model.faults})
    try:
        peers = {
            "own": _own(population, repairs),
            "pyAgrum": _agrum(population, repairs),
            "pgmpy": _pgmpy(population, repairs),
        }
    except ImportError as missing:
        sys.stderr.write(f"{missing}; install probetell[bench].\n")
        return 1
    found = {name: infer() for name, infer in peers.items()}
    took = {name: median_ms(infer, given.repeats) for name, infer in peers.items()}
    off = max(float(np.abs(p - found["own"]).max()) for p in found.values())
    print(f"{given.worlds} worlds, {len(repairs)} repairs, 3 answers, seed {given.seed}")
    print(f"{'':<12}{'ms':>10}{'ratio':>10}")
    for name, ms in took.items():
        print(f"{name:<12}{ms:>10.2f}{ms / took['own']:>10.1f}")
    print(f"largest difference between them {off:.1e}")
    return 0 if off < 1e-6 else 1


if __name__ == "__main__":
    sys.exit(main())
