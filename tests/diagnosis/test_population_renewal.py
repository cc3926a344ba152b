"""Weights and renewals: the belief must not depend on which worlds happen to carry it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from diagnosis_cases import COUPE, VAN, complaint
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.diagnosis.complaint import complaint_fit
from assistant.diagnosis.evidence import Evidence, ReadingEvidence, RepairEvidence
from assistant.diagnosis.outlook import fault_probabilities
from assistant.diagnosis.population import Population, systematic
from assistant.diagnosis.proposal import first_population
from assistant.diagnosis.worlds import PAIR_SHARE, WorldModel
from assistant.electrics.responses import Responder
from assistant.knowledge import load
from assistant.readings.reading import Beep, Seen, Value

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from assistant.knowledge.schema import Complaint, Installation


def population(
    car: Installation = COUPE,
    said: Complaint | None = None,
    told: tuple[Evidence, ...] = (),
    *,
    worlds: int = 8000,
    seed: int = 1,
) -> Population:
    """Weigh fresh worlds by all that was told, without renewing them."""
    rng = np.random.default_rng(seed)
    said = complaint("protects") if said is None else said
    made = first_population(WorldModel(car), said, load().checks(car), worlds, rng)
    for item in told:
        made.tell(item, rng, 0)
    return made


def double_share(held: Population) -> float:
    return float(held.weights @ (held.worlds.slots[1] >= 0))


LOW_LOAD = (
    ReadingEvidence(check="protect_light", reading=Seen(state="lit")),
    ReadingEvidence(check="load_ohms.front_left", reading=Value(value=0.4, unit="ohm")),
)
SAGGING = (
    ReadingEvidence(check="amp_supply", reading=Value(value=11.6, unit="V")),
    ReadingEvidence(check="amp_supply_loud", reading=Value(value=9.8, unit="V")),
)
QUIET_LINE = (
    ReadingEvidence(check="sound.front_left", reading=Seen(state="no")),
    ReadingEvidence(check="signal_short.front", reading=Beep(heard=False)),
)
CASES = {
    "nothing told": (COUPE, complaint("protects"), ()),
    "a low load": (COUPE, complaint("protects"), LOW_LOAD),
    "a sagging supply": (VAN, complaint("cuts_out", "loud"), SAGGING),
    "a silent side": (COUPE, complaint("silent_channel", where=["front_left"]), QUIET_LINE),
}


@pytest.mark.parametrize("car", [COUPE, VAN], ids=["coupe", "van"])
@pytest.mark.parametrize("symptom", ["protects", "noise", "too_hot"])
def test_weights_undo_the_proposal(car: Installation, symptom: str) -> None:
    """Without the complaint the worlds must show the rates of the faults."""
    said = complaint(symptom)  # type: ignore[arg-type]
    held = population(car, said, worlds=30_000)
    fits = complaint_fit(
        Responder(held.model.parts(held.worlds)), said, held.model.faults, held.worlds.slots
    )
    weights = np.exp(held.log_weights) / fits
    weights /= weights.sum()
    rates = held.model.rates
    present = np.array([
        weights @ (held.worlds.slots == n).any(axis=0) for n in range(len(rates))
    ])  # fmt: skip
    # A fault is first, or it is second where the first is another one.
    expected = rates + PAIR_SHARE * rates * (1.0 - rates)
    spread = np.sqrt(expected / (30_000 * 0.4))
    assert (np.abs(present - expected) < 5.0 * spread + 1e-4).all()
    both = weights @ (held.worlds.slots[1] >= 0)
    assert both == pytest.approx(PAIR_SHARE * (1.0 - float(rates @ rates)), abs=0.015)


@pytest.mark.parametrize(("car", "said", "told"), CASES.values(), ids=CASES)
def test_renewal_keeps_the_belief(
    car: Installation, said: Complaint, told: tuple[Evidence, ...]
) -> None:
    """Drawing worlds anew must leave every belief as it was, but for chance.

    Several renewals from worlds of their own give the mean and its spread.
    """
    reference = population(car, said, told, worlds=40_000, seed=99)
    before = fault_probabilities(reference)
    runs = 5
    after, doubles = [], []
    for seed in range(runs):
        held = population(car, said, told, worlds=8000, seed=seed)
        held.renew(np.random.default_rng(seed), 2500)
        assert held.worlds.count == 2500
        assert held.effective > 0.3 * 2500
        after.append(fault_probabilities(held))
        doubles.append(double_share(held))
    moved = np.mean(after, axis=0) - before
    spread = np.std(after, axis=0, ddof=1) / np.sqrt(runs)
    spread = np.hypot(spread, np.sqrt(before * (1 - before) / reference.effective))
    # Thirty faults are looked at, and the spread itself is a guess from five runs.
    assert (np.abs(moved) < 5.0 * spread + 0.012).all(), moved
    change = float(np.mean(doubles)) - double_share(reference)
    wide = np.hypot(np.std(doubles, ddof=1) / np.sqrt(runs), 0.3 / np.sqrt(reference.effective))
    assert abs(change) < 4.0 * wide + 0.004, "the chance of two faults at once has drifted"


def test_renewing_again_and_again_does_not_drift() -> None:
    held = population(COUPE, complaint("protects"), LOW_LOAD, worlds=60_000, seed=3)
    share = double_share(held)
    rng = np.random.default_rng(4)
    for _ in range(6):
        held.renew(rng, 4000)
    assert double_share(held) == pytest.approx(share, abs=0.035)


@pytest.mark.parametrize("repair", ["tighten_main_fuse", "renew_speaker.front_left"])
def test_worlds_drawn_after_a_repair_are_weighed_as_if_told(repair: str) -> None:
    """Worlds drawn with the failed repair in mind agree with plain ones that are told of it."""
    told = (RepairEvidence(repair=repair),)
    left: list[tuple[float, float]] = []
    for seed in (5, 15, 25):
        plain = population(COUPE, complaint("protects"), told, worlds=60_000, seed=seed)
        rng = np.random.default_rng(seed + 1)
        minded = first_population(
            plain.model, plain.complaint, plain.checks, 40_000, rng, told=list(told)
        )
        for item in told:
            minded.tell(item, rng, 0)
        want, got = fault_probabilities(plain), fault_probabilities(minded)
        spread = np.sqrt(want / min(plain.effective, minded.effective))
        assert (np.abs(got - want) < 5.0 * spread + 0.002).all()
        ended = [n for n, fault in enumerate(plain.model.faults) if fault.repair == repair]
        left.append((float(want[ended].sum()), float(got[ended].sum())))
    # What is left of the fault is so rare that one draw alone scatters by half of it.
    left_before, left_now = np.mean(left, axis=0)
    assert left_now == pytest.approx(left_before, rel=0.35, abs=5e-4)


@pytest.mark.parametrize("ohms", [0.5, 1.0, 2.0])
def test_evidence_on_another_part_does_not_move_the_belief(ohms: float) -> None:
    """A shell that reads like any good one says nothing about a short in a speaker line."""
    told = LOW_LOAD
    other = ReadingEvidence(check="shell_to_body.front", reading=Value(value=ohms, unit="ohm"))
    names = [fault.id for fault in WorldModel(COUPE).faults]
    wires = names.index("speaker.front_left.wires_shorted")
    coil = names.index("speaker.front_left.coil_shorted")

    def share(p: NDArray[np.float64]) -> float:
        return float(p[wires] / (p[wires] + p[coil]))

    # One draw leaves some 80 effective worlds after an odd reading: the mean of several counts.
    shares = []
    for seed in range(7, 15):
        held = population(COUPE, complaint("protects"), told, worlds=40_000, seed=seed)
        first = share(fault_probabilities(held))
        held.tell(other, np.random.default_rng(8), 0)
        shares.append((first, share(fault_probabilities(held))))
    before, after = np.mean(shares, axis=0)
    assert after == pytest.approx(before, abs=0.05)
    renewed = population(COUPE, complaint("protects"), told, worlds=20_000, seed=9)
    rng = np.random.default_rng(10)
    renewed.renew(rng, 6000)
    renewed.tell(other, rng, 6000)
    assert share(fault_probabilities(renewed)) == pytest.approx(before, abs=0.06)


@pytest.mark.parametrize("check", ["whine_key_on", "remote_at_source", "battery_at_rest"])
def test_a_typical_answer_elsewhere_keeps_the_short_in_the_lead(check: str) -> None:
    readings = {
        "whine_key_on": Seen(state="no"),
        "remote_at_source": Value(value=12.2, unit="V"),
        "battery_at_rest": Value(value=12.5, unit="V"),
    }
    held = population(COUPE, complaint("protects"), LOW_LOAD, worlds=30_000, seed=11)
    numbers = [
        n for n, f in enumerate(held.model.faults)
        if f.id in {"speaker.front_left.wires_shorted", "speaker.front_left.coil_shorted"}
    ]  # fmt: skip
    before = float(fault_probabilities(held)[numbers].sum())
    held.tell(ReadingEvidence(check=check, reading=readings[check]), np.random.default_rng(1), 0)
    assert before > 0.85
    assert float(fault_probabilities(held)[numbers].sum()) > before - 0.03


@given(
    st.lists(st.floats(1e-6, 1.0), min_size=1, max_size=30),
    st.integers(1, 400),
    st.integers(0, 2**32 - 1),
)
@settings(max_examples=100)
def test_drawing_by_weight_gives_each_its_share(raw: list[float], size: int, seed: int) -> None:
    weights = np.array(raw) / sum(raw)
    index = systematic(weights, size, np.random.default_rng(seed))
    assert len(index) == size
    counts = np.bincount(index, minlength=len(weights))
    # Systematic resampling: floor or ceiling of the expected number (Carpenter et al. 1999).
    assert (np.abs(counts - size * weights) < 1.0 + 1e-6).all()


def test_one_world_with_all_the_weight_is_renewed_into_many() -> None:
    held = population(worlds=2000, seed=12)
    held.log_weights = np.full(2000, -600.0)
    held.log_weights[17] = 0.0
    assert held.effective == pytest.approx(1.0)
    held.renew(np.random.default_rng(0), 1500)
    assert held.effective > 100.0
    assert len(np.unique(held.worlds.latents[0])) > 100
