"""The program's choice of checks beside the exact optimum, on models small enough for one.

A small model is a table of joint counts over the repair that is needed and the outcomes of a few
checks. Dynamic programming over every set of outcomes gives the least expected minutes that any
order of checks and repairs can reach; the same table is then played through by the program's own
choice, by the most telling check whatever it costs, by a fixed order, and by repairs alone.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from assistant.diagnosis.choice import best_check
from assistant.diagnosis.information import Outcomes, bits_of, plan_cost

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

__all__ = ["POLICIES", "SmallModel", "cost_of", "drawn_model", "main", "optimum"]

_OUTCOMES: Final = 3
_SEEN: Final = 30_000
"""Cases that a table counts: enough that the counts are as good as probabilities."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SmallModel:
    """Cases by needed repair and outcomes.

    ``classes`` (cases,) numbers the repair, ``outcomes`` (checks, cases) the outcome of each
    check, ``minutes`` (checks,) what each check takes, ``costs`` (classes,) what each repair does.
    """

    classes: NDArray[np.intp]
    outcomes: NDArray[np.intp]
    minutes: NDArray[np.float64]
    costs: NDArray[np.float64]

    def counts(self, index: NDArray[np.intp], check: int) -> Outcomes:
        """Joint counts (classes x outcomes) of the cases at ``index``."""
        count = len(self.costs)
        joint = np.bincount(
            self.classes[index] * _OUTCOMES + self.outcomes[check, index],
            minlength=count * _OUTCOMES,
        )
        return Outcomes(
            joint=joint.reshape(count, _OUTCOMES).astype(np.float64), sampled=len(index)
        )

    def shares(self, index: NDArray[np.intp]) -> NDArray[np.float64]:
        """Probability of each repair in the cases at ``index``, (classes,)."""
        return np.bincount(self.classes[index], minlength=len(self.costs)) / len(index)

    @property
    def unavoidable(self) -> float:
        """Expected minutes of the needed repair itself, which every order has to spend."""
        return float(self.shares(np.arange(len(self.classes))) @ self.costs)

    def repairing(self, index: NDArray[np.intp]) -> float:
        """Give the expected minutes of repairing now, in the best order."""
        return float(plan_cost(self.shares(index), self.costs))


def drawn_model(
    rng: np.random.Generator, *, classes: int = 5, checks: int = 6, cases: int = _SEEN
) -> SmallModel:
    """Draw a model: some checks point at one repair, some part all of them a little.

    Costs and minutes are of the size of those in the data files.
    """
    prior = rng.dirichlet(np.full(classes, 1.5))
    needed = rng.choice(classes, size=cases, p=prior)
    found = np.empty((checks, cases), dtype=np.intp)
    for check in range(checks):
        sharpness = rng.choice([0.25, 1.0])
        table = rng.dirichlet(np.full(_OUTCOMES, sharpness), size=classes)
        pick = rng.random(cases)
        found[check] = (pick[:, np.newaxis] > np.cumsum(table, axis=1)[needed][:, :-1]).sum(axis=1)
    return SmallModel(
        classes=needed.astype(np.intp),
        outcomes=found,
        minutes=rng.uniform(1.0, 8.0, checks),
        costs=rng.uniform(40.0, 170.0, classes),
    )


Policy = Callable[[SmallModel, "NDArray[np.intp]", tuple[int, ...]], int | None]
"""Gives the next check among those left, or None to repair; ``index`` are the cases still meant."""


def _own(model: SmallModel, index: NDArray[np.intp], left: tuple[int, ...]) -> int | None:
    counted = {str(check): model.counts(index, check) for check in left}
    best, _ = best_check(
        counted,
        {check: bits_of(found) for check, found in counted.items()},
        {str(check): float(model.minutes[check]) for check in left},
        model.costs,
        top=float(model.shares(index).max()),
        answered=len(model.minutes) - len(left),
        rng=np.random.default_rng(len(index)),
    )
    return None if best is None else int(best)


def _most_told(model: SmallModel, index: NDArray[np.intp], left: tuple[int, ...]) -> int | None:
    if model.shares(index).max() >= 0.9:
        return None
    return max(left, key=lambda check: bits_of(model.counts(index, check)))


def _fixed(model: SmallModel, index: NDArray[np.intp], left: tuple[int, ...]) -> int | None:
    return None if model.shares(index).max() >= 0.9 else left[0]


POLICIES: Final[dict[str, Policy]] = {
    "own": _own,
    "information": _most_told,
    "fixed": _fixed,
    "repairs": lambda _model, _index, _left: None,
}


def cost_of(model: SmallModel, policy: Policy) -> float:
    """Give the expected minutes of checks and repairs under ``policy``, over the whole table."""

    def after(index: NDArray[np.intp], left: tuple[int, ...]) -> float:
        check = policy(model, index, left) if left else None
        if check is None:
            return model.repairing(index)
        rest = tuple(other for other in left if other != check)
        total = float(model.minutes[check])
        for outcome in range(_OUTCOMES):
            met = index[model.outcomes[check, index] == outcome]
            if len(met):
                total += len(met) / len(index) * after(met, rest)
        return total

    return after(np.arange(len(model.classes)), tuple(range(len(model.minutes))))


def optimum(model: SmallModel) -> float:
    """Least expected minutes that any policy reaches, by dynamic programming over outcomes."""
    known: dict[tuple[int, ...], float] = {}
    checks = len(model.minutes)

    def after(index: NDArray[np.intp], seen: tuple[int, ...]) -> float:
        if seen in known:
            return known[seen]
        best = model.repairing(index)
        for check in range(checks):
            # No check can save more than all of what repairing costs.
            if seen[check] >= 0 or model.minutes[check] >= best:
                continue
            total = float(model.minutes[check])
            for outcome in range(_OUTCOMES):
                met = index[model.outcomes[check, index] == outcome]
                if len(met):
                    now = (*seen[:check], outcome, *seen[check + 1 :])
                    total += len(met) / len(index) * after(met, now)
            best = min(best, total)
        known[seen] = best
        return best

    return after(np.arange(len(model.classes)), (-1,) * checks)


def main(arguments: Sequence[str] | None = None) -> int:
    """Compare the policies with the optimum on drawn models and print the table; 0."""
    parser = argparse.ArgumentParser(
        prog="python -m assistant.benchmarks optimum", description=__doc__
    )
    parser.add_argument("--models", type=int, default=20, help="how many small models (20)")
    parser.add_argument("--seed", type=int, default=1, help="seed of the models (1)")
    given = parser.parse_args(arguments)
    rng = np.random.default_rng(given.seed)
    ratios: dict[str, list[float]] = {name: [] for name in POLICIES}
    minutes = []
    for _ in range(given.models):
        model = drawn_model(rng)
        best = optimum(model) - model.unavoidable
        minutes.append(best)
        for name, policy in POLICIES.items():
            ratios[name].append((cost_of(model, policy) - model.unavoidable) / best)
    print(
        f"{given.models} models of 5 repairs and 6 checks, seed {given.seed}; "
        f"beside the needed repair the optimum spends {np.mean(minutes):.0f} minutes in the mean"
    )
    print(f"{'minutes over the optimum':<26}{'mean':>8}{'worst':>8}")
    for name, found in ratios.items():
        print(f"{name:<26}{np.mean(found):>8.3f}{max(found):>8.3f}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
