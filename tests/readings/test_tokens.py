"""Text to tokens: mended where one reading is possible, refused where the value might change."""

from __future__ import annotations

import unicodedata
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.readings.tokens import MOST_TOKENS, tokens_of


def shown(text: str) -> list[str]:
    return [
        "|".join(map(str, token.numbers)) if token.kind == "number"
        else "BAD" if token.kind == "bad"
        else token.label
        for token in tokens_of(text)
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "tokens"),
    [
        ("12,6v", ["12.6", "volts"]),
        ("12.6 key on, 8 running", ["12.6", "key", "on", ",", "8", "running"]),
        ("on,8", ["on", ",", "8"]),
        ("8, 9", ["8", ",", "9"]),
        (",8", ["0.8"]),
        (".8", ["0.8"]),
        ("12.6.", ["12.6"]),
        ("12.", ["12"]),
        ("+12.6", ["12.6"]),
        ("-.5", ["-0.5"]),
        ("- 2.5", ["minus", "2.5"]),
        ("2-9", ["2", "to", "9"]),
        ("2 - 9 ohms", ["2", "to", "9", "ohms"]),
        ("2v-9v", ["2", "volts", "to", "9", "volts"]),
        ("12.6-key on", ["12.6", ",", "key", "on"]),
        ("1,200", ["1.200|1200"]),
        ("0,200", ["0.200"]),
        ("1200,5", ["1200.5"]),
        ("don’t", ["dont"]),
        ("twenty-one", ["twenty", "one"]),
        ("12.6 \U0001f44d", ["12.6"]),
        ("ok...12.6", ["ok", ",", "12.6"]),
        ("12\n8", ["12", ",", "8"]),
        ('12" sub', ["12", "inch", "sub"]),
        ('"12.6"', ["12.6"]),
        ("1.2M", ["1.2", "megohms"]),
        ("1.2m", ["1.2", "lonem"]),
        ("5 mΩ", ["5", "milliohms"]),
        ("5 MΩ", ["5", "megohms"]),
        ("", []),
        ("  \t ", []),
        ("!!!", []),
    ],
)
def test_tokens(text: str, tokens: list[str]) -> None:
    assert shown(text) == tokens


@pytest.mark.parametrize(
    "text",
    ["12..6", "1e999", "1e3", "1.2.3", "12,6,8", "12.6,8", "12:30", "3/4", "<1", "±12", "--2",
     "50%", "v12", "$12", "12²", "①②", "4k7", "0x10", "1_000", "12'6", "1,2e4"],
)  # fmt: skip
def test_what_might_change_in_value_is_not_read(text: str) -> None:
    assert "BAD" in shown(text)


@pytest.mark.parametrize(
    ("text", "number"),
    [("１２.６", "12.6"), ("12½", "12.5"), ("12 ½", "12.5"), ("3 1/2", "3.5"), ("1/2", "0.5"),
     ("¼", "0.25"), ("2¾", "2.75"), ("٣٫٦", "3.6"), ("−2.5", "-2.5"), ("–2.5", "-2.5")],
)  # fmt: skip
def test_signs_of_other_keyboards(text: str, number: str) -> None:
    # Unicode Standard Annex 15: NFKC alone would make 121/2 of the second
    assert unicodedata.normalize("NFKC", "12½") == "121⁄2"
    assert tokens_of(text)[0].numbers == (Decimal(number),)


@pytest.mark.parametrize("sign", ["\u2126", "\u03a9", "\u03c9", "ohm", " ohms", " Ohm"])
def test_ohm_signs(sign: str) -> None:
    assert shown(f"3.6{sign}") == ["3.6", "ohms"]


@pytest.mark.parametrize("sign", ["\u00b5", "\u03bc", "u"])
def test_micro_signs(sign: str) -> None:
    assert shown(f"120{sign}V") == ["120", "microvolts"]


def test_a_long_text_is_cut_and_marked() -> None:
    tokens = tokens_of("word " * 5000)
    assert len(tokens) == MOST_TOKENS + 1
    assert tokens[-1].kind == "bad"


@given(st.text(max_size=120))
def test_no_text_raises_and_numbers_are_finite(text: str) -> None:
    for token in tokens_of(text):
        assert all(number.is_finite() for number in token.numbers)


@given(st.decimals(-9999, 9999, places=2), st.sampled_from([".", ","]))
def test_a_plain_number_is_read_exactly(number: Decimal, mark: str) -> None:
    text = str(number).replace(".", mark)
    assert tokens_of(text)[0].numbers == (number,)
