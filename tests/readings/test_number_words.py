"""Numbers to words and back, against num2words, text2num and the published spellings."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from num2words import num2words
from text_to_num import alpha2digit

from assistant.errors import MisuseError
from assistant.readings.number_words import number_candidates, number_words, spelled_digits

HUNDREDTHS = [Decimal(step) / 100 for step in range(10_000)]
TENTHS = [Decimal(step) / 10 for step in range(10_000)]


@pytest.mark.parametrize("numbers", [HUNDREDTHS, TENTHS], ids=["0.01 to 99.99", "0.1 to 999.9"])
def test_num2words_reads_back_to_the_same_number(numbers: list[Decimal]) -> None:
    # num2words 0.5.14, English, as the reference for how numbers are said. It says a half-open
    # set of words: "one hundred and twenty", "zero point zero five".
    for number in numbers:
        words = num2words(number).replace("-", " ").replace(",", "").split()
        assert number_candidates(words) == (number,), words


@pytest.mark.parametrize("numbers", [HUNDREDTHS, TENTHS], ids=["0.01 to 99.99", "0.1 to 999.9"])
def test_own_words_are_those_of_num2words_without_and(numbers: list[Decimal]) -> None:
    for number in numbers:
        plain = number.normalize() if number % 1 else number.to_integral_value()
        theirs = num2words(number).replace("-", " ").replace(" and ", " ")
        assert number_words(plain) == theirs
        assert number_candidates(number_words(plain).split()) == (number,)


@pytest.mark.parametrize(
    "number", [0, 7, 13, 100, 101, 999, 1000, 1001, 2304, 9999, 12_000, 99_999]
)
def test_whole_numbers_of_num2words(number: int) -> None:
    words = num2words(number).replace("-", " ").replace(",", "").split()
    assert number_candidates(words) == (Decimal(number),)


@given(st.integers(1, 9999), st.integers(0, 999))
def test_negative_numbers_of_num2words(whole: int, thousandths: int) -> None:
    # from -1 down: num2words 0.5.14 drops the sign of numbers between -1 and 0
    number = -(whole + Decimal(thousandths) / 1000)
    words = num2words(number).replace("-", " ").replace(",", "").split()
    assert number_candidates(words) == (number,)


def test_the_sign_that_num2words_drops_is_kept() -> None:
    assert "minus" not in num2words(Decimal("-0.1"))
    assert number_words(Decimal("-0.1")) == "minus zero point one"


# Phrases of the trade and the number that each means; the last column is what text2num 3.1.0
# gives where it is right (alpha2digit; text2num itself refuses decimals), else None.
ROWS = [
    ("twelve point six", "12.6", "12.6"),
    ("three and a half", "3.5", None),  # text2num leaves "3 and a half"
    ("a hundred and twenty", "120", None),  # text2num leaves "a 120"
    ("oh point two", "0.2", None),
    ("zero point two", "0.2", "0.2"),
    ("point two", "0.2", None),
    ("minus two point five", "-2.5", None),  # text2num leaves "minus 2.5"
    ("one point oh five", "1.05", None),
    ("twelve and a half", "12.5", None),
    ("thirty two hundred", "3200", "3200"),
]


@pytest.mark.parametrize(("phrase", "number", "theirs"), ROWS)
def test_phrase(phrase: str, number: str, theirs: str | None) -> None:
    # values by hand from English usage; text2num agrees where a third column is given
    assert number_candidates(phrase.split()) == (Decimal(number),)
    if theirs is not None:
        assert alpha2digit(phrase, "en") == theirs == number


@pytest.mark.parametrize(("phrase", "theirs"), [("one twenty", "1 20"), ("twelve six", "12 6")])
def test_open_phrases_give_more_than_one_number(phrase: str, theirs: str) -> None:
    # text2num 3.1.0 keeps these as two numbers, too: nobody can tell
    assert len(number_candidates(phrase.split())) > 1
    assert alpha2digit(phrase, "en") == theirs


@pytest.mark.parametrize("numbers", [HUNDREDTHS[::37], TENTHS[3::41]])
def test_text2num_agrees_on_plain_decimals(numbers: list[Decimal]) -> None:
    # differential check where text2num is right: "<whole> point <digits>"
    for number in numbers:
        if number % 1:
            words = num2words(number)
            assert Decimal(alpha2digit(words, "en")) == number
            assert number_candidates(words.replace("-", " ").split()) == (number,)


@pytest.mark.parametrize(
    ("number", "words"),
    [
        ("12.6", "twelve point six"),
        ("120", "one hundred twenty"),
        ("0.05", "zero point zero five"),
        ("-2.5", "minus two point five"),
        ("12.60", "twelve point six zero"),
        ("1000000", "one million"),
        ("2000500", "two million five hundred"),
        ("1200", "one thousand two hundred"),
    ],
)
def test_number_to_words(number: str, words: str) -> None:
    # as num2words and inflect say them with andword=''; trailing zeros are ours
    assert number_words(Decimal(number)) == words


@pytest.mark.parametrize(
    ("word", "digit"),
    [("wun", 1), ("too", 2), ("tree", 3), ("fower", 4), ("fife", 5), ("six", 6), ("ait", 8),
     ("niner", 9), ("zero", 0)],
)  # fmt: skip
def test_icao_digits(word: str, digit: int) -> None:
    # ICAO Annex 10 Volume II, chapter 5 (seen at second hand): FOW-er, FIFE, NIN-er and so on.
    # text2num 3.1.0 leaves "niner" and "fife" as they are, so they have entries of their own.
    assert number_candidates([word]) == (Decimal(digit),)
    if word in {"niner", "fife"}:
        assert alpha2digit(word, "en") == word


def test_digits_are_said_singly_as_icao_has_them() -> None:
    assert spelled_digits(Decimal(15)) == "one five"
    assert spelled_digits(Decimal("-12.60")) == "minus one two point six zero"


@given(st.decimals(-999_999, 999_999, places=3))
def test_spelled_digits_mean_the_same_number(number: Decimal) -> None:
    words = spelled_digits(number).split()
    assert "point" in words
    assert number_candidates(words) == (number,)


SOUP = (
    "zero", "one", "two", "five", "ten", "twelve", "fifteen", "twenty", "fifty", "hundred",
    "thousand", "point", "oh", "and", "a", "half", "minus", "quarter", "three", "quarters", "dot",
    "niner", "volts",
)  # fmt: skip


@given(st.lists(st.sampled_from(SOUP), max_size=16))
def test_word_soup_never_raises_and_gives_distinct_finite_numbers(words: list[str]) -> None:
    found = number_candidates(words)
    assert len(set(found)) == len(found)
    assert all(number.is_finite() for number in found)


@pytest.mark.parametrize("number", ["NaN", "Infinity", "1e9", "-1e12"])
def test_what_cannot_be_said_is_refused(number: str) -> None:
    with pytest.raises(MisuseError):
        number_words(Decimal(number))
