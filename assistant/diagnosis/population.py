"""Weighted worlds under all that was told, renewed near those that carry the weight.

Readings multiply the weights. When few worlds carry them, worlds are drawn again by weight and
each is moved by Markov steps that leave the posterior as it is: latents are uniform, so a
reflected random step is symmetric, and a fault drawn by its rate needs no further factor.
A renewal takes longer than a person waits for. It is only noted as due, with the seed that it
will be drawn by, and made before the next reading is weighed: the person measures meanwhile.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from assistant.diagnosis.complaint import complaint_fit, still_fails
from assistant.diagnosis.evidence import Evidence, ReadingEvidence, RepairEvidence
from assistant.diagnosis.information import Chance, outcome_bins
from assistant.diagnosis.likelihood import fit
from assistant.diagnosis.worlds import NO_FAULT, WorldModel, Worlds
from assistant.electrics.responses import Predicted, Responder

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from assistant.knowledge.schema import Check, Complaint
    from assistant.readings.reading import Reading

__all__ = ["Population", "systematic"]

_RENEW_BELOW: Final = 0.3
_RENEW_AT_ONCE_BELOW: Final = 0.0015
"""Share of the worlds that must carry the weight lest renewal falls due, or brooks no delay."""
_TEMPER: Final = 0.75
"""Worlds are drawn again by weight to this power, so that unlikely faults keep some worlds."""
_MOVES: Final = 6
_PROBES: Final = 24
_MOVED_TOGETHER: Final = 4
_THINNED: Final = 8000
_THIN_AGAIN_BELOW: Final = 0.4
_THIN_AT_ONCE_BELOW: Final = 0.004
_TINY: Final = 1e-300


def _normal(log_weights: NDArray[np.float64]) -> NDArray[np.float64]:
    weights = np.exp(log_weights - log_weights.max())
    return np.asarray(weights / weights.sum())


@dataclass(slots=True)
class Population:
    """Worlds of one case with their log weights, (worlds,), and predictions as they are now."""

    model: WorldModel
    complaint: Complaint
    checks: Mapping[str, Check]
    worlds: Worlds
    log_weights: NDArray[np.float64]
    told: tuple[Evidence, ...] = ()
    explains: NDArray[np.float64] | None = None
    _due: int | None = None
    _weighed: tuple[NDArray[np.float64], NDArray[np.float64]] | None = None
    _now: Responder | None = None
    _present: Worlds | None = None
    _predicted: dict[str, Predicted] | None = None
    _simulated: dict[str, NDArray[np.int8]] | None = None
    _luck: Chance | None = None
    _since: int = 0
    _thinned: Population | None = None

    # -- the worlds as they are after all repairs ----------------------------------------------

    @property
    def weights(self) -> NDArray[np.float64]:
        """Normalised weights, (worlds,)."""
        if self._weighed is None or self._weighed[0] is not self.log_weights:
            self._weighed = self.log_weights, _normal(self.log_weights)
        return self._weighed[1]

    @property
    def effective(self) -> float:
        """Effective number of worlds: 1 over the sum of squared weights."""
        return float(1.0 / np.sum(self.weights**2))

    @property
    def present(self) -> Worlds:
        """The worlds after all repairs that were told."""
        if self._present is None:
            worlds = self.worlds
            for item in self.told:
                if isinstance(item, RepairEvidence):
                    worlds = self.model.repaired(worlds, item.repair)
            self._present = worlds
        return self._present

    def predict(self, check: str) -> Predicted:
        """Predict ``check`` in the present worlds; each check is computed once."""
        if self._now is None or self._predicted is None:
            self._now = Responder(self.model.parts(self.present))
            self._predicted = {}
        if check not in self._predicted:
            self._predicted[check] = self._now.predict(self.checks[check].do)
        return self._predicted[check]

    def simulated(self, check: str) -> NDArray[np.int8]:
        """Give the bin of one answer to ``check`` in every present world, (worlds,).

        Drawn once: each world keeps its luck, and all checks meet the same.
        """
        if self._luck is None:
            seed = [self._since, self.worlds.count]
            self._luck = Chance.draw(self.worlds.count, np.random.default_rng(seed))
        if self._simulated is None:
            self._simulated = {}
        if check not in self._simulated:
            quantity = self.checks[check].do.quantity
            bins = outcome_bins(quantity, self.predict(check), self._luck)
            self._simulated[check] = bins.astype(np.int8)
        return self._simulated[check]

    def _forget(self) -> None:
        self._now = self._present = self._predicted = self._thinned = None
        self._simulated = self._luck = None
        self._since = len(self.told)

    def rest(self) -> None:
        """Let go of what is computed again when it is wanted: most of the memory of a case."""
        self._now = self._predicted = self._simulated = None
        if self._thinned is not None:
            self._thinned.rest()

    def thinned(self) -> Population:
        """Give a population of fewer worlds, drawn by weight: enough to choose a check by.

        It is kept, weighed by what is told, while enough of it carries the weight.
        """
        if self.worlds.count <= _THINNED:
            return self
        if self._thinned is None or self._thinned.effective < _THIN_AT_ONCE_BELOW * _THINNED:
            rng = np.random.default_rng([len(self.told), self.worlds.count])
            index = systematic(self.weights, _THINNED, rng)
            self._thinned = Population(
                model=self.model,
                complaint=self.complaint,
                checks=self.checks,
                worlds=self.present.take(index),
                log_weights=np.zeros(_THINNED),
            )
        return self._thinned

    def weigh(self, check: str, reading: Reading, slip: float) -> NDArray[np.float64]:
        """Log density of ``reading`` in every present world, (worlds,)."""
        quantity = self.checks[check].do.quantity
        weight = fit(quantity, reading, self.predict(check)).mixed(slip)
        return np.asarray(np.log(np.maximum(weight, _TINY)))

    # -- evidence -----------------------------------------------------------------------------

    def tell(self, item: Evidence, rng: np.random.Generator, size: int) -> None:
        """Take ``item`` into account; where few worlds carry the weight, renewal falls due.

        A renewal that was due is made first. ``size`` is how many worlds it draws.
        """
        self.settle(size)
        if isinstance(item, ReadingEvidence):
            self._reweigh(item)
            self.told = (*self.told, item)
        else:
            self.told = (*self.told, item)
            self._forget()
            self.log_weights = self.log_weights + np.log(still_fails(self.present.slots))
        effective, wanted = self.effective, min(self.worlds.count, size)
        if effective < _RENEW_BELOW * wanted:
            self._due = int(rng.integers(2**62))
        if effective < _RENEW_AT_ONCE_BELOW * wanted:
            self.settle(size)

    def exchange(self, old: ReadingEvidence, new: ReadingEvidence) -> None:
        """Put one reading in the place of another of the same check, for the present worlds."""
        self._reweigh(new, instead_of=old)

    def _reweigh(self, new: ReadingEvidence, *, instead_of: ReadingEvidence | None = None) -> None:
        """Weigh these worlds and the thinned ones by ``new``."""
        # Thinned here at the latest: whether somebody has asked before makes no difference.
        few = self.thinned()
        if few is not self:
            # Others are shared with states that were kept.
            self._thinned = few = replace(few)
            few._reweigh(new, instead_of=instead_of)  # noqa: SLF001 - of its own class
        changed = self.log_weights + self.weigh(new.check, new.reading, new.slip)
        if instead_of is not None:
            old = instead_of
            changed = changed - self.weigh(old.check, old.reading, old.slip)
        self.log_weights = changed

    def settle(self, size: int) -> None:
        """Make the renewal that is due, if one is: the same whenever it is made."""
        if self._due is not None:
            seed, self._due = self._due, None
            self.renew(np.random.default_rng(seed), size)
        elif self._thinned and self._thinned.effective < _THIN_AGAIN_BELOW * _THINNED:
            self._thinned = None

    def log_fit(self, worlds: Worlds) -> NDArray[np.float64]:
        """Log likelihood of complaint and all that was told, (worlds,), for any worlds."""
        responder = Responder(self.model.parts(worlds))
        total = np.log(complaint_fit(responder, self.complaint, self.model.faults, worlds.slots))
        now = worlds
        for item in self.told:
            if isinstance(item, RepairEvidence):
                now = self.model.repaired(now, item.repair)
                responder = Responder(self.model.parts(now))
                total += np.log(still_fails(now.slots))
            else:
                do = self.checks[item.check].do
                found = fit(do.quantity, item.reading, responder.predict(do))
                total += np.log(np.maximum(found.mixed(item.slip), _TINY))
        return total

    # -- renewal ------------------------------------------------------------------------------

    def renew(self, rng: np.random.Generator, size: int) -> None:
        """Draw ``size`` worlds again by tempered weight and move each one."""
        tempered = _normal(_TEMPER * self.log_weights)
        index = systematic(tempered, size, rng)
        self.worlds = self.worlds.take(index)
        self.log_weights = (1.0 - _TEMPER) * self.log_weights[index]
        # The moves are fair only where either fault of a pair may stand first.
        self._turn(rng.random(self.worlds.count) < 0.5)
        fits = self.log_fit(self.worlds)
        free = self._free_rows(rng)
        fits = self._move(self._redrawn(free, rng), fits, rng)
        bound = np.flatnonzero(~free)
        for number in range(_MOVES):
            fits = self._move(self._stepped(bound, rng), fits, rng)
            if number % 2:
                fits = self._move(self._exchanged(rng), fits, rng)
        if self.explains is not None:
            first, second = self.worlds.slots
            self._turn(self.explains[second] > self.explains[first])
        self._forget()

    def _turn(self, where: NDArray[np.bool_]) -> None:
        """Exchange the two faults of the worlds at ``where`` that have two."""
        slots = self.worlds.slots
        swap = where & (slots[1] >= 0)
        self.worlds = Worlds(latents=self.worlds.latents, slots=np.where(swap, slots[::-1], slots))

    def _move(
        self, proposal: Worlds, fits: NDArray[np.float64], rng: np.random.Generator
    ) -> NDArray[np.float64]:
        """Accept or reject ``proposal`` in each world (Metropolis); give the log fits."""
        proposed = self.log_fit(proposal)
        accept = np.log(rng.random(proposal.count)) < proposed - fits
        self.worlds = Worlds(
            latents=np.where(accept, proposal.latents, self.worlds.latents),
            slots=np.where(accept, proposal.slots, self.worlds.slots),
        )
        return np.asarray(np.where(accept, proposed, fits))

    def _exchanged(self, rng: np.random.Generator) -> Worlds:
        """Propose another first fault that is as bad, so that no likely one dies out."""
        worlds = self.worlds
        faults = self.model.draw_kin(worlds.slots[0], rng)
        taken = (faults == worlds.slots[1]) | (worlds.slots[0] == NO_FAULT)
        return self.model.exchanged(worlds, np.where(taken, worlds.slots[0], faults))

    def _free_rows(self, rng: np.random.Generator) -> NDArray[np.bool_]:
        """Find the parameters on which nothing told so far depends, (parameters,).

        Each is redrawn alone in a few worlds; where the fit never changes it is free. A wrong
        finding costs acceptance, not correctness.
        """
        rows = len(self.model.names)
        index = np.tile(rng.integers(0, self.worlds.count, _PROBES), rows)
        probes = self.worlds.take(index.astype(np.intp))
        row = np.repeat(np.arange(rows), _PROBES)
        latents = probes.latents.copy()
        latents[row, np.arange(len(row))] = rng.random(len(row), dtype=np.float32)
        before = self.log_fit(self.worlds.take(index[:_PROBES].astype(np.intp)))
        after = self.log_fit(Worlds(latents=latents, slots=probes.slots))
        changed = after.reshape(rows, _PROBES) != before[np.newaxis, :]
        return np.asarray(~changed.any(axis=1))

    def _redrawn(self, free: NDArray[np.bool_], rng: np.random.Generator) -> Worlds:
        latents = self.worlds.latents.copy()
        latents[free] = rng.random((int(free.sum()), self.worlds.count), dtype=np.float32)
        return Worlds(latents=latents, slots=self.worlds.slots)

    def _stepped(self, bound: NDArray[np.intp], rng: np.random.Generator) -> Worlds:
        """Move a few ``bound`` parameters in each world, now and then the second fault."""
        worlds, count = self.worlds, self.worlds.count
        latents = worlds.latents.copy()
        every = np.arange(count)
        step = rng.choice(np.array([0.02, 0.08, 0.3, 1.0], dtype=np.float32), size=count)
        for _ in range(_MOVED_TOGETHER if len(bound) else 0):
            row = bound[rng.integers(len(bound), size=count)]
            moved = latents[row, every] + step * rng.standard_normal(count, dtype=np.float32)
            moved = np.abs(moved) % np.float32(2.0)
            moved = np.where(moved > 1.0, np.float32(2.0) - moved, moved)
            latents[row, every] = np.minimum(moved, np.float32(0.9999999))
        slots = worlds.slots.copy()
        redraw = rng.random(count) < 0.15
        companions = self.model.draw_companions(count, rng)
        companions = np.where(companions == slots[0], np.int16(NO_FAULT), companions)
        slots[1] = np.where(redraw, companions, slots[1])
        return Worlds(latents=latents, slots=slots)


def systematic(
    weights: NDArray[np.float64], size: int, rng: np.random.Generator
) -> NDArray[np.intp]:
    """Draw ``size`` indices by weight with one uniform (systematic resampling)."""
    points = (rng.random() + np.arange(size)) / size
    cumulative = np.cumsum(weights)
    return np.minimum(
        np.searchsorted(cumulative / cumulative[-1], points), len(weights) - 1
    ).astype(np.intp)
