"""When the measuring ends: a tired person is asked only for what pays well."""

from __future__ import annotations

import numpy as np
import pytest
from diagnosis_cases import COUPE, complaint, open_case

from assistant.diagnosis.choice import best_check, choose
from assistant.diagnosis.information import Outcomes, bits_of, count_outcomes
from assistant.diagnosis.labour import Bench

COSTS = np.array([100.0, 100.0])
"""Minutes of two repairs that cost alike; half of the worlds need each (the next rows)."""
HALF = np.repeat([0, 1], 500)


def answers(right: float) -> Outcomes:
    """Give a check whose answer names the repair with this chance."""
    stray = np.arange(1000) % 1000 >= round(1000 * right)
    rng = np.random.default_rng(1)
    return count_outcomes(HALF, 2, np.where(rng.permutation(stray), 1 - HALF, HALF))


def chosen(outcomes: dict[str, Outcomes], answered: int) -> str | None:
    best, _ = best_check(
        outcomes,
        {check: bits_of(found) for check, found in outcomes.items()},
        dict.fromkeys(outcomes, 2.0),
        COSTS,
        top=0.5,
        answered=answered,
        rng=np.random.default_rng(0),
    )
    return best


@pytest.mark.parametrize("answered", [0, 5, 12, 20])
def test_a_check_that_settles_it_is_asked_however_late(answered: int) -> None:
    # Either of two repairs: naming one is wrong every second time and costs 50 minutes on average.
    assert chosen({"settles": answers(1.0), "hints": answers(0.6)}, answered) == "settles"


def test_a_hint_is_asked_early_and_not_late() -> None:
    # Right in 60 of 100: by hand it saves 50 - 40 = 10 minutes of wrong repairs.
    assert chosen({"hints": answers(0.6)}, 0) == "hints"
    assert chosen({"hints": answers(0.6)}, 12) is None


def test_nobody_measures_for_ever() -> None:
    assert chosen({"settles": answers(1.0)}, 24) is None


@pytest.mark.parametrize(("lately", "asks_on"), [(12, True), (23, True), (24, False), (30, False)])
def test_after_a_failed_repair_there_are_bounds_too(lately: int, *, asks_on: bool) -> None:
    case = open_case(COUPE, complaint("protects"), worlds=2000)
    choice = choose(
        case.population,
        repairs=case.repairs,
        bench=Bench(),
        answered=set(),
        lately=lately,
        barred=frozenset(),
        tried=frozenset({"tighten_main_fuse"}),
        belief=case.belief(),
        rng=np.random.default_rng(0),
    )
    assert (choice.check is not None) == asks_on
