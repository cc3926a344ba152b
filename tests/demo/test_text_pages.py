"""The pages of the case by text that README.md shows: mid-case, of no real person."""

from __future__ import annotations

import re

import pytest

pytest.importorskip("fastapi", reason="the pages are those of probetell[sms]")

from demo.text_pages import TEXTS, pages


def test_the_pages_stand_in_the_middle_of_a_case_and_are_the_same_again() -> None:
    made = pages()
    assert made == pages()
    shown = made.telephone.split('id="lines"')[1]
    assert TEXTS[-1] in shown
    assert "GND" in shown
    assert "Reply like 12.6" in shown
    assert "waits for a reading" in made.shop
    assert "remake ground" in made.shop
    assert "Harbour Street Audio" in made.shop


def test_the_pages_need_no_other_file_and_name_numbers_of_fiction_only() -> None:
    made = pages()
    for page in (made.telephone, made.shop):
        assert not re.search(r"<script|<link|src=", page)
    numbers = re.findall(r"\+1\d{10}", made.telephone)
    assert numbers
    # kept for fiction by the North American Numbering Plan: 555-0100 to 555-0199
    assert all(number[-7:-2] == "55501" for number in numbers)
    assert "+1" not in made.shop
