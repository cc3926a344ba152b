"""How a gauge is read: AWG by number or by aughts, and metric sections."""

from __future__ import annotations

import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.knowledge.schema import Wire, parse_gauge

AWG_WORD = st.sampled_from(["AWG", "awg", "Awg", "ga", "gauge", ""])
METRIC_WORD = st.sampled_from(["mm2", "mm²", "MM2", "mm^2", "sq mm", "sqmm"])
SPACE = st.sampled_from(["", " ", "  "])


@given(st.integers(0, 40), AWG_WORD, SPACE, st.sampled_from(["", "#"]))
def test_awg_numbers_come_back(number: int, word: str, space: str, hash_: str) -> None:
    assert parse_gauge(f"{hash_}{number}{space}{word}") == ("awg", float(number))


@pytest.mark.parametrize(("written", "aughts"), [("1/0", 1), ("2/0", 2), ("3/0", 3), ("4/0", 4)])
@pytest.mark.parametrize("word", [" AWG", "awg", " gauge"])
def test_aughts_go_down_from_zero(written: str, aughts: int, word: str) -> None:
    # ASTM B258 numbers 1/0 as 0, 2/0 as -1, 3/0 as -2 and 4/0 as -3.
    assert parse_gauge(written + word) == ("awg", 1.0 - aughts)
    assert parse_gauge("0" * aughts + word) == ("awg", 1.0 - aughts)


@given(st.integers(1, 99_999), SPACE, METRIC_WORD, st.sampled_from([".", ","]))
def test_metric_sections_come_back(hundredths: int, space: str, word: str, comma: str) -> None:
    text = f"{hundredths // 100}{comma}{hundredths % 100:02d}{space}{word}"
    assert parse_gauge(text) == ("mm2", pytest.approx(hundredths / 100))


@pytest.mark.parametrize(
    "text",
    ["", "AWG", "5/0 AWG", "0/0 AWG", "41 AWG", "-4 AWG", "4.5 AWG", "0 mm2", "-16 mm2", "16 cm2",
     "16 mm", "four", "4 AWG copper", "00000 AWG", "1e1 mm2", "nan mm2"],
)  # fmt: skip
def test_what_is_no_gauge_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(ValueError, match="4 AWG"):
        parse_gauge(text)
    with pytest.raises(ValueError, match="4 AWG"):
        Wire(gauge=text)


@given(st.text(alphabet=string.printable, max_size=12))
def test_any_text_is_a_gauge_or_refused(text: str) -> None:
    try:
        system, number = parse_gauge(text)
    except ValueError:
        return
    if system == "awg":
        assert -3.0 <= number <= 40.0
        assert number == int(number)
    else:
        assert number > 0.0
