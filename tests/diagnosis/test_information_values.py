"""Entropies, information and repair order against published and enumerated values."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.diagnosis.information import (
    bits_of,
    count_outcomes,
    entropy_bits,
    expected_cost,
    plan_cost,
)

# The fourteen days of Quinlan 1986, also in Mitchell 1997 (attribution from memory):
# outlook, temperature, humidity, wind, whether tennis is played.
DAYS = [
    "sunny hot high weak no", "sunny hot high strong no", "overcast hot high weak yes",
    "rain mild high weak yes", "rain cool normal weak yes", "rain cool normal strong no",
    "overcast cool normal strong yes", "sunny mild high weak no", "sunny cool normal weak yes",
    "rain mild normal weak yes", "sunny mild normal strong yes", "overcast mild high strong yes",
    "overcast hot normal weak yes", "rain mild high strong no",
]  # fmt: skip
COLUMNS = ("outlook", "temperature", "humidity", "wind", "play")


def column(name: str) -> np.ndarray:
    words = [day.split()[COLUMNS.index(name)] for day in DAYS]
    return np.array([sorted(set(words)).index(word) for word in words], dtype=np.intp)


def test_entropy_of_the_tennis_days() -> None:
    # Quinlan 1986, Mitchell 1997: 9 of 14.
    assert entropy_bits(np.array([9 / 14, 5 / 14])) == pytest.approx(0.940286, abs=5e-7)


@pytest.mark.parametrize(
    ("name", "gain"),
    [("outlook", 0.246750), ("humidity", 0.151836), ("wind", 0.048127), ("temperature", 0.029223)],
)
def test_gains_of_the_tennis_days(name: str, gain: float) -> None:
    # Quinlan 1986, Mitchell 1997: printed rounded, computed to six places.
    counted = count_outcomes(column("play"), 2, column(name))
    assert bits_of(counted, correct=False) == pytest.approx(gain, abs=5e-7)


def test_the_best_gain_is_asked_first() -> None:
    gains = {
        name: bits_of(count_outcomes(column("play"), 2, column(name)), correct=False)
        for name in COLUMNS[:-1]
    }
    assert max(gains, key=lambda name: gains[name]) == "outlook"


def test_entropy_of_eight_horses() -> None:
    # Cover and Thomas, Elements of Information Theory (from memory, sure): 2 bits.
    share = np.array([1 / 2, 1 / 4, 1 / 8, 1 / 16, 1 / 64, 1 / 64, 1 / 64, 1 / 64])
    assert entropy_bits(share) == pytest.approx(2.0, abs=1e-12)


def test_twelve_coins_and_three_weighings() -> None:
    # MacKay, Information Theory, Inference, and Learning Algorithms (from memory, sure): one of
    # 12 coins is heavier or lighter, log2 24 = 4.585 bits, at most log2 3 in each weighing.
    coins = np.full(24, 1 / 24)
    assert entropy_bits(coins) == pytest.approx(4.585, abs=5e-4)
    assert 3 * math.log2(3) == pytest.approx(4.755, abs=5e-4)
    told = {}
    for on_each_side in (1, 2, 3, 4, 5, 6):
        # World 2k is coin k heavy, 2k + 1 coin k light; left is coins 0.., right the next ones.
        outcome = []
        for coin in range(12):
            side = 0 if coin < on_each_side else 1 if coin < 2 * on_each_side else 2
            outcome += [(0, 1), (1, 0), (2, 2)][side]
        counted = count_outcomes(np.arange(24), 24, np.array(outcome))
        told[on_each_side] = bits_of(counted, correct=False)
    assert max(told, key=lambda n: told[n]) == 4
    assert told[4] == pytest.approx(math.log2(3), abs=1e-12)
    assert told[6] == pytest.approx(1.0, abs=1e-12)


@given(
    st.lists(st.integers(0, 4), min_size=3, max_size=60),
    st.integers(0, 2**32 - 1),
)
@settings(max_examples=100)
def test_information_is_never_negative_nor_more_than_either_entropy(
    classes: list[int], seed: int
) -> None:
    labels = np.array(classes, dtype=np.intp)
    bins = np.random.default_rng(seed).integers(0, 6, len(labels))
    counted = count_outcomes(labels, 5, bins)
    bits = bits_of(counted, correct=False)
    assert 0.0 <= bits <= entropy_bits(np.bincount(labels) / len(labels)) + 1e-9
    assert bits <= entropy_bits(np.bincount(bins) / len(bins)) + 1e-9
    # A check whose answer names the class tells all of it, one that is always the same nothing.
    whole = bits_of(count_outcomes(labels, 5, labels), correct=False)
    assert whole == pytest.approx(entropy_bits(np.bincount(labels) / len(labels)), abs=1e-9)
    assert bits_of(count_outcomes(labels, 5, np.zeros_like(labels))) == pytest.approx(0.0, abs=1e-9)


def test_independent_answers_tell_nothing_once_chance_is_taken_off() -> None:
    """Miller and Madow 1955: the bias of counted information is (cells)/(2 n ln 2)."""
    rng = np.random.default_rng(1)
    raw, corrected = [], []
    for _ in range(60):
        classes, bins = rng.integers(0, 8, 500), rng.integers(0, 10, 500)
        counted = count_outcomes(classes, 8, bins)
        raw.append(bits_of(counted, correct=False))
        corrected.append(bits_of(counted))
    assert np.mean(raw) == pytest.approx(7 * 9 / (2 * 500 * math.log(2)), rel=0.1)
    assert np.mean(corrected) < 0.15 * np.mean(raw)


# -- the order of repairs ---------------------------------------------------------------------

P = np.array([0.4, 0.3, 0.2, 0.1])
C = np.array([10.0, 2.0, 5.0, 1.0])


def cost_in_order(order: tuple[int, ...], p: np.ndarray, c: np.ndarray) -> float:
    """Expected cost: each test is paid for unless one before it found the fault."""
    left, total = float(p.sum()), 0.0
    for item in order:
        total += c[item] * left
        left -= float(p[item])
    return total


def test_an_own_example_of_the_order_by_probability_over_cost() -> None:
    # Rule: Kalagnanam and Henrion 1988 (arXiv 1304.2362), after Kadane and Simon; the numbers
    # are an own example, by brute force.
    costs = {order: cost_in_order(order, P, C) for order in itertools.permutations(range(4))}
    assert min(costs.values()) == pytest.approx(9.7)
    assert costs[1, 3, 2, 0] == pytest.approx(9.7)
    assert costs[1, 3, 0, 2] == pytest.approx(9.7)
    assert costs[tuple(int(i) for i in np.argsort(-P))] == pytest.approx(12.8)
    assert costs[tuple(int(i) for i in np.argsort(C))] == pytest.approx(9.8)
    assert max(costs.values()) == pytest.approx(14.0)
    assert float(plan_cost(P, C)) == pytest.approx(9.7)
    # Where the last test need not be paid for, 5.7 is left.
    assert float(plan_cost(P, C)) - C[0] * P[0] == pytest.approx(5.7)


@given(
    st.lists(st.floats(1e-3, 1.0), min_size=1, max_size=6),
    st.lists(st.floats(0.1, 100.0), min_size=6, max_size=6),
)
@settings(max_examples=80, deadline=None)
def test_no_order_is_cheaper_than_the_plan(weights: list[float], costs: list[float]) -> None:
    p = np.array(weights) / sum(weights)
    c = np.array(costs[: len(weights)])
    best = min(cost_in_order(order, p, c) for order in itertools.permutations(range(len(p))))
    assert float(plan_cost(p, c)) == pytest.approx(best, rel=1e-9)
    # The cost is linear in the mass, and many rows are solved at once.
    rows = np.stack([p, 0.5 * p, p[::-1]])
    assert plan_cost(rows, c)[1] == pytest.approx(0.5 * best, rel=1e-9)
    assert plan_cost(rows, c).shape == (3,)


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=60, deadline=None)
def test_an_answer_never_makes_repairing_dearer(seed: int) -> None:
    rng = np.random.default_rng(seed)
    classes, bins = rng.integers(0, 5, 300), rng.integers(0, 6, 300)
    costs = rng.uniform(1.0, 100.0, 5)
    counted = count_outcomes(classes, 5, bins)
    now = float(plan_cost(np.bincount(classes, minlength=5) / 300, costs))
    assert expected_cost(counted, costs) <= now + 1e-9
    certain = count_outcomes(classes, 5, classes)
    share = np.bincount(classes, minlength=5) / 300
    assert expected_cost(certain, costs) == pytest.approx(float(share @ costs))
