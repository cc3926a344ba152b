"""Verdicts: the right repair in few checks, the amplifier last, and on after a failed repair."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from diagnosis_cases import COUPE, VAN, Car, complaint, open_case

from assistant.diagnosis.ranking import LAST_SUSPECT, repair_costs
from assistant.diagnosis.records import NextCheck, Verdict
from assistant.knowledge import load
from assistant.readings.reading import Beep, Reading, Seen, Unstable, Value

if TYPE_CHECKING:
    from assistant.diagnosis.session import Diagnosis
    from assistant.knowledge.schema import Complaint, Installation

MUST_CLEAR = {"supply", "load", "signal"}


def run_case(case: Diagnosis, car: Car, *, limit: int = 20) -> Verdict:
    """Answer as the hidden car would until a verdict comes."""
    for _ in range(limit):
        step = case.next_step()
        if isinstance(step, Verdict):
            return step
        case.observe(step.check.id, car.answer(step.check))
    return case.verdict()


def cleared(case: Diagnosis) -> set[str]:
    """Groups of which a check was answered and that hold little probability."""
    asked = {
        group
        for step in case.steps
        if step.kind == "reading" and step.check
        for group in step.check.clears
    }
    held = dict.fromkeys(MUST_CLEAR, 0.0)
    for name, p in case.belief().faults:
        group = case.faults[name].group
        if group in held:
            held[group] += p
    return {group for group in asked & MUST_CLEAR if held[group] < 0.2}


# The named cases of the mission, with cars of our own: hidden fault, complaint, repair.
CASES = {
    "charging too high": (
        VAN, complaint("protects", "running"), "supply.charging_high", "mend_regulator"),
    "loose fuse": (
        VAN, complaint("cuts_out", "loud"), "supply.main_fuse_loose", "tighten_main_fuse"),
    "chafed speaker wire": (
        COUPE, complaint("protects"), "speaker.front_left.wire_to_chassis",
        "insulate_speaker_wire.front_left"),
    "resistive ground": (
        VAN, complaint("cuts_out", "loud"), "supply.ground_resistive", "remake_ground"),
    "lost remote lead": (
        COUPE, complaint("will_not_turn_on"), "remote.missing", "mend_remote_lead"),
    "dead amplifier": (COUPE, complaint("protects"), "amp.internal", "send_amplifier_in"),
}  # fmt: skip


@pytest.mark.parametrize(("car", "said", "fault", "repair"), CASES.values(), ids=CASES)
def test_a_hidden_fault_ends_in_its_repair_within_12_checks(
    car: Installation, said: Complaint, fault: str, repair: str
) -> None:
    case = open_case(car, said, worlds=4000, seed=1)
    hidden = Car(car, fault, internal_kind=0.5, silence_switches_off=0.9)
    verdict = run_case(case, hidden, limit=13)
    assert verdict.holds
    assert verdict.repair == repair
    assert verdict.probability > 0.5
    assert len(case.steps) <= 12
    assert verdict.faults[0][0] == fault
    # The evidence names every answer, and the reply ends with whose rules come first.
    assert len(verdict.evidence) == len(case.steps)
    assert load().repairs(car)[repair].customer in verdict.reply
    assert load().cautions["procedures_first"].text in verdict.reply
    if repair == LAST_SUSPECT:
        assert cleared(case) == MUST_CLEAR


# -- the last suspect -------------------------------------------------------------------------


def random_answer(rng: np.random.Generator, step: NextCheck) -> Reading:
    quantity = step.check.do.quantity
    match quantity:
        case "light":
            return Seen(state=str(rng.choice(["off", "lit", "blinking"])))
        case "sound":
            return Seen(state=str(rng.choice(["yes", "no"])))
        case "noise":
            return Seen(state=str(rng.choice(["yes", "no"])))
        case "warmth":
            return Seen(state="cool")
        case "continuity":
            return Beep(heard=bool(rng.random() < 0.2))
        case "resistance":
            return Value(value=float(rng.choice([0.6, 3.6, 1200.0])), unit="ohm")
        case "ac_voltage":
            return Value(value=float(rng.choice([0.01, 0.8])), unit="V")
        case "dc_current":
            return Value(value=float(rng.choice([0.3, 1.2, 25.0])), unit="A")
        case _:
            return Value(value=float(rng.choice([0.02, 12.3, 13.9])), unit="V")


@pytest.mark.parametrize("kind", [0.15, 0.5, 0.7, 0.85])
def test_the_amplifier_is_named_only_once_all_else_is_cleared(kind: float) -> None:
    """A car whose only trouble is the amplifier (dead, protecting, DC, a silent channel)."""
    said = complaint("silent_channel") if kind > 0.8 else complaint("protects")
    said = complaint("will_not_turn_on") if kind < 0.2 else said
    case = open_case(COUPE, said, worlds=2500, seed=3)
    car = Car(COUPE, "amp.internal", internal_kind=kind, silence_switches_off=0.9)
    for _ in range(16):
        step = case.next_step()
        if isinstance(step, Verdict):
            assert step.repair != LAST_SUSPECT or cleared(case) == MUST_CLEAR
            break
        case.observe(step.check.id, car.answer(step.check))


def test_nor_is_it_named_where_a_case_is_closed_early() -> None:
    case = open_case(COUPE, complaint("protects"), worlds=2500, seed=3)
    car = Car(COUPE, "amp.internal", internal_kind=0.5, silence_switches_off=0.9)
    for name in ("load_ohms.front_left", "load_ohms.front_right", "wire_to_body.front_left",
                 "wire_to_body.front_right", "protect_light", "amp_supply_loud"):  # fmt: skip
        case.observe(name, car.answer(case.checks[name]))
        early = case.verdict()
        assert cleared(case) != MUST_CLEAR
        assert early.repair != LAST_SUSPECT, f"named after {name}"
        assert "the amplifier itself is defective" not in early.reply


@pytest.mark.parametrize("seed", range(4))
def test_nor_is_it_named_after_wild_answers(seed: int) -> None:
    rng = np.random.default_rng(seed)
    case = open_case(COUPE, complaint("protects"), worlds=1200, seed=seed)
    for _ in range(9):
        step = case.next_step()
        if isinstance(step, Verdict):
            assert step.repair != LAST_SUSPECT or cleared(case) == MUST_CLEAR
            return
        case.observe(step.check.id, random_answer(rng, step))


def test_nor_where_nothing_can_be_cleared() -> None:
    """With every clearing check left out, the amplifier stays unnamed."""
    case = open_case(COUPE, complaint("protects"), worlds=2500, seed=3)
    for name in ("load_ohms.front_left", "load_ohms.front_right"):
        case.observe(name, Value(value=3.6, unit="ohm"))
    case.observe("protect_light", Seen(state="lit"))
    for name, check in case.checks.items():
        if set(check.clears) & MUST_CLEAR:
            case.cannot(name, "not possible here")
    for _ in range(12):
        step = case.next_step()
        if isinstance(step, Verdict):
            break
        case.cannot(step.check.id, "nor this")
    assert case.verdict().repair != LAST_SUSPECT


# -- the list of repairs ----------------------------------------------------------------------


def test_repairs_stand_in_order_of_probability_over_cost() -> None:
    case = open_case(COUPE, complaint("protects"), worlds=3000, seed=4)
    case.observe("load_ohms.front_left", Value(value=0.5, unit="ohm"))
    verdict = case.verdict()
    assert verdict.repair == verdict.order[0].repair
    top = max(option.probability for option in verdict.order)
    names = [option.repair for option in verdict.order]
    costs = dict(zip(names, repair_costs(names, case.repairs), strict=True))
    rates = [o.probability / costs[o.repair] for o in verdict.order if o.probability > 0.5 * top]
    assert rates == sorted(rates, reverse=True)
    believed = dict(case.belief().repairs)
    for option in verdict.order:
        assert option.probability == pytest.approx(believed[option.repair])
        assert option.minutes == case.repairs[option.repair].minutes
    assert not verdict.holds
    # Closed before it is time, it says what would make it surer.
    assert "surer" in verdict.surer
    assert verdict.faults[0][1] >= 0.01


def test_a_likely_cheap_repair_comes_before_a_slightly_likelier_dear_one() -> None:
    # Kalagnanam and Henrion 1988: by probability over cost.
    names = ["part_speaker_wires.front_left", "renew_speaker.front_left"]
    cheap, dear = repair_costs(names, load().repairs(COUPE))
    assert cheap < dear


# -- after a repair ---------------------------------------------------------------------------


def test_a_repair_that_did_not_help_leaves_the_list() -> None:
    case = open_case(COUPE, complaint("protects"), worlds=4000, seed=5)
    case.observe("load_ohms.front_left", Value(value=0.6, unit="ohm"))
    case.observe("protect_light", Seen(state="lit"))
    before = dict(case.belief().repairs)
    first = case.verdict().repair
    case.repaired(first, fixed=False)
    after = dict(case.belief().repairs)
    assert before[first] > 0.3
    assert after[first] < 0.2
    assert after[first] < 0.5 * before[first]
    # Something is still wrong, so the others take its place.
    assert sum(after.values()) > 0.9
    assert isinstance(case.next_step(), NextCheck) or case.verdict().repair != first


def test_a_second_fault_is_found_after_the_first_repair() -> None:
    """Two faults: a short in a speaker line and a poor ground."""
    car = Car(COUPE, "speaker.front_left.wires_shorted", "supply.ground_resistive",
              silence_switches_off=0.9, repair_fails=0.9)  # fmt: skip
    case = open_case(COUPE, complaint("protects"), worlds=4000, seed=6)
    repaired: list[str] = []
    for _ in range(26):
        step = case.next_step()
        if isinstance(step, NextCheck):
            case.observe(step.check.id, car.answer(step.check))
            continue
        assert step.repair not in repaired
        repaired.append(step.repair)
        car.repair_all(step.repair)
        fixed = not (car.worlds.slots >= 0).any()
        case.repaired(step.repair, fixed=fixed)
        if fixed:
            break
    assert set(repaired) >= {"part_speaker_wires.front_left", "remake_ground"}
    assert len(repaired) <= 4


def test_checks_may_be_asked_again_after_a_repair() -> None:
    case = open_case(COUPE, complaint("protects"), worlds=2000, seed=7)
    case.observe("protect_light", Seen(state="lit"))
    case.repaired("remake_ground", fixed=False)
    case.observe("protect_light", Seen(state="lit"))
    case.observe("protect_light_running", Seen(state="lit"))
    # The answer from before the repair and the one after it both count: no contradiction.
    assert case.contradiction() is None


def test_a_repair_that_helped_ends_the_case_and_may_be_taken_back() -> None:
    case = open_case(COUPE, complaint("protects"), worlds=2000, seed=8)
    case.observe("load_ohms.front_left", Value(value=0.6, unit="ohm"))
    before = case.next_step()
    case.repaired("part_speaker_wires.front_left", fixed=True)
    verdict = case.next_step()
    assert isinstance(verdict, Verdict)
    assert verdict.holds
    assert verdict.repair == "part_speaker_wires.front_left"
    assert verdict.probability == 1.0
    assert verdict.order[0].repair == "part_speaker_wires.front_left"
    assert [name for name, _ in verdict.faults] == ["speaker.front_left.wires_shorted"]
    assert case.undo().repair == "part_speaker_wires.front_left"
    assert case.next_step() == before


# -- common practice, no source ---------------------------------------------------------------


def leader(case: Diagnosis) -> str:
    return case.belief().repairs[0][0]


def test_16_volts_with_the_engine_running_points_at_the_regulator() -> None:
    case = open_case(VAN, complaint("protects", "running"), worlds=3000)
    case.observe("amp_supply_running", Value(value=16.3, unit="V"))
    assert leader(case) == "mend_regulator"
    assert case.belief().repairs[0][1] > 0.9


@pytest.mark.parametrize("volts", [8.0, 6.0])
@pytest.mark.parametrize("light", ["lit", None])
def test_8_or_6_volts_at_the_amplifier_points_at_a_connection(
    volts: float, light: str | None
) -> None:
    case = open_case(VAN, complaint("protects"), worlds=12_000)
    case.observe("battery_at_rest", Value(value=12.6, unit="V"))
    case.observe("amp_supply", Value(value=volts, unit="V"))
    if light:
        case.observe("power_light", Seen(state=light))
    belief = dict(case.belief().repairs)
    poor = ("tighten_main_fuse", "renew_power_connections", "remake_ground")
    assert sum(belief[name] for name in poor) > 0.55
    assert max(belief, key=lambda name: belief[name]) in poor


@pytest.mark.parametrize("ohms", [3.5, 3.8, 4.2])
def test_a_4_ohm_speaker_that_reads_so_is_good(ohms: float) -> None:
    case = open_case(COUPE, complaint("protects"), worlds=4000)
    before = dict(case.belief().faults)
    case.observe("load_ohms.front_left", Value(value=ohms, unit="ohm"))
    after = dict(case.belief().faults)
    for kind in ("coil_shorted", "coil_open", "wires_shorted"):
        name = f"speaker.front_left.{kind}"
        assert after[name] < max(0.35 * before[name], 0.004), name


def test_a_speaker_that_jumps_all_over_is_not() -> None:
    case = open_case(COUPE, complaint("cuts_out"), worlds=4000)
    before = dict(case.belief().faults)["speaker.front_left.coil_rubbing"]
    case.observe("load_ohms.front_left", Unstable(low=2.0, high=40.0, unit="ohm"))
    after = dict(case.belief().faults)["speaker.front_left.coil_rubbing"]
    assert leader(case) == "renew_rubbing_speaker.front_left"
    assert after > 5 * before


def test_a_beep_to_the_body_is_a_short_to_ground() -> None:
    case = open_case(COUPE, complaint("protects"), worlds=4000)
    case.observe("wire_to_body.front_right", Beep(heard=True))
    assert leader(case) == "insulate_speaker_wire.front_right"
    assert case.belief().repairs[0][1] > 0.75


def test_a_light_that_goes_out_without_the_signal_points_at_the_leads() -> None:
    case = open_case(COUPE, complaint("protects"), worlds=4000)
    case.observe("protect_light", Seen(state="lit"))
    case.observe("protect_light_signal_off", Seen(state="off"))
    assert leader(case) == "renew_signal_lead.front"
