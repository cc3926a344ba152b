"""What the ear holds against a phrase, and that it only tips the scales."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.speech.calibration import builtin_calibration
from assistant.speech.events import Hypothesis
from assistant.speech.habits import is_expected, is_number, oddities

_WORDS = ("twelve", "point", "six", "oh", "ninety", "volts", "a", "half", "and", "hundred", "no")


@pytest.mark.parametrize(
    "phrase",
    [
        "twelve point six volts",
        "oh point two",
        "point oh five ohms",
        "ninety nine millivolts",
        "one point one one",
        "fourteen point nine five volts",
        "a hundred and forty four millivolts",
        "three and a half",
        "minus five point one",
        "jumping around between four and fourteen",
        "open line",
        "no beep",
        "",
    ],
)
def test_what_people_say_is_not_odd(phrase: str) -> None:
    assert oddities(phrase.split(), "volts") == 0


@pytest.mark.parametrize(
    ("phrase", "odd"),
    [
        ("nineteen nine millivolts", 1),
        ("twelve six", 1),
        ("eleven point forty", 1),
        ("one one nine", 2),
        ("fourteen point nine one four volts", 1),
        ("point six six four", 1),
        ("nineteen hundred and thirty millivolts", 1),
        ("eighty and a half", 1),
        ("six niner", 2),
        ("no four point nine volts", 1),
    ],
)
def test_each_odd_turn_counts(phrase: str, odd: int) -> None:
    assert oddities(phrase.split(), "volts") == odd


def test_a_bare_number_is_odd_where_a_word_is_the_answer() -> None:
    assert oddities(["eight"], "continuity") == 1
    assert oddities(["beep"], "continuity") == 0
    assert oddities(["eight"], "ohms") == 0
    assert oddities(["eight", "ohms"], "continuity") == 0


@given(st.lists(st.sampled_from(_WORDS), max_size=8))
def test_no_phrase_gains_and_no_word_counts_more_than_thrice(words: list[str]) -> None:
    assert 0 <= oddities(words, "light") <= 3 * len(words)


def test_an_odd_phrase_that_is_clearly_heard_still_stands() -> None:
    """The cost is less than the margin of 3 at which the program asks again."""
    assert 0 < builtin_calibration().unusual < 3.0
    assert replace(Hypothesis(text="twelve six", score=-1.0), score=-3.0).score == -3.0


def test_a_run_of_digits_is_odd_for_a_meter_and_nowhere_else() -> None:
    digits = ["four", "two", "two", "zero", "seven"]
    assert oddities(digits, "volts") == oddities(digits, "any") == 4
    assert oddities(digits, "any run of numbers") == 0


@pytest.mark.parametrize(
    ("phrase", "grammar"),
    [
        ("beep", "continuity"),
        ("no beep", "continuity"),
        ("open line", "continuity"),
        ("lit", "light"),
        ("too hot", "warmth"),
        ("yes", "sound"),
    ],
)
def test_an_answer_in_words_is_expected_where_the_check_asks_for_one(
    phrase: str, grammar: str
) -> None:
    assert is_expected(phrase.split(), grammar)


@pytest.mark.parametrize(
    ("phrase", "grammar"),
    [
        ("eight", "continuity"),
        ("wait", "continuity"),
        ("repeat", "light"),
        ("beep", "warmth"),
        ("twelve point six", "volts"),
        ("open line", "ohms"),
        ("beep", "any"),
        ("", "light"),
    ],
)
def test_numbers_commands_and_other_checks_answers_are_not(phrase: str, grammar: str) -> None:
    assert not is_expected(phrase.split(), grammar)


@pytest.mark.parametrize(
    ("phrase", "whether"),
    [
        ("two", True),
        ("niner", True),
        ("forty", True),
        ("point", False),
        ("half", False),
        ("beep", False),
        ("forty two", False),
        ("two volts", False),
        ("", False),
    ],
)
def test_a_number_of_one_word_is_told_from_all_else(phrase: str, whether: bool) -> None:
    assert is_number(phrase) is whether
