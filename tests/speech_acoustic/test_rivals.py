"""Phrases that a clip might be taken for, and the loss that sets it against them."""

from __future__ import annotations

from collections import Counter
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.speech.acoustic.clips import ways_to_say, word_ways
from assistant.speech.acoustic.phrases import PhraseSource
from assistant.speech.acoustic.rivals import Phones, Rivals, distances, word_parts
from assistant.speech.lexicon import PHONES

KNOWN = {"gas": [["G", "AE1", "S"]]}
WORDS = sorted(PhraseSource(1).counts)


def phones(text: str) -> Phones:
    return tuple(PHONES.index(one) + 1 for one in text.split())


def said(words: str) -> tuple[str, Phones]:
    return words, ways_to_say(words, KNOWN)[0]


def drawn(words: str, count: int, seed: int = 3) -> Counter[Phones]:
    return Counter(Rivals(WORDS, KNOWN, seed).draw([[said(words)]], count)[0])


def test_distances_are_those_of_a_weighted_edit() -> None:
    """Worked by hand: TH-T other consonant 0.5, R left out 0.7, IY-UW other vowel 0.5."""
    others = [phones("TH R IY"), phones("T UW"), phones("TH R IY Z"), phones("AA R IY")]
    assert distances(phones("TH R IY"), others) == pytest.approx([0.0, 1.7, 0.7, 1.0])


@given(
    st.lists(
        st.lists(st.integers(1, 39), min_size=1, max_size=6).map(tuple), min_size=2, max_size=6
    )
)
def test_distances_are_the_same_both_ways_and_add_up(ways: list[Phones]) -> None:
    table = np.array([distances(one, ways) for one in ways])
    assert np.allclose(table, table.T)
    assert np.allclose(np.diag(table), 0.0)
    for a, b, c in product(range(len(ways)), repeat=3):
        assert table[a, c] <= table[a, b] + table[b, c] + 1e-9


def test_a_way_is_split_into_its_words() -> None:
    def ways_of(word: str) -> list[Phones]:
        return word_ways(word, KNOWN)

    words, way = said("six point gas")
    parts = word_parts(words.split(), way, ways_of)
    assert parts == (phones("S IH K S"), phones("P OY N T"), phones("G AE S"))
    assert word_parts(["six"], phones("S IH K"), ways_of) is None


@given(st.sampled_from(WORDS), st.sampled_from(WORDS), st.integers(0, 99))
@settings(max_examples=60, deadline=None)
def test_no_rival_is_what_was_said(one: str, other: str, seed: int) -> None:
    rows = [[said(one)], [said(f"{one} {other}")], [said(one), said(other)], []]
    found = Rivals(WORDS, KNOWN, seed).draw(rows, 6)
    ways = [sum((way for _, way in row), ()) for row in rows]
    assert [len(some) for some in found] == [6, 6, 6, 6]
    for way, some in zip(ways, found, strict=True):
        assert all(some)
        assert way not in some


def test_rivals_are_mostly_words_that_sound_alike() -> None:
    found = drawn("sixty volts", 4000)
    assert found[said("sixteen volts")[1]] > 3 * found[said("eleven volts")[1]] > 0
    assert found[said("sixty")[1]] > 0
    assert found[said("sixty volt")[1]] == 0


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("fifteen volts", "fifty volts"),
        ("minus ninety point four ohms", "minus nineteen point four ohms"),
        ("eight amps", "eighty amps"),
    ],
)
def test_a_number_is_often_set_against_its_nearest_one(one: str, other: str) -> None:
    found = drawn(one, 2000)
    assert found[said(other)[1]] > 0.1 * 2000


def test_a_number_said_another_way_is_hardly_a_rival() -> None:
    """It comes only where a single phone was exchanged and happened to give it."""
    found = drawn("zero volts", 2000)
    ways = set(ways_to_say("zero volts", KNOWN))
    assert len(ways) > 1
    assert sum(found[way] for way in ways) < 0.01 * 2000


def test_another_word_is_set_against_the_grammars_words_like_it() -> None:
    found = drawn("gas", 2000)
    assert found[said("yes")[1]] > 10


def test_where_nothing_was_said_numbers_are_rivals() -> None:
    rivals = Rivals(WORDS, KNOWN, 2).draw([[]], 400)[0]
    assert {said("two")[1], said("eight")[1], said("oh")[1]} <= set(rivals)


def test_the_same_seed_draws_the_same() -> None:
    assert drawn("three point two", 50, 4) == drawn("three point two", 50, 4)
    assert drawn("three point two", 50, 4) != drawn("three point two", 50, 5)
