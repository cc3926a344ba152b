"""One case: deterministic, taken back exactly, unchanged by a refused call."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from diagnosis_cases import COUPE, VAN, Car, complaint, open_case

from assistant.diagnosis.labour import Bench, minutes_of
from assistant.diagnosis.records import NextCheck, Verdict
from assistant.errors import GivenError
from assistant.knowledge import load
from assistant.knowledge.schema import Installation
from assistant.readings.reading import Beep, OpenLine, Seen, Unstable, Value

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.diagnosis.session import Diagnosis

    Act = Callable[[Diagnosis], object]

V12 = Value(value=12.3, unit="V")
SCRIPT: list[Act] = [
    lambda d: d.observe("amp_supply", V12),
    lambda d: d.observe("protect_light", Seen(state="lit")),
    lambda d: d.cannot("wire_to_body.front_left", "no access"),
    lambda d: d.observe("load_ohms.front_left", Value(value=0.6, unit="ohm")),
    lambda d: d.observe("load_ohms.front_left", Unstable(low=0.4, high=6.0, unit="ohm")),
    lambda d: d.repaired("part_speaker_wires.front_left", fixed=False),
    lambda d: d.observe("protect_light", Seen(state="lit")),
    lambda d: d.repaired("renew_speaker.front_left", fixed=True),
]


def snapshot(case: Diagnosis) -> dict[str, Any]:
    return {
        "belief": case.belief(),
        "steps": case.steps,
        "next": case.next_step(),
        "verdict": case.verdict(),
        "slips": case.slip_chances(),
        "described": case.describe("power_light"),
        "weights": case.population.weights.tolist(),
        "worlds": case.population.worlds.latents.tobytes(),
    }


def same(one: dict[str, Any], other: dict[str, Any]) -> None:
    for key, value in one.items():
        assert value == other[key], key


def test_the_same_seed_gives_the_same_case() -> None:
    cases = [open_case(worlds=500, seed=7) for _ in range(2)]
    for act in SCRIPT:
        for case in cases:
            act(case)
        same(snapshot(cases[0]), snapshot(cases[1]))


def test_asking_in_between_changes_nothing_told_later() -> None:
    asked, silent = open_case(worlds=500, seed=7), open_case(worlds=500, seed=7)
    for act in SCRIPT:
        snapshot(asked)
        asked.weigh("amp_supply_loud", [V12, Value(value=9.0, unit="V")])
        asked.would_change("protect_light_loud", Seen(state="off"), Seen(state="lit"))
        asked.contradiction()
        act(asked)
        act(silent)
    same(snapshot(asked), snapshot(silent))


@pytest.mark.parametrize("worlds", [500, 9000], ids=["few worlds", "more than are thinned to"])
def test_working_ahead_changes_nothing_that_is_said(worlds: int) -> None:
    ahead, plain = open_case(worlds=worlds, seed=7), open_case(worlds=worlds, seed=7)
    for act in SCRIPT:
        ahead.prepare()
        act(ahead)
        act(plain)
        same(snapshot(ahead), snapshot(plain))
    ahead.prepare()
    ahead.undo()
    plain.undo()
    same(snapshot(ahead), snapshot(plain))


def test_a_repeated_answer_replaces_the_first_one() -> None:
    """The trouble that a slip had made is gone as soon as the check was repeated."""
    slipped, straight = open_case(worlds=9000, seed=2), open_case(worlds=9000, seed=2)
    slipped.observe("amp_supply", Value(value=0.0, unit="V"))
    for case in (slipped, straight):
        case.observe("amp_supply", V12)
    for _ in range(2):
        got, want = dict(slipped.belief().faults), dict(straight.belief().faults)
        assert max(abs(got[name] - want[name]) for name in want) < 0.12
        # The second time with worlds that were drawn anew.
        for case in (slipped, straight):
            case.observe("remote_at_amp", V12)


def test_another_seed_gives_the_same_belief_but_for_chance() -> None:
    one, other = (open_case(worlds=12_000, seed=seed) for seed in (1, 2))
    for case in (one, other):
        SCRIPT[0](case)
    first, second = dict(one.belief().faults), dict(other.belief().faults)
    assert first != second
    assert max(abs(first[name] - second[name]) for name in first) < 0.05


def test_undo_gives_exactly_the_state_before() -> None:
    case = open_case(worlds=500, seed=3)
    states = [snapshot(case)]
    for act in SCRIPT:
        act(case)
        states.append(snapshot(case))
    for state in reversed(states[:-1]):
        gone = case.undo()
        assert gone not in state["steps"]
        assert case.belief() == state["belief"]
        if len(case.steps) % 3 == 1:
            same(state, snapshot(case))
    with pytest.raises(GivenError):
        case.undo()
    same(states[0], snapshot(case))


def test_what_could_not_be_done_is_taken_back_one_by_one() -> None:
    """More than are kept as they were: each undo must give what stood before it."""
    case = open_case(worlds=500, seed=3)
    case.observe("amp_supply", V12)
    states = [snapshot(case)]
    for check in ("load_ohms.front_left", "remote_at_amp", "power_light", "remote_at_amp"):
        case.cannot(check, "out of reach")
        states.append(snapshot(case))
    for state in reversed(states[:-1]):
        case.undo()
        same(state, snapshot(case))


def test_undo_and_the_same_again_is_as_if_nothing_was_taken_back() -> None:
    case = open_case(worlds=500, seed=3)
    for act in SCRIPT[:5]:
        act(case)
    state = snapshot(case)
    case.undo()
    SCRIPT[4](case)
    same(state, snapshot(case))


BAD_CALLS: dict[str, Act] = {
    "unknown check": lambda d: d.observe("amp_smell", V12),
    "check of another car": lambda d: d.observe("load_ohms.sub", Value(value=4, unit="ohm")),
    "wrong unit": lambda d: d.observe("amp_supply", Value(value=4.0, unit="ohm")),
    "wrong kind": lambda d: d.observe("amp_supply", Seen(state="lit")),
    "open line on volts": lambda d: d.observe("amp_supply", OpenLine()),
    "beep on volts": lambda d: d.observe("amp_supply", Beep(heard=True)),
    "a number for a light": lambda d: d.observe("protect_light", V12),
    "an answer that is none": lambda d: d.observe("protect_light", Seen(state="green")),
    "cannot an unknown check": lambda d: d.cannot("amp_smell", "no nose"),
    "unknown repair": lambda d: d.repaired("rub_it", fixed=True),
    "repair of another car": lambda d: d.repaired("renew_speaker.sub", fixed=False),
    "describe an unknown check": lambda d: d.describe("amp_smell"),
    "weigh an unknown check": lambda d: d.weigh("amp_smell", [V12]),
    "would change, wrong unit": lambda d: d.would_change(
        "amp_supply", V12, Value(value=1.0, unit="ohm")
    ),
    "not a number": lambda d: d.observe("amp_supply", Value(value=float("nan"), unit="V")),
    "without end": lambda d: d.observe("amp_supply", Value(value=float("inf"), unit="V")),
}


@pytest.mark.parametrize("name", BAD_CALLS)
def test_a_refused_call_changes_nothing(name: str) -> None:
    case = open_case(worlds=800, seed=5)
    SCRIPT[0](case)
    state = snapshot(case)
    with pytest.raises(GivenError) as refused:
        BAD_CALLS[name](case)
    assert refused.value.next_step
    same(state, snapshot(case))


def test_belief_is_sorted_and_within_0_and_1() -> None:
    case = open_case(worlds=1200, seed=2)
    for act in [lambda _: None, *SCRIPT]:
        act(case)
        belief = case.belief()
        assert {name for name, _ in belief.faults} == set(case.faults)
        assert {name for name, _ in belief.repairs} == set(case.repairs)
        for pairs in (belief.faults, belief.repairs):
            chances = [p for _, p in pairs]
            assert chances == sorted(chances, reverse=True)
            assert all(0.0 <= p <= 1.0 for p in chances)
            # Every world has at most two faults.
            assert sum(chances) <= 2.0 + 1e-9
        if not any(step.kind == "repaired" for step in case.steps):
            # Until a repair every world has at least one.
            assert sum(p for _, p in belief.faults) >= 1.0 - 1e-9


def test_steps_tell_what_was_told() -> None:
    case = open_case(worlds=1200, seed=2)
    for act in SCRIPT:
        act(case)
    kinds = [step.kind for step in case.steps]
    assert kinds == ["reading", "reading", "cannot", "reading", "reading", "repaired", "reading",
                     "repaired"]  # fmt: skip
    first, last = case.steps[0], case.steps[-1]
    assert first.check == case.checks["amp_supply"]
    assert first.reading == V12
    assert first.minutes == pytest.approx(minutes_of(case.checks["amp_supply"], Bench()))
    assert first.expected is not None
    assert case.steps[2].note == "no access"
    assert last.repair == "renew_speaker.front_left"
    for before, after in zip(case.steps, case.steps[1:], strict=False):
        assert after.before == before.after
    assert case.steps[-1].after == case.belief()


def test_unknown_keys_are_told_once() -> None:
    car = Installation.model_validate(
        {"amplifier": {"channels": 2, "smell": "burnt"}, "roof": "open"}
    )
    case = open_case(car, worlds=800)
    first = case.next_step()
    assert isinstance(first, NextCheck)
    assert len(first.notes) == 1
    assert "amplifier.smell" in first.notes[0]
    assert "roof" in first.notes[0]
    case.observe("amp_supply", V12)
    second = case.next_step()
    assert isinstance(second, Verdict) or not second.notes


def test_what_cannot_be_done_is_not_offered_again() -> None:
    case = open_case(worlds=800, seed=4)
    asked: list[str] = []
    for _ in range(6):
        step = case.next_step()
        assert isinstance(step, NextCheck)
        assert step.check.id not in asked
        asked.append(step.check.id)
        case.cannot(step.check.id, "not here")


def test_when_nothing_can_be_done_the_verdict_comes() -> None:
    case = open_case(worlds=600, seed=4)
    for check in case.checks:
        case.cannot(check, "no meter")
    verdict = case.next_step()
    assert isinstance(verdict, Verdict)
    assert verdict.repair in case.repairs


def test_an_answered_check_is_not_asked_again_but_for_a_contradiction() -> None:
    car = Car(VAN, "supply.ground_resistive")
    case = open_case(VAN, complaint("cuts_out", "loud"), worlds=2000, seed=6)
    answered: set[str] = set()
    for _ in range(10):
        step = case.next_step()
        if isinstance(step, Verdict):
            break
        assert step.recheck or step.check.id not in answered
        assert step.cautions == step.check.cautions
        assert step.minutes > 0.0
        assert step.bits >= 0.0
        case.observe(step.check.id, car.answer(step.check))
        answered.add(step.check.id)
    assert answered


def test_the_prediction_holds_nine_in_ten() -> None:
    """`expect` is the central 90 % of what the worlds predict."""
    case = open_case(worlds=6000, seed=8)
    weights = case.population.weights
    for name in ("amp_supply", "amp_supply_running", "battery_at_rest", "remote_at_amp"):
        expect = case.describe(name).expect
        value = case.population.predict(name).value
        assert expect.low is not None
        assert expect.high is not None
        inside = (value >= expect.low) & (value <= expect.high)
        assert 0.86 < float(weights @ inside) < 0.98, name
        assert expect.unit == "V"
    light = case.describe("protect_light").expect
    assert light.low is None
    assert [name for name, _ in light.states] == ["off", "lit", "blinking"]
    assert sum(p for _, p in light.states) == pytest.approx(1.0)
    beep = case.describe("wire_to_body.front_left").expect
    assert dict(beep.states).keys() == {"beep", "no_beep"}
    assert sum(p for _, p in beep.states) == pytest.approx(1.0)


def test_candidates_are_weighed_by_the_belief() -> None:
    case = open_case(worlds=3000, seed=8)
    fifteen, fifty = case.weigh(
        "amp_supply_running", [Value(value=14.2, unit="V"), Value(value=50.0, unit="V")]
    )
    assert fifteen > 20 * fifty > 0.0
    good, bad = case.weigh("load_ohms.front_left", [Value(value=3.5, unit="ohm"), Beep(heard=True)])
    assert good > 0.0
    assert bad > 0.0
    lights = case.weigh("protect_light", [Seen(state=s) for s in ("off", "lit", "blinking")])
    assert sum(lights) == pytest.approx(1.0, abs=1e-6)


def test_readings_that_mean_the_same_would_not_change_the_next_step() -> None:
    case = open_case(worlds=3000, seed=8)
    assert not case.would_change("amp_supply", V12, Value(value=12.3, unit="V", places=1))
    assert case.would_change(
        "amp_supply_running", Value(value=0.0, unit="V"), Value(value=13.9, unit="V")
    )


# -- minutes ----------------------------------------------------------------------------------


def test_minutes_count_what_must_change_first() -> None:
    checks = load().checks(COUPE)
    labour = load().labour
    light, running = checks["protect_light"], checks["protect_light_running"]
    after = Bench.after(light)
    assert minutes_of(light, after) == pytest.approx(light.minutes + labour.answer)
    assert minutes_of(running, after) == pytest.approx(
        running.minutes + labour.answer + labour.vehicle["running"]
    )
    ohms = checks["load_ohms.front_left"]
    unplugged = Bench.after(ohms)
    assert unplugged.setup == {"disconnect:speaker.front_left"}
    beep = checks["wire_to_body.front_left"]
    # What is unplugged already costs nothing; put back, it costs half.
    saved = minutes_of(beep, Bench(place="amplifier")) - minutes_of(beep, unplugged)
    assert saved == pytest.approx(labour.setup["disconnect:speaker"])
    stays = minutes_of(light, Bench(vehicle="off", audio="off", place="amplifier"))
    back = minutes_of(light, unplugged) - stays
    assert back == pytest.approx(0.5 * labour.setup["disconnect:speaker"])
    cranking = checks["amp_supply_cranking"]
    alone = cranking.model_copy(update={"people": 1})
    assert minutes_of(cranking, Bench()) - minutes_of(alone, Bench()) == pytest.approx(
        labour.second_person
    )


@pytest.mark.parametrize("car", [COUPE, VAN, Installation()], ids=["coupe", "van", "unknown"])
def test_every_check_takes_some_minutes_from_everywhere(car: Installation) -> None:
    checks = list(load().checks(car).values())
    rng = np.random.default_rng(0)
    for check in checks:
        other = checks[int(rng.integers(len(checks)))]
        minutes = minutes_of(check, Bench.after(other))
        assert check.minutes + load().labour.answer <= minutes < 60.0
