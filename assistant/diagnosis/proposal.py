"""The first worlds of a case, more of those whose faults explain what is told.

A pilot tells how well each fault explains it; what the proposal draws too often is corrected by
weight.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from assistant.diagnosis.complaint import complaint_fit
from assistant.diagnosis.evidence import Evidence, RepairEvidence
from assistant.diagnosis.population import Population
from assistant.diagnosis.worlds import NO_FAULT, PAIR_SHARE, WorldModel, Worlds
from assistant.electrics.responses import Responder

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from assistant.knowledge.schema import Check, Complaint

__all__ = ["first_population"]

_PILOT_PER_FAULT: Final = 40
_PAIRED_SHARE: Final = 0.5


def first_population(
    model: WorldModel,
    complaint: Complaint,
    checks: Mapping[str, Check],
    size: int,
    rng: np.random.Generator,
    *,
    told: Sequence[Evidence] = (),
) -> Population:
    """Draw worlds for a new case, more of those faults that explain the complaint.

    A pilot tells how well each fault explains it; the proposal is corrected by weight. With
    ``told`` the pilot counts that too: used when a repair did not help.
    """
    faults = len(model.faults)
    pilot_slots = np.stack(
        [
            np.repeat(np.arange(faults, dtype=np.int16), _PILOT_PER_FAULT),
            np.full(faults * _PILOT_PER_FAULT, NO_FAULT, dtype=np.int16),
        ]
    )
    pilot = Worlds(latents=model.draw_latents(faults * _PILOT_PER_FAULT, rng), slots=pilot_slots)
    explains = (
        complaint_fit(Responder(model.parts(pilot)), complaint, model.faults, pilot.slots)
        .reshape(faults, _PILOT_PER_FAULT)
        .mean(axis=1)
    )
    wanted = model.rates * explains
    proposal = 0.5 * wanted / wanted.sum() + 0.3 * model.rates + 0.2 / faults
    first = rng.choice(faults, size=size, p=proposal / proposal.sum()).astype(np.int16)
    second = model.draw_companions(size, rng)
    for item in told:
        if isinstance(item, RepairEvidence):
            second = _pair_up(model, second, item.repair, rng)
    # Before equal faults become one: the correction is of what was drawn.
    correction = _pair_correction(model, second, told) if told else 0.0
    second[second == first] = NO_FAULT
    # The fault that explains more comes first; the set of the two is what counts.
    swap = (second >= 0) & (explains[second] > explains[first])
    slots = np.stack([np.where(swap, second, first), np.where(swap, first, second)])
    worlds = Worlds(latents=model.draw_latents(size, rng), slots=slots.astype(np.int16))
    log_weights = np.log(model.rates[first] / proposal[first])
    log_weights = log_weights + correction
    responder = Responder(model.parts(worlds))
    fits = complaint_fit(responder, complaint, model.faults, worlds.slots)
    return Population(
        model=model,
        complaint=complaint,
        checks=checks,
        worlds=worlds,
        log_weights=log_weights + np.log(fits),
        explains=explains,
        _now=responder,
        _predicted={},
    )


def _repaired_numbers(model: WorldModel, repair: str) -> list[int]:
    return [n for n, fault in enumerate(model.faults) if fault.repair == repair]


def _pair_up(
    model: WorldModel, second: NDArray[np.int16], repair: str, rng: np.random.Generator
) -> NDArray[np.int16]:
    """Give half the worlds a fault that ``repair`` ended as their second one."""
    numbers = _repaired_numbers(model, repair)
    chosen = rng.random(len(second)) < _PAIRED_SHARE
    drawn = rng.choice(numbers, size=len(second)).astype(np.int16)
    return np.where(chosen, drawn, second).astype(np.int16)


def _pair_correction(
    model: WorldModel, second: NDArray[np.int16], told: Sequence[Evidence]
) -> NDArray[np.float64]:
    """Log of prior over proposal of the second slot, (worlds,)."""
    prior = np.append(PAIR_SHARE * model.rates, 1.0 - PAIR_SHARE)
    drawn = prior.copy()
    for item in told:
        if isinstance(item, RepairEvidence):
            numbers = _repaired_numbers(model, item.repair)
            drawn *= 1.0 - _PAIRED_SHARE
            drawn[numbers] += _PAIRED_SHARE / len(numbers)
    return np.asarray(np.log(prior[second] / drawn[second]))
