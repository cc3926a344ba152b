"""How long it takes to choose the next check, beside counting every world.

Worlds are drawn for a delivery van with one amplifier and two subwoofers, and every check is
computed in all of them. Then the next check is chosen, as it is after each answer, from a sample
of the worlds; the peer counts all of them for the same checks. Times are of the processor, so
that other work on the machine does not count.
"""

from __future__ import annotations

import argparse
import sys
import time
from typing import TYPE_CHECKING

import numpy as np

from assistant.benchmarks.timing import median_ms
from assistant.diagnosis.choice import choose
from assistant.diagnosis.information import Chance, bits_of, count_outcomes, outcome_bins
from assistant.diagnosis.labour import Bench, minutes_of
from assistant.diagnosis.outlook import belief_of
from assistant.diagnosis.proposal import first_population
from assistant.diagnosis.worlds import WorldModel
from assistant.knowledge import load
from assistant.knowledge.schema import Check, Complaint, Installation

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assistant.diagnosis.population import Population

__all__ = ["main"]

_INSTALLATION = {
    "amplifier": {"channels": 1, "watts_per_channel": 600, "class": "D", "minimum_ohms": 1},
    "speakers": {"sub": {"nominal_ohms": 4}, "sub_2": {"nominal_ohms": 4}},
    "supply": {"wire": {"gauge": "4 AWG", "length_m": 5.0}, "main_fuse": {"amps": 80}},
}


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m assistant.benchmarks choice", description=__doc__
    )
    parser.add_argument("--worlds", type=int, default=50_000, help="how many worlds (50000)")
    parser.add_argument("--checks", type=int, default=60, help="how many checks (60)")
    parser.add_argument("--repeats", type=int, default=15, help="timings of each (15)")
    parser.add_argument("--seed", type=int, default=1, help="seed of every draw (1)")
    return parser


def _count_all(population: Population, rng: np.random.Generator) -> dict[str, float]:
    """Bits of every check from all worlds, drawn again by weight so that each counts as one."""
    names = sorted({fault.repair for fault in population.model.faults})
    number = np.array(
        [names.index(fault.repair) for fault in population.model.faults] + [len(names)]
    )
    index = rng.choice(len(population.weights), len(population.weights), p=population.weights)
    classes = number[population.present.slots[0]][index]
    luck = Chance.draw(population.worlds.count, rng)
    found = {}
    for check in population.checks:
        quantity = population.checks[check].do.quantity
        bins = outcome_bins(quantity, population.predict(check), luck)[index]
        found[check] = bits_of(count_outcomes(classes, len(names) + 1, bins))
    return found


def main(arguments: Sequence[str] | None = None) -> int:
    """Time the choice and print the table; 0."""
    given = _parser().parse_args(arguments)
    knowledge = load()
    installation = Installation.model_validate(_INSTALLATION)
    complaint = Complaint(symptom="protects", when=("running",))
    every: Mapping[str, Check] = knowledge.checks(installation)
    checks = dict(list(every.items())[: given.checks])
    rng = np.random.default_rng(given.seed)
    began = time.process_time()
    population = first_population(WorldModel(installation), complaint, checks, given.worlds, rng)
    drawn = 1e3 * (time.process_time() - began)
    began = time.process_time()
    for check in checks:
        population.predict(check)
    predicted = 1e3 * (time.process_time() - began)
    repairs = knowledge.repairs(installation)

    def next_check() -> str | None:
        return choose(
            population,
            repairs=repairs,
            bench=Bench(),
            answered=set(),
            lately=0,
            barred=frozenset(),
            tried=frozenset(),
            belief=belief_of(population),
            rng=np.random.default_rng(given.seed),
        ).check

    chosen = median_ms(next_check, given.repeats)
    counted = median_ms(
        lambda: _count_all(population, np.random.default_rng(given.seed)),
        max(1, given.repeats // 3),
    )
    bits = _count_all(population, np.random.default_rng(given.seed))
    rate = {check: bits[check] / minutes_of(checks[check], Bench()) for check in checks}
    best, ours = max(rate, key=rate.__getitem__), next_check()
    print(f"{len(population.weights)} worlds, {len(checks)} checks, seed {given.seed}")
    print(f"{'worlds drawn, ms':<44}{drawn:>10.0f}")
    print(f"{'all checks computed in all worlds, ms':<44}{predicted:>10.0f}")
    print(f"{'next check chosen, median ms':<44}{chosen:>10.1f}")
    print(f"{'peer: all worlds counted, median ms':<44}{counted:>10.1f}")
    print(f"{'ratio to the peer':<44}{chosen / counted:>10.2f}")
    shares = "stops for a verdict" if ours is None else f"{rate[ours] / rate[best]:.2f}"
    print(f"{'bits a minute of the choice over the best':<44}{shares:>10}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
