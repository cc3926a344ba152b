"""What the weighted worlds say: belief in repairs and faults, and what a check will read."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from assistant.diagnosis.likelihood import SLIP, fit, jump_chance
from assistant.diagnosis.population import systematic
from assistant.diagnosis.records import Belief, Expectation
from assistant.electrics.meter import beep_probability
from assistant.readings.reading import SEEN_ANSWERS, base_unit

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from assistant.diagnosis.population import Population
    from assistant.electrics.responses import Predicted
    from assistant.readings.reading import Quantity, Reading

__all__ = ["belief_of", "expectation_of", "fault_probabilities", "predictive"]

_SAMPLE: Final = 4000
_BEYOND_METERS_OHM: Final = 1e9


def fault_probabilities(population: Population) -> NDArray[np.float64]:
    """Probability that each fault is present now, (faults,)."""
    slots, weights = population.present.slots, population.weights
    count = len(population.model.faults)
    found = np.zeros(count)
    for row in slots:
        held = row >= 0
        found += np.bincount(row[held], weights=weights[held], minlength=count)
    return np.minimum(found, 1.0)


def belief_of(population: Population) -> Belief:
    """Give repairs and faults by probability, the highest first, ties by name."""
    faults = population.model.faults
    present = fault_probabilities(population)
    slots, weights = population.present.slots, population.weights
    names = sorted({fault.repair for fault in faults})
    number = np.array([names.index(fault.repair) for fault in faults] + [len(names)])
    first, second = number[slots[0]], number[slots[1]]
    needed = np.bincount(first, weights=weights, minlength=len(names) + 1)
    # A repair that both faults need is needed once.
    other = np.where(second == first, len(names), second)
    needed = needed + np.bincount(other, weights=weights, minlength=len(names) + 1)
    repairs = [(name, float(min(p, 1.0))) for name, p in zip(names, needed, strict=False)]
    return Belief(
        repairs=tuple(sorted(repairs, key=lambda item: (-item[1], item[0]))),
        faults=tuple(
            sorted(
                ((fault.id, float(p)) for fault, p in zip(faults, present, strict=True)),
                key=lambda item: (-item[1], item[0]),
            )
        ),
    )


def predictive(population: Population, check: str, quantity: Quantity, reading: Reading) -> float:
    """Predictive density of ``reading``: the mean of its density over the worlds."""
    found = fit(quantity, reading, population.predict(check)).mixed(SLIP)
    return float(population.weights @ found)


def expectation_of(population: Population, check: str, rng: np.random.Generator) -> Expectation:
    """Give the central 90 % of what is predicted, or the answers with their probabilities."""
    quantity = population.checks[check].do.quantity
    population = population.thinned()
    predicted = population.predict(check)
    index = systematic(population.weights, _SAMPLE, rng)
    value = np.asarray(predicted.value[index], dtype=np.float64)
    if quantity in SEEN_ANSWERS:
        shares = np.bincount(value.astype(np.intp), minlength=len(SEEN_ANSWERS[quantity]))
        answers = zip(SEEN_ANSWERS[quantity], shares / len(value), strict=True)
        return Expectation(
            low=None, high=None, unit=None, states=tuple((n, float(p)) for n, p in answers)
        )
    if predicted.other is not None:
        held = rng.random(len(value)) < 0.5
        value = np.where(held, predicted.other[index], value)
    finite = np.isfinite(value)
    spread = 0.02 if quantity == "dc_voltage" else 0.0
    shown = np.where(finite, value, _BEYOND_METERS_OHM)
    low, high = _central(value[finite] if finite.mean() >= 0.1 else shown, spread)
    # Where the answer is hardly a number, the range is given apart, open line as a huge one.
    numbers = quantity != "continuity" and bool(finite.mean() >= 0.1)
    return Expectation(
        low=low if numbers else None,
        high=high if numbers else None,
        unit=base_unit(quantity) if numbers else None,
        states=_states(quantity, predicted, index, value),
        range_with_open=_central(shown, spread),
    )


def _central(value: NDArray[np.float64], spread: float) -> tuple[float, float]:
    """Give the central 90 %, widened by ``spread``."""
    low, high = np.quantile(value, [0.05, 0.95])
    return round(float(low - spread), 3), round(float(high + spread), 3)


def _states(
    quantity: Quantity,
    predicted: Predicted,
    index: NDArray[np.intp],
    value: NDArray[np.float64],
) -> tuple[tuple[str, float], ...]:
    """Give the answers that are no number, with their probabilities."""
    if quantity == "continuity":
        beep = float(np.mean(beep_probability(np.maximum(value, 0.0))))
        return (("beep", beep), ("no_beep", 1.0 - beep))
    jumps = float(jump_chance(quantity, predicted)[index].mean())
    is_open = float(np.mean(~np.isfinite(value)))
    named = (("open_line", is_open), ("unstable", jumps))
    return tuple((name, p) for name, p in named if p > 0.0)
