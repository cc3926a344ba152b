"""How much each check tells about the repair, and what it would save.

Outcomes are simulated once for each world: the predicted reading plus tolerance, put into bins,
which are counted over a sample by weight. Mutual information and the expected cost of the repairs
after the check follow from the counts (classes x bins).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from assistant.diagnosis.likelihood import SLIP, edges_of, jump_chance, on_scale, sigma_on_scale
from assistant.electrics.meter import beep_probability
from assistant.readings.reading import SEEN_ANSWERS, Quantity

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from assistant.electrics.responses import Predicted

__all__ = [
    "Chance",
    "Outcomes",
    "answered_cost",
    "bits_of",
    "count_outcomes",
    "entropy_bits",
    "expected_cost",
    "outcome_bins",
    "plan_cost",
]

_STRAYS: Final = 0.07
_ROOM: Final = 32
"""Bins set aside for a check: numbers, then open line, then jumping."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcomes:
    """Joint counts (classes x bins) of repair and outcome, and how many worlds were sampled."""

    joint: NDArray[np.float64]
    sampled: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Chance:
    """What happens by chance when a check is done in each world, (worlds,) each.

    Drawn once and shared by all checks: every check meets the same luck. ``noise`` is standard
    normal, the others are uniform; ``slips`` are the places of slipped answers and ``instead``
    those whose answers they get.
    """

    noise: NDArray[np.float64]
    holds: NDArray[np.bool_]
    shows: NDArray[np.float64]
    slips: NDArray[np.intp]
    instead: NDArray[np.intp]

    @classmethod
    def draw(cls, count: int, rng: np.random.Generator) -> Chance:
        """Draw for ``count`` worlds."""
        slips = np.flatnonzero(rng.random(count) < SLIP)
        return cls(
            noise=rng.standard_normal(count),
            holds=rng.random(count) < 0.5,
            shows=rng.random(count),
            slips=slips,
            instead=rng.integers(0, count, len(slips)),
        )


def outcome_bins(quantity: Quantity, predicted: Predicted, luck: Chance) -> NDArray[np.intp]:
    """Simulate an answer in every world and give its bin, (worlds,)."""
    value = np.asarray(predicted.value, dtype=np.float64)
    chance = None if predicted.jumps is None else jump_chance(quantity, predicted)
    if predicted.other is not None:
        value = np.where(luck.holds, predicted.other, value)
    if quantity in SEEN_ANSWERS:
        answers = len(SEEN_ANSWERS[quantity])
        bins = value.astype(np.intp)
        # The rest of the same draw says what is answered instead.
        stray = luck.shows < _STRAYS
        return np.where(stray, (luck.shows * (answers / _STRAYS)).astype(np.intp), bins)
    is_open = ~np.isfinite(value)
    if quantity == "continuity":
        beeps = luck.shows < beep_probability(np.where(is_open, np.inf, np.maximum(value, 0)))
        bins = np.where(beeps, 1, 0)
    else:
        safe = np.where(is_open, 0.0, value)
        noisy = on_scale(quantity, safe) + sigma_on_scale(quantity, safe) * luck.noise
        bins = np.searchsorted(edges_of(quantity), noisy)
        bins = np.where(is_open, _ROOM - 2, bins)
    if chance is not None:
        # Beeping and chattering are drawn apart.
        bins = np.where(1.0 - luck.shows < chance, _ROOM - 1, bins)
    bins[luck.slips] = bins[luck.instead]
    return bins


def count_outcomes(
    classes: NDArray[np.intp], class_count: int, bins: NDArray[np.integer[Any]]
) -> Outcomes:
    """Count class and bin together, (classes x bins)."""
    joint = np.bincount(classes * _ROOM + bins, minlength=class_count * _ROOM)
    return Outcomes(
        joint=joint.reshape(class_count, _ROOM).astype(np.float64), sampled=len(classes)
    )


def entropy_bits(probabilities: NDArray[np.float64]) -> float:
    """Shannon entropy in bits of a distribution that sums to 1."""
    p = probabilities[probabilities > 0]
    return float(-np.sum(p * np.log2(p)))


def bits_of(outcomes: Outcomes, *, correct: bool = True) -> float:
    """Mutual information in bits between class and outcome, never below 0.

    I = H(class) + H(bin) - H(class, bin); ``correct`` takes off the bias of a finite sample,
    (cells - rows - columns + 1) / (2 n ln 2) (Miller and Madow).
    """
    joint = outcomes.joint / outcomes.sampled
    rows, columns = joint.sum(axis=1), joint.sum(axis=0)
    bits = entropy_bits(rows) + entropy_bits(columns) - entropy_bits(joint.ravel())
    if correct:
        cells = np.count_nonzero(joint) - np.count_nonzero(rows) - np.count_nonzero(columns) + 1
        bits -= max(cells, 0) / (2.0 * outcomes.sampled * np.log(2.0))
    return max(bits, 0.0)


def plan_cost(
    probabilities: NDArray[np.float64], costs: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Give the expected cost of repairing in the best order, from (..., repairs) to (...,).

    The best order for one fault and certain repairs is by probability over cost (Kalagnanam and
    Henrion 1988, after Kadane and Simon); the cost of each repair is paid where none before it
    helped.
    """
    order = np.argsort(-probabilities / costs, axis=-1, kind="stable")
    sorted_p = np.take_along_axis(probabilities, order, axis=-1)
    before = np.cumsum(sorted_p, axis=-1) - sorted_p
    total = sorted_p.sum(axis=-1, keepdims=True)
    return np.asarray(np.sum(costs[order] * np.maximum(total - before, 0.0), axis=-1))


def expected_cost(outcomes: Outcomes, costs: NDArray[np.float64]) -> float:
    """Give the expected cost of the repairs after the check's answer is known."""
    joint = outcomes.joint / outcomes.sampled
    return float(answered_cost(joint, costs))


def answered_cost(joint: NDArray[np.float64], costs: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give the expected cost of the repairs once the answer is known, (...,).

    ``joint`` are the probabilities of class and bin together, (..., classes, bins).
    """
    # plan_cost is linear in the column's mass, so columns need not be normalised.
    return np.asarray(plan_cost(np.swapaxes(joint, -1, -2), costs).sum(axis=-1))
