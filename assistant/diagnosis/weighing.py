"""All evidence of a case, and the worlds that are weighed by it.

What takes long is only noted as due and done before more is weighed: by then the person has
measured, and ``prepare`` may have done it meanwhile. It comes out the same either way.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from assistant.diagnosis.evidence import Evidence, ReadingEvidence, RepairEvidence, last_epoch
from assistant.diagnosis.proposal import first_population

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from assistant.diagnosis.population import Population
    from assistant.diagnosis.worlds import WorldModel
    from assistant.knowledge.schema import Check, Complaint
    from assistant.readings.reading import Reading

__all__ = ["LATER_WORLDS", "Weighed", "Weighing"]

LATER_WORLDS: Final = 6_000
_REPEATED_SLIP: Final = 0.0005


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """Evidence and worlds as they stood; arrays are shared, never changed."""

    population: Population
    evidence: tuple[Evidence, ...]
    rechecked: frozenset[str]
    anew: int | None


class Weighing:
    """Evidence in the order in which it was told, and the worlds' weights under it.

    ``worlds`` is how many are drawn first; later renewals hold fewer, near the evidence. A
    ``number`` names a place in the case: it seeds what is drawn there.
    """

    def __init__(
        self,
        *,
        model: WorldModel,
        complaint: Complaint,
        checks: Mapping[str, Check],
        seed: int,
        worlds: int,
    ) -> None:
        self._model = model
        self._complaint = complaint
        self._checks = checks
        self._seed = seed
        self._worlds = worlds
        self.clear()

    def clear(self) -> None:
        """Go back to where nothing was told."""
        self.evidence: list[Evidence] = []
        self.rechecked: set[str] = set()
        self._ahead: Population | None = None
        self._anew: int | None = None
        self.population = first_population(
            self._model, self._complaint, self._checks, self._worlds, self._rng(0)
        )

    def _rng(self, *purpose: int) -> np.random.Generator:
        return np.random.default_rng([self._seed, *purpose])

    @property
    def since_repair(self) -> list[Evidence]:
        """The evidence since the last repair."""
        return self.evidence[last_epoch(self.evidence) :]

    # -- keeping ------------------------------------------------------------------------------

    def keep(self) -> Weighed:
        """Give the present state, for ``restore``."""
        return Weighed(
            population=replace(self.population),
            evidence=tuple(self.evidence),
            rechecked=frozenset(self.rechecked),
            anew=self._anew,
        )

    def restore(self, held: Weighed) -> None:
        """Go back to a state that was kept."""
        self.population = held.population
        self.evidence = list(held.evidence)
        self.rechecked = set(held.rechecked)
        self._ahead, self._anew = None, held.anew

    def rest(self) -> None:
        """Let go of what is computed again when it is wanted."""
        self._ahead = None
        self.population.rest()

    # -- telling ------------------------------------------------------------------------------

    def reading(self, check: str, reading: Reading, number: int) -> None:
        """Weigh the worlds by a reading; what was due has been done by ``settle``."""
        earlier = next(
            (
                item
                for item in self.since_repair
                if isinstance(item, ReadingEvidence) and item.check == check
            ),
            None,
        )
        if earlier is None:
            item = ReadingEvidence(check=check, reading=reading)
            self.evidence.append(item)
            self.population.tell(item, self._rng(number, 1), LATER_WORLDS)
            return
        # A repeated check replaces its older answer, and is less likely to be a slip.
        again = ReadingEvidence(check=check, reading=reading, slip=_REPEATED_SLIP)
        self.evidence = [item for item in self.evidence if item is not earlier] + [again]
        self.rechecked.add(check)
        self.population.exchange(earlier, again)
        # These worlds do for choosing a check; others are drawn while it is done.
        self._anew = number

    def not_helped(self, repair: str, number: int) -> None:
        """Weigh the worlds by a repair after which the trouble went on."""
        self.evidence.append(RepairEvidence(repair=repair))
        # After a repair any answer may be doubted again.
        self.rechecked.clear()
        self.population = self._drawn_anew(number)
        self._ahead = self._anew = None

    def _drawn_anew(self, number: int) -> Population:
        """Draw worlds anew and go through all evidence again."""
        population = first_population(
            self._model, self._complaint, self._checks, self._worlds, self._rng(number, 0),
            told=self.evidence,
        )  # fmt: skip
        for place, item in enumerate(self.evidence):
            population.tell(item, self._rng(number, 1, place), LATER_WORLDS)
        return population

    # -- what is due --------------------------------------------------------------------------

    def _settled(self) -> Population:
        if self._anew is not None:
            return self._drawn_anew(self._anew)
        settled = replace(self.population)
        settled.settle(LATER_WORLDS)
        return settled

    def settle(self) -> None:
        """Do what is due, or take what was done ahead."""
        self.population = self._settled() if self._ahead is None else self._ahead
        self._ahead = self._anew = None

    def prepare(self, asked: Iterable[str]) -> None:
        """Do ahead what is due, and compute what weighing an answer to ``asked`` will need."""
        if self._ahead is None:
            self._ahead = self._settled()
        for check in asked:
            self._ahead.predict(check)
        few = self._ahead.thinned()
        for check in self._checks:
            few.simulated(check)
