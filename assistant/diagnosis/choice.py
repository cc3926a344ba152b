"""The next check: most information about the repair per minute, until repairing costs less."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from assistant.diagnosis.information import (
    answered_cost,
    bits_of,
    count_outcomes,
    expected_cost,
)
from assistant.diagnosis.labour import Bench, minutes_of
from assistant.diagnosis.outlook import fault_probabilities
from assistant.diagnosis.population import systematic
from assistant.diagnosis.ranking import LAST_SUSPECT, rank_repairs, repair_costs

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping, Sequence

    from numpy.typing import NDArray

    from assistant.diagnosis.information import Outcomes
    from assistant.diagnosis.population import Population
    from assistant.diagnosis.records import Belief
    from assistant.knowledge.schema import Check, Repair

__all__ = [
    "Choice",
    "barred_checks",
    "best_check",
    "choose",
    "information",
    "surer_words",
    "uncleared_groups",
]

_MUST_CLEAR: Final = ("supply", "load", "signal")
_CLEARED_BELOW: Final = 0.25
_SAMPLE: Final = 8000
_LEAST_SAMPLE: Final = 800
_LOOKED_AT: Final = 16
_LEAST_BITS: Final = 0.004
_ENOUGH: Final = 0.5
_DEALS: Final = 6
_PATIENT_FOR: Final = 18.0
_ENOUGH_WHEN_TIRED: Final = 0.5
_STILL_WORTH: Final = 15.0
"""Minutes that a check must save on the repairs to be asked of somebody who is tired."""
_MOST_ANSWERS: Final = 12
"""Answers after which a likely verdict is given, and after twice as many any: nobody measures for
ever (common practice, no source). More may be told after it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """The check to do next, or None with the repair when it is time for a verdict.

    ``most_telling`` is the check that would tell most if one went on.
    """

    check: str | None
    bits: float
    repair: str
    most_telling: str | None


def barred_checks(cannot: Collection[str], checks: Mapping[str, Check]) -> frozenset[str]:
    """Name what can't be done: who has no clamp for one current has none for another."""
    clamped = {name for name, check in checks.items() if check.do.quantity == "dc_current"}
    return frozenset(cannot) | (clamped if clamped & set(cannot) else frozenset())


def surer_words(choice: Choice | None, checks: Mapping[str, Check]) -> str:
    """Say which check would make the verdict surer, nothing where none would."""
    if choice is None or choice.most_telling is None:
        return ""
    return f"It would be surer after: {checks[choice.most_telling].name}."


def _classes(population: Population, names: list[str]) -> NDArray[np.intp]:
    """Give the number of the first fault's repair, the last class being none, (worlds,)."""
    number = np.array(
        [names.index(fault.repair) for fault in population.model.faults] + [len(names)]
    )
    return np.asarray(number[population.present.slots[0]])


def _outcomes(
    population: Population, checks: Iterable[str], names: list[str], rng: np.random.Generator
) -> dict[str, Outcomes]:
    few = population.thinned()
    # No more draws than the weights are worth: repeats would look like information.
    size = int(np.clip(few.effective, _LEAST_SAMPLE, _SAMPLE))
    index = systematic(few.weights, size, rng)
    classes = _classes(few, names)[index]
    return {
        check: count_outcomes(classes, len(names) + 1, few.simulated(check)[index])
        for check in checks
    }


def _names(population: Population) -> list[str]:
    return sorted({fault.repair for fault in population.model.faults})


def information(
    population: Population, checks: Iterable[str], rng: np.random.Generator
) -> dict[str, float]:
    """Bits that each check tells about the repair."""
    names = _names(population)
    return {
        check: bits_of(outcomes)
        for check, outcomes in _outcomes(population, checks, names, rng).items()
    }


def uncleared_groups(population: Population, answered: set[str]) -> tuple[str, ...]:
    """Name the groups that must be cleared before the amplifier is named, and are not."""
    probabilities = fault_probabilities(population)
    measured = {group for check in answered for group in population.checks[check].clears}
    open_groups = []
    for group in _MUST_CLEAR:
        held = sum(
            p
            for fault, p in zip(population.model.faults, probabilities, strict=True)
            if fault.group == group
        )
        if group not in measured or held > _CLEARED_BELOW:
            open_groups.append(group)
    return tuple(open_groups)


def choose(
    population: Population,
    *,
    repairs: Mapping[str, Repair],
    bench: Bench,
    answered: set[str],
    lately: int,
    barred: frozenset[str],
    tried: frozenset[str],
    belief: Belief,
    rng: np.random.Generator,
) -> Choice:
    """Choose the next check, or the repair; deterministic for ``rng``.

    ``answered`` checks are not asked again, ``lately`` of them were answered since the last
    repair. ``belief`` is that of ``population``.

    Stops when doing the best repair now costs less than any further check saves: minutes of the
    check plus the expected cost of the repairs after it, against that cost now.
    """
    names = _names(population)
    costs = np.append(repair_costs(names, repairs), 1.0)
    candidates = [c for c in population.checks if c not in answered and c not in barred]
    outcomes = _outcomes(population, candidates, names, rng)
    bits = {check: bits_of(found) for check, found in outcomes.items()}
    minutes = {check: minutes_of(population.checks[check], bench) for check in candidates}
    classes = _classes(population, names)
    now: NDArray[np.float64] = np.bincount(
        classes, weights=population.weights, minlength=len(names) + 1
    ).astype(np.float64)
    needed = dict(belief.repairs)
    best_repair = rank_repairs(needed, repairs, tried=tried)[0]
    if best_repair == LAST_SUSPECT:
        uncleared = uncleared_groups(population, answered)
        clearing = [
            check
            for check in _by_rate(bits, minutes)
            if set(population.checks[check].clears) & set(uncleared)
        ]
        if clearing and lately < 2 * _MOST_ANSWERS:
            first = max(
                clearing,
                key=lambda check: (
                    (len(set(population.checks[check].clears) & set(uncleared))
                     * (0.02 + bits[check])) / minutes[check],
                    check,
                ),
            )  # fmt: skip
            return Choice(check=first, bits=bits[first], repair=best_repair, most_telling=first)
    top = float(max(now[:-1]))
    # Whoever was wrong before has more patience, within the same bounds.
    tiring = lately if lately >= 2 * _MOST_ANSWERS else lately // (1 + len(tried))
    best, telling = best_check(outcomes, bits, minutes, costs, top=top, answered=tiring, rng=rng)
    return Choice(
        check=best,
        bits=0.0 if best is None else bits[best],
        repair=best_repair,
        most_telling=telling,
    )


def _by_rate(bits: Mapping[str, float], minutes: Mapping[str, float]) -> list[str]:
    """Sort the checks by bits per minute, the most telling first, ties by name."""
    return sorted(bits, key=lambda check: (-bits[check] / minutes[check], check))


def best_check(
    outcomes: Mapping[str, Outcomes],
    bits: Mapping[str, float],
    minutes: Mapping[str, float],
    costs: NDArray[np.float64],
    *,
    top: float,
    answered: int,
    rng: np.random.Generator,
) -> tuple[str | None, str | None]:
    """Choose among checks by their outcomes: the best one, None when repairing costs less.

    ``bits`` are what each check tells (``bits_of``) in its ``minutes``, ``costs`` the minutes of
    each class's repair, (classes,), ``top`` the probability of the
    likeliest one, ``answered`` how many checks were done. The second item is the check that tells
    most per minute, None where none tells anything.
    """
    by_rate = _by_rate(bits, minutes)
    telling = by_rate[0] if by_rate and bits[by_rate[0]] > _LEAST_BITS else None
    if telling is None:
        return None, None
    # Every further check tries the patience a little more.
    hurry = 1.0 + (answered / _PATIENT_FOR) ** 2
    deals = [rng.permutation(outcomes[telling].sampled) for _ in range(_DEALS)]
    saves = {
        check: _saving(outcomes[check], costs, deals) - hurry * minutes[check]
        for check in by_rate[:_LOOKED_AT]
    }
    worth = [check for check in by_rate[:_LOOKED_AT] if saves[check] > 0.0]
    if answered >= 2 * _MOST_ANSWERS or (not worth and top >= _ENOUGH):
        return None, telling
    if answered >= _MOST_ANSWERS and top >= _ENOUGH_WHEN_TIRED:
        most = max(saves, key=lambda check: (saves[check], check))
        return (most if saves[most] > _STILL_WORTH else None), telling
    return (worth[0] if worth else telling), telling


def _saving(
    outcomes: Outcomes, costs: NDArray[np.float64], deals: Sequence[NDArray[np.intp]]
) -> float:
    """Minutes that the answer surely saves on the repairs.

    Any sample shows some saving by chance; that of the same answers dealt out at random is
    taken off, with a margin for how much it varies. ``deals`` are orders of the sample, (sample,).
    """
    joint = outcomes.joint.astype(np.int64)
    classes = np.repeat(np.arange(len(joint)), joint.sum(axis=1))
    bins = np.repeat(np.arange(joint.shape[1]), joint.sum(axis=0))
    dealt = np.stack([count_outcomes(classes, len(joint), bins[deal]).joint for deal in deals])
    by_chance = answered_cost(dealt / outcomes.sampled, costs)
    margin = 2.0 * float(np.std(by_chance))
    return float(np.mean(by_chance)) - margin - expected_cost(outcomes, costs)
