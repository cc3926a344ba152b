"""Probabilities mean what they say: hidden worlds of the program's own model, told by itself.

A world is drawn by the fault rates and spreads, its customer names a symptom by the chance that
the model gives, and its answers come by the tolerances that readings are weighed by. Over many
such cases a belief of 70 % must be right in 70 %, within binomial bounds.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, get_args

import numpy as np
import pytest
from diagnosis_cases import COUPE, open_case
from scipy import stats

from assistant.diagnosis.complaint import complaint_fit
from assistant.diagnosis.likelihood import SLIP, fit, on_scale, sigma_on_scale
from assistant.diagnosis.records import NextCheck
from assistant.diagnosis.worlds import NO_FAULT, WorldModel, Worlds
from assistant.electrics.meter import beep_probability
from assistant.electrics.responses import Responder
from assistant.knowledge.schema import Complaint, Symptom
from assistant.readings.reading import (
    SEEN_ANSWERS,
    Beep,
    OpenLine,
    Reading,
    Seen,
    Unstable,
    Value,
    base_unit,
)

if TYPE_CHECKING:
    from assistant.knowledge.schema import Check

MODEL = WorldModel(COUPE)
JUMPS = 0.6


def hidden_world(rng: np.random.Generator) -> Worlds:
    first = rng.choice(len(MODEL.faults), size=1, p=MODEL.rates).astype(np.int16)
    second = MODEL.draw_companions(1, rng)
    second[second == first] = NO_FAULT
    return Worlds(latents=MODEL.draw_latents(1, rng), slots=np.stack([first, second]))


def brought_in(rng: np.random.Generator) -> tuple[Worlds, Complaint]:
    """Draw a hidden world and what its customer names.

    The chances of the seven symptoms may leave a rest: that customer never calls.
    """
    symptoms = get_args(Symptom)
    while True:
        world = hidden_world(rng)
        responder = Responder(MODEL.parts(world))
        chances = [
            complaint_fit(responder, Complaint(symptom=s), MODEL.faults, world.slots)[0]
            for s in symptoms
        ]
        rest = 1.0 - sum(chances)
        assert rest > -1e-6, "more than a whole"
        drawn = int(rng.choice(8, p=np.array([*chances, max(rest, 0.0)]) / max(sum(chances), 1.0)))
        if drawn < 7:
            return world, Complaint(symptom=symptoms[drawn])


def answer(check: Check, world: Worlds, rng: np.random.Generator) -> Reading:
    """Draw an answer by the chances that the program itself weighs it by."""
    quantity = check.do.quantity
    predicted = Responder(MODEL.parts(world)).predict(check.do)
    slips = bool(rng.random() < SLIP)
    if quantity in SEEN_ANSWERS:
        answers = SEEN_ANSWERS[quantity]
        chances = np.array([fit(quantity, Seen(state=s), predicted).true[0] for s in answers])
        if slips:
            chances = np.ones(len(answers))
        return Seen(state=answers[int(rng.choice(len(answers), p=chances / chances.sum()))])
    jumps = predicted.jumps is not None and bool(predicted.jumps[0])
    if jumps and rng.random() < JUMPS:
        return Unstable()
    value = float(np.asarray(predicted.value)[0])
    if jumps and predicted.other is not None and rng.random() < 0.5:
        value = float(predicted.other[0])
    if quantity == "continuity":
        return Beep(heard=bool(rng.random() < (0.5 if slips else beep_probability(value))))
    unit = base_unit(quantity) or "V"
    if not np.isfinite(value):
        return OpenLine()
    place = np.array([value])
    scale = on_scale(quantity, place)[0] + sigma_on_scale(quantity, place)[0] * stats.t(4).rvs(
        random_state=rng
    )
    if quantity == "resistance":
        scale = max(np.exp(scale) - 0.3, 0.0)
    elif quantity == "ac_voltage":
        scale = max(np.exp(scale) - 0.01, 0.0)
    if slips:
        scale = float(rng.uniform(0.0, 15.0))
    return Value(value=round(float(scale), 3), unit=unit)


ASKED = (
    "protect_light", "amp_supply", "amp_supply_running_loud", "load_ohms.front_left",
    "wire_to_body.front_right", "sound.front_left", "remote_at_amp", "power_light",
)  # fmt: skip


def tell(case_seed: int) -> tuple[list[float], list[bool], float, bool]:
    """Beliefs and truths over all repairs, and those of the leader, after random checks."""
    rng = np.random.default_rng(1000 + case_seed)
    world, said = brought_in(rng)
    case = open_case(COUPE, said, worlds=4000, seed=case_seed)
    for name in rng.choice(ASKED, 3, replace=False):
        case.observe(str(name), answer(case.checks[str(name)], world, rng))
    faults = [MODEL.faults[n] for n in world.slots[:, 0] if n >= 0]
    needed = {fault.repair for fault in faults}
    beliefs = case.belief().repairs
    leader, p = beliefs[0]
    return [q for _, q in beliefs], [name in needed for name, _ in beliefs], p, leader in needed


def test_beliefs_are_right_as_often_as_they_say() -> None:
    said: list[float] = []
    true: list[bool] = []
    lead_said: list[float] = []
    lead_true: list[bool] = []
    for seed in range(36):
        beliefs, truths, p, hit = tell(seed)
        said += beliefs
        true += truths
        lead_said.append(p)
        lead_true.append(hit)
    p, hits = np.array(lead_said), np.array(lead_true)
    # The sum of independent hits has this mean and variance; four sigmas.
    assert abs(hits.sum() - p.sum()) < 4.0 * np.sqrt(np.sum(p * (1 - p)))
    p, hits = np.array(said), np.array(true)
    for low, high in ((0.0, 0.02), (0.02, 0.1), (0.1, 0.4), (0.4, 1.01)):
        inside = (p >= low) & (p < high)
        expected, seen = p[inside].sum(), hits[inside].sum()
        bound = 4.0 * np.sqrt(np.sum(p[inside] * (1 - p[inside]))) + 1.0
        assert abs(seen - expected) < bound, (low, high, seen, expected)
    # They say something: the leader is right far more often than a guess among thirty.
    assert hits.sum() > 0
    assert np.mean(lead_true) > 5.0 / 30.0


@pytest.mark.slow
def test_verdicts_are_right_as_often_as_they_say() -> None:
    """Whole cases with the program's own choice of checks, which bends no probability."""
    said, right = [], []
    for seed in range(12):
        rng = np.random.default_rng(500 + seed)
        world, named = brought_in(rng)
        case = open_case(COUPE, named, worlds=3000, seed=seed)
        for _ in range(7):
            step = case.next_step()
            if not isinstance(step, NextCheck):
                break
            case.observe(step.check.id, answer(step.check, world, rng))
        verdict = case.verdict()
        needed = {MODEL.faults[n].repair for n in world.slots[:, 0] if n >= 0}
        said.append(verdict.probability)
        right.append(verdict.repair in needed)
    p, hits = np.array(said), np.array(right)
    assert abs(hits.sum() - p.sum()) < 4.0 * np.sqrt(np.sum(p * (1 - p))) + 0.5
    assert np.mean(p) > 0.5
