"""Answers that can hardly be true together, and which of them most likely slipped."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from assistant.diagnosis.evidence import ReadingEvidence
from assistant.diagnosis.likelihood import fit
from assistant.diagnosis.records import Contradiction

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from assistant.diagnosis.evidence import Evidence
    from assistant.diagnosis.population import Population
    from assistant.knowledge.schema import Check

__all__ = ["likely_slip", "slip_chances"]

_SLIPPED: Final = 0.6


def slip_chances(population: Population, evidence: Iterable[Evidence]) -> dict[str, float]:
    """Give the posterior chance (0 to 1) that each reading of ``evidence`` was a slip.

    In each world it is the slip's share of the reading's density; the mean is by weight.
    """
    weights = population.weights
    chances: dict[str, float] = {}
    for item in evidence:
        if isinstance(item, ReadingEvidence):
            quantity = population.checks[item.check].do.quantity
            found = fit(quantity, item.reading, population.predict(item.check))
            share = item.slip * found.slip / found.mixed(item.slip)
            chances[item.check] = float(weights @ share)
    return chances


def likely_slip(chances: Mapping[str, float], checks: Mapping[str, Check]) -> Contradiction | None:
    """Name the answer that most likely slipped, None where none is likely to have."""
    if not chances:
        return None
    worst = max(chances, key=lambda check: (chances[check], check))
    if chances[worst] <= _SLIPPED:
        return None
    return Contradiction(
        check=worst,
        words=f"The answers can hardly all be true: most likely {checks[worst].name} slipped. "
        "Please take it once more.",
    )
