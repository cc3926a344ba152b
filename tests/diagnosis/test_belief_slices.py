"""Belief over the program's own worlds against pyAgrum and pgmpy on a discretised slice.

A slice is a few hundred worlds of one case. The network has one node for the world, whose prior
is its weight, nodes for faults and repairs that follow from the world, and a node for each
check whose table says how likely each answer is in each world. What the program gets by
multiplying weights the network must get by inference.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pyagrum as gum
import pytest
from diagnosis_cases import COUPE, VAN, bin_of, complaint
from pgmpy.factors.discrete import TabularCPD
from pgmpy.inference import VariableElimination
from pgmpy.models import DiscreteBayesianNetwork

from assistant.diagnosis.evidence import ReadingEvidence
from assistant.diagnosis.information import (
    Chance,
    bits_of,
    count_outcomes,
    entropy_bits,
    outcome_bins,
)
from assistant.diagnosis.likelihood import SLIP, Fit, fit
from assistant.diagnosis.outlook import belief_of, fault_probabilities, predictive
from assistant.diagnosis.proposal import first_population
from assistant.diagnosis.worlds import WorldModel
from assistant.knowledge import load
from assistant.readings.reading import SEEN_ANSWERS, Beep, Reading, Seen

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from assistant.diagnosis.population import Population
    from assistant.knowledge.schema import Complaint, Installation

WORLDS = 300
TOLERANCE = 1e-6
SLICES = {
    "coupe protects": (COUPE, complaint("protects")),
    "coupe, one side silent": (COUPE, complaint("silent_channel", where=["front_left"])),
    "van protects when running": (VAN, complaint("protects", "running")),
    "van will not turn on": (VAN, complaint("will_not_turn_on")),
    "van noise": (VAN, complaint("noise", "running")),
}
EVERY_SLICE = pytest.mark.parametrize(("car", "said"), SLICES.values(), ids=SLICES)


def slice_of(car: Installation, said: Complaint, *, worlds: int = WORLDS) -> Population:
    return first_population(
        WorldModel(car), said, load().checks(car), worlds, np.random.default_rng(5)
    )


def answers_of(quantity: str) -> tuple[Reading, ...]:
    if quantity == "continuity":
        return (Beep(heard=True), Beep(heard=False))
    return tuple(Seen(state=state) for state in SEEN_ANSWERS[quantity])  # type: ignore[index]


def table_of(population: Population, check: str) -> NDArray[np.float64]:
    """Chance of each answer in each world, (worlds x answers): what the program weighs by."""
    quantity = population.checks[check].do.quantity
    columns = [
        fit(quantity, reading, population.predict(check)).mixed(SLIP)
        for reading in answers_of(quantity)
    ]
    return np.stack(columns, axis=1)


def binned_table(population: Population, check: str) -> tuple[NDArray[np.float64], int]:
    """Chance of each bin in each world: its own bin, or by a slip any, (worlds x bins)."""
    bins = bin_of(population.checks[check].do, population.predict(check))
    count = int(bins.max()) + 2
    table = np.full((len(bins), count), SLIP / count)
    table[np.arange(len(bins)), bins] += 1.0 - SLIP
    return table, count


def network(
    population: Population, tables: dict[str, NDArray[np.float64]]
) -> tuple[gum.BayesNet, tuple[str, ...], list[str]]:
    net = gum.BayesNet()
    count = population.worlds.count
    net.add(gum.RangeVariable("world", "world", 0, count - 1))
    net.cpt("world").fillWith(list(population.weights))
    slots = population.worlds.slots
    faults = tuple(fault.id for fault in population.model.faults)
    for number, fault in enumerate(faults):
        net.add(gum.LabelizedVariable(fault, fault, ["absent", "present"]))
        net.addArc("world", fault)
        held = (slots == number).any(axis=0)
        net.cpt(fault)[:] = np.stack([~held, held], axis=1).astype(float)
    repairs = sorted({fault.repair for fault in population.model.faults})
    for repair in repairs:
        ends = [n for n, fault in enumerate(population.model.faults) if fault.repair == repair]
        net.add(gum.LabelizedVariable(repair, repair, ["idle", "needed"]))
        net.addArc("world", repair)
        held = np.isin(slots, ends).any(axis=0)
        net.cpt(repair)[:] = np.stack([~held, held], axis=1).astype(float)
    for check, table in tables.items():
        net.add(gum.RangeVariable(check, check, 0, table.shape[1] - 1))
        net.addArc("world", check)
        net.cpt(check)[:] = table
    return net, faults, repairs


@EVERY_SLICE
def test_the_answers_of_a_check_share_all_the_chance(car: Installation, said: Complaint) -> None:
    population = slice_of(car, said)
    asked = 0
    for name, check in population.checks.items():
        if check.do.quantity in SEEN_ANSWERS or check.do.quantity == "continuity":
            sums = table_of(population, name).sum(axis=1)
            # A loose contact may also let a beeper chatter, which is an answer of its own.
            whole = sums if check.do.quantity != "continuity" else sums[sums > 0.9]
            np.testing.assert_allclose(whole, 1.0, atol=1e-9, err_msg=name)
            asked += 1
    assert asked > 20


@EVERY_SLICE
@pytest.mark.parametrize("told", [1, 2, 3, 4])
def test_answers_in_words_as_pyagrum_has_them(
    car: Installation, said: Complaint, told: int
) -> None:
    population = slice_of(car, said)
    rng = np.random.default_rng(told)
    names = [n for n, c in population.checks.items() if c.do.quantity in SEEN_ANSWERS]
    chosen = [str(name) for name in rng.choice(names, told, replace=False)]
    tables = {}
    for name in chosen:
        table = table_of(population, name)
        tables[name] = table / table.sum(axis=1, keepdims=True)
    net, faults, repairs = network(population, tables)
    infer = gum.LazyPropagation(net)
    for name in chosen:
        quantity = population.checks[name].do.quantity
        number = int(rng.integers(len(answers_of(quantity))))
        reading = answers_of(quantity)[number]
        density = predictive(population, name, quantity, reading)
        infer.makeInference()
        assert density == pytest.approx(infer.posterior(name)[number], abs=TOLERANCE)
        population.tell(ReadingEvidence(check=name, reading=reading), rng, 0)
        infer.addEvidence(name, number)
    infer.makeInference()
    for fault, found in zip(faults, fault_probabilities(population), strict=True):
        assert found == pytest.approx(infer.posterior(fault)[1], abs=TOLERANCE), fault
    for repair, found in belief_of(population).repairs:
        assert found == pytest.approx(infer.posterior(repair)[1], abs=TOLERANCE), repair
    assert len(belief_of(population).repairs) == len(repairs)


@EVERY_SLICE
@pytest.mark.parametrize("told", [1, 2, 3, 4])
def test_meter_readings_in_bins_as_pyagrum_has_them(
    car: Installation, said: Complaint, told: int
) -> None:
    population = slice_of(car, said)
    rng = np.random.default_rng(10 + told)
    names = [
        name
        for name, check in population.checks.items()
        if check.do.quantity in {"dc_voltage", "ac_voltage", "resistance"}
    ]
    chosen = [str(name) for name in rng.choice(names, told, replace=False)]
    tables = {name: binned_table(population, name)[0] for name in chosen}
    net, faults, _ = network(population, tables)
    infer = gum.LazyPropagation(net)
    for name in chosen:
        bins = bin_of(population.checks[name].do, population.predict(name))
        seen = int(rng.choice(bins, p=population.weights))
        hit = Fit(true=(bins == seen).astype(float), slip=1.0 / tables[name].shape[1])
        population.log_weights = population.log_weights + np.log(hit.mixed(SLIP))
        infer.addEvidence(name, seen)
    infer.makeInference()
    for fault, found in zip(faults, fault_probabilities(population), strict=True):
        assert found == pytest.approx(infer.posterior(fault)[1], abs=TOLERANCE), fault


def test_answers_in_words_as_pgmpy_has_them() -> None:
    population = slice_of(*SLICES["coupe protects"], worlds=120)
    chosen = ["protect_light", "protect_light_speakers_off", "sound.front_left"]
    count, weights = population.worlds.count, population.weights
    number = [f.id for f in population.model.faults].index("speaker.front_left.wire_to_chassis")
    held = (population.worlds.slots == number).any(axis=0)
    cpds = [
        TabularCPD("world", count, weights[:, np.newaxis]),
        TabularCPD("fault", 2, np.stack([~held, held]).astype(float), ["world"], [count]),
    ]
    for name in chosen:
        table = table_of(population, name)
        table /= table.sum(axis=1, keepdims=True)
        cpds.append(TabularCPD(name, table.shape[1], table.T, ["world"], [count]))
    model = DiscreteBayesianNetwork([("world", "fault"), *(("world", c) for c in chosen)])
    model.add_cpds(*cpds)
    answered: dict[str, int] = {}
    for name, state in zip(chosen, ("lit", "off", "no"), strict=True):
        quantity = population.checks[name].do.quantity
        answered[name] = SEEN_ANSWERS[quantity].index(state)
        item = ReadingEvidence(check=name, reading=Seen(state=state))
        population.tell(item, np.random.default_rng(0), 0)
        found = VariableElimination(model).query(["fault"], evidence=answered, show_progress=False)
        assert fault_probabilities(population)[number] == pytest.approx(
            found.values[1], abs=TOLERANCE
        )


@EVERY_SLICE
def test_information_as_pyagrum_has_it(car: Installation, said: Complaint) -> None:
    """Mutual information of repair and outcome over the same counts."""
    population = slice_of(car, said)
    rng = np.random.default_rng(3)
    names = sorted({fault.repair for fault in population.model.faults})
    number = np.array([names.index(fault.repair) for fault in population.model.faults])
    index = rng.choice(population.worlds.count, 2000, p=population.weights).astype(np.intp)
    classes = number[population.worlds.slots[0][index]]
    for check in ("amp_supply", "protect_light", "amp_supply_running", "whine_running"):
        quantity = population.checks[check].do.quantity
        bins = outcome_bins(
            quantity, population.predict(check), Chance.draw(population.worlds.count, rng)
        )[index]
        counted = count_outcomes(classes, len(names), bins)
        share = counted.joint / counted.sampled
        rows, columns = share.sum(axis=1), share.sum(axis=0)
        assert counted.sampled == 2000
        assert share.sum() == pytest.approx(1.0)
        net = gum.BayesNet()
        net.add(gum.RangeVariable("repair", "", 0, len(names) - 1))
        net.add(gum.RangeVariable("outcome", "", 0, share.shape[1] - 1))
        net.addArc("repair", "outcome")
        net.cpt("repair").fillWith(list(rows))
        given_row = np.where(rows[:, None] > 0, share / np.maximum(rows[:, None], 1e-12), columns)
        net.cpt("outcome")[:] = given_row
        oracle = gum.InformationTheory(gum.LazyPropagation(net), ["repair"], ["outcome"])
        assert bits_of(counted, correct=False) == pytest.approx(
            oracle.mutualInformationXY(), abs=TOLERANCE
        )
        assert entropy_bits(rows) == pytest.approx(oracle.entropyX(), abs=TOLERANCE)
        assert bits_of(counted) <= bits_of(counted, correct=False)
