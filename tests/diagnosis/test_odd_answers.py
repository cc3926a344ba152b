"""Whatever is answered, the case goes on; what cannot be true together is noticed."""

from __future__ import annotations

from typing import TYPE_CHECKING, get_args

import numpy as np
import pytest
from diagnosis_cases import COUPE, VAN, Car, complaint, open_case
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from assistant.diagnosis.records import NextCheck
from assistant.errors import GivenError
from assistant.knowledge import load
from assistant.knowledge.schema import Installation, Symptom
from assistant.readings.reading import (
    SEEN_ANSWERS,
    UNIT_FACTORS,
    Beep,
    OpenLine,
    Reading,
    Seen,
    Unstable,
    Value,
    base_unit,
)

if TYPE_CHECKING:
    from assistant.diagnosis.session import Diagnosis
    from assistant.knowledge.schema import Check

CHECKS = load().checks(COUPE)


def readings_for(check: Check) -> st.SearchStrategy[Reading]:
    quantity = check.do.quantity
    if quantity in SEEN_ANSWERS:
        return st.builds(Seen, state=st.sampled_from(SEEN_ANSWERS[quantity]))
    unit = base_unit(quantity)
    units = st.sampled_from([name for name, (base, _) in UNIT_FACTORS.items() if base == unit])
    odd = st.one_of(
        st.floats(-1e15, 1e15, allow_nan=False), st.sampled_from([0.0, -0.0, 1e-300, 1e308, -1e308])
    )
    kinds: list[st.SearchStrategy[Reading]] = [
        st.builds(Value, value=odd, unit=units),
        st.builds(Value, value=st.floats(0, 20), unit=units),
        st.builds(Unstable, low=odd, high=odd, unit=units),
        st.just(Unstable()),
    ]
    if unit == "ohm":
        kinds += [st.just(OpenLine()), st.builds(Beep, heard=st.booleans())]
    return st.one_of(kinds)


def healthy(case: Diagnosis) -> None:
    """Weights and belief are numbers that make sense, and there is a next step."""
    population = case.population
    assert np.isfinite(population.log_weights).all()
    assert population.weights.sum() == pytest.approx(1.0)
    assert population.effective >= 1.0 - 1e-9
    belief = case.belief()
    assert all(0.0 <= p <= 1.0 + 1e-12 for _, p in (*belief.faults, *belief.repairs))
    assert sum(p for _, p in belief.faults) > 0.0
    assert case.next_step() is not None


@given(st.data())
@settings(
    max_examples=10, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_no_reading_however_odd_empties_the_set(data: st.DataObject) -> None:
    case = open_case(worlds=400, seed=data.draw(st.integers(0, 3)))
    for _ in range(3):
        check = CHECKS[data.draw(st.sampled_from(sorted(CHECKS)))]
        case.observe(check.id, data.draw(readings_for(check)))
        healthy(case)


@given(
    st.sampled_from(get_args(Symptom)),
    st.lists(
        st.sampled_from(["always", "accessory", "running", "seconds_after_start", "loud", "warm",
                         "bumps", "cranking"]),
        unique=True, max_size=4,
    ),
    st.lists(st.sampled_from(["front_left", "front_right", "sub", "center"]), unique=True),
)  # fmt: skip
@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_any_complaint_opens_a_case(symptom: Symptom, when: list[str], where: list[str]) -> None:
    case = open_case(COUPE, complaint(symptom, *when, where=where), worlds=500)
    belief = case.belief()
    assert np.isfinite(case.population.log_weights).all()
    assert sum(p for _, p in belief.faults) >= 1.0 - 1e-9


@pytest.mark.parametrize(
    "raw",
    [
        {},
        {"amplifier": {"class": "zz"}},
        {"supply": {"main_fuse": {"amps": 60, "kind": "agu"}}},
        {"supply": {"wire": {"gauge": "40 AWG", "length_m": 90.0}}},
        {"supply": {"wire": {"gauge": "4/0 AWG"}, "ground": {"gauge": "1000 mm2"}}},
        {"amplifier": {"watts_per_channel": 1e6, "channels": 12}},
        {"amplifier": {"watts_per_channel": 0.01}},
        {"amplifier": {"minimum_ohms": 1000}, "speakers": {"sub": {"nominal_ohms": 0.01}}},
        {"amplifier": {"bridged": True, "channels": 1, "minimum_ohms": 2}},
        {"ambient_c": -60},
        {"ambient_c": 80},
        {"source": {"kind": "carrier_pigeon"}, "vehicle": {"charging": "hamster"}},
        {"speakers": {"sub": {}, "front_left": {"nominal_ohms": 16}}},
    ],
)
def test_any_installation_the_schema_takes_is_worked_with(raw: dict[str, object]) -> None:
    case = open_case(Installation.model_validate(raw), worlds=500)
    step = case.next_step()
    assert isinstance(step, NextCheck)
    case.observe("amp_supply", Value(value=12.0, unit="V"))
    healthy(case)


@pytest.mark.parametrize(
    "raw",
    [
        {"supply": {"main_fuse": {"amps": 5000, "kind": "anl"}}},
        {"supply": {"wire": {"gauge": "12.5 mm2", "length_m": 1e9}}},
    ],
)
def test_what_no_car_has_is_worked_with_or_refused_in_words(raw: dict[str, object]) -> None:
    try:
        healthy(open_case(Installation.model_validate(raw), worlds=400))
    except GivenError as refused:
        said = refused
    else:
        return
    assert said.message
    assert said.next_step


# -- contradictions ---------------------------------------------------------------------------


def sound_supply(case: Diagnosis) -> None:
    """A supply that is found good by four checks."""
    for check, volts in (
        ("battery_at_rest", 12.6), ("amp_supply_to_body", 12.5), ("amp_supply_loud", 12.3),
        ("fuse_amp_side", 12.5),
    ):  # fmt: skip
        case.observe(check, Value(value=volts, unit="V"))


def contradict(*, seed: int = 1) -> Diagnosis:
    """Good at four places, and 2.1 V where it cannot be: a slip of the probe."""
    case = open_case(VAN, complaint("protects"), worlds=3000, seed=seed)
    sound_supply(case)
    case.observe("amp_supply", Value(value=2.1, unit="V"))
    return case


def test_answers_that_cannot_be_true_together_are_said_and_asked_again() -> None:
    case = contradict()
    chances = case.slip_chances()
    assert max(chances, key=lambda name: chances[name]) == "amp_supply"
    assert chances["amp_supply"] > 0.6
    step = case.next_step()
    assert isinstance(step, NextCheck)
    assert step.recheck
    assert step.check.id == "amp_supply"
    assert len(step.notes) == 1
    assert step.check.name in step.notes[0]


def test_the_slip_does_not_carry_the_verdict() -> None:
    case = contradict()
    poor = sum(
        p for name, p in case.belief().faults
        if name in {"supply.main_fuse_loose", "supply.power_wire_resistive",
                    "supply.main_fuse_open"}
    )  # fmt: skip
    assert poor < 0.35


def test_the_second_answer_counts_and_ends_the_asking() -> None:
    case = contradict()
    case.observe("amp_supply", Value(value=12.4, unit="V"))
    assert case.contradiction() is None
    step = case.next_step()
    assert not isinstance(step, NextCheck) or not step.recheck
    straight = open_case(VAN, complaint("protects"), worlds=3000, seed=1)
    sound_supply(straight)
    straight.observe("amp_supply", Value(value=12.4, unit="V"))
    after, plain = dict(case.belief().faults), dict(straight.belief().faults)
    assert max(abs(after[name] - plain[name]) for name in after) < 0.1


def test_a_check_that_was_repeated_is_not_asked_a_third_time() -> None:
    case = contradict()
    case.observe("amp_supply", Value(value=2.1, unit="V"))
    step = case.next_step()
    assert not (isinstance(step, NextCheck) and step.check.id == "amp_supply")


def test_a_check_that_cannot_be_repeated_is_left() -> None:
    case = contradict()
    case.cannot("amp_supply", "terminal broke off")
    step = case.next_step()
    assert not (isinstance(step, NextCheck) and step.check.id == "amp_supply")


@pytest.mark.parametrize("fault", ["supply.ground_resistive", "remote.missing", "amp.fuse_open"])
def test_answers_of_one_car_are_no_contradiction(fault: str) -> None:
    car = Car(VAN, fault)
    case = open_case(VAN, complaint("will_not_turn_on"), worlds=3000, seed=2)
    for name in ("amp_supply", "battery_at_rest", "remote_at_amp", "power_light", "ground_drop"):
        case.observe(name, car.answer(case.checks[name]))
        assert case.contradiction() is None, name


def test_the_side_that_the_customer_names_is_suspected() -> None:
    """Left and right hang on one signal pair, and yet only one of them was named."""
    case = open_case(COUPE, complaint("silent_channel", where=["front_left"]), worlds=20_000)
    held = dict(case.belief().faults)
    for kind in ("coil_open", "coil_shorted"):
        named = held[f"speaker.front_left.{kind}"]
        assert named > 3.0 * held[f"speaker.front_right.{kind}"]
