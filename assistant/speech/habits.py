"""How people say numbers, and how they hardly ever do; and what a check's answer mostly is.

A grammar takes every number that a person may say, also "nineteen nine" and "point forty four".
In noise these sound like "ninety nine" and "point four four", and nearly always that was said.
So the ear holds each odd turn of a phrase a little against it. What is odd is common practice,
no source; how much it costs is a figure of the network, see ``calibration.Calibration``.

A check that is answered by a word, as "beep" or "lit", mostly is: such an answer is a few short
words, and a number or a command that sounds like it would often be heard instead.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Final

from assistant.readings.grammarfile import grammar_names
from assistant.readings.graphs import combined_graph
from assistant.speech.events import ANY, acceptor

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

__all__ = ["is_expected", "is_number", "oddities"]

_DIGITS: Final = frozenset(
    {"zero", "oh", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "niner"}
)
_TEENS: Final = frozenset(
    {
        *("ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen"),
        *("eighteen", "nineteen"),
    }
)
_TENS: Final = frozenset(
    {"twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"}
)
_NUMBERS: Final = _DIGITS | _TEENS | _TENS | {"point"}
_LEADS: Final = frozenset({"it's", "that's", "no"})
_STARTS: Final = _NUMBERS | {"a", "minus"}
_ANSWERED_IN_WORDS: Final = frozenset({"continuity", "light", "sound", "noise", "warmth"})
"""Grammars of checks that are answered by a word; a bare number is hardly ever meant."""


def oddities(words: Sequence[str], grammar: str = "") -> int:
    """Count the odd turns of a phrase that answers the open check of ``grammar``.

    Only the program's own grammars are of meters: in others, such as any run of numbers, digits
    one after the other are nothing odd.
    """
    if grammar not in _of_meters():
        return 0
    found = sum(_odd_pair(words, place) for place in range(len(words)))
    if len(words) > 1 and words[0] in _LEADS and words[1] in _STARTS:
        found += 1
    bare = bool(words) and all(word in _NUMBERS for word in words)
    return found + (bare and grammar in _ANSWERED_IN_WORDS)


@cache
def _of_meters() -> frozenset[str]:
    return frozenset({"", ANY, *grammar_names()})


def is_number(text: str) -> bool:
    """Tell whether a phrase is a number of one word, as "two" or "forty"."""
    return text in _NUMBERS and text != "point"


def is_expected(words: Sequence[str], grammar: str) -> bool:
    """Tell whether a phrase is one of the few answers in words that the open check asks for."""
    if grammar not in _ANSWERED_IN_WORDS or not _NUMBERS.isdisjoint(words):
        return False
    return _answers(grammar)(tuple(words))


@cache
def _answers(grammar: str) -> Callable[[tuple[str, ...]], bool]:
    return acceptor(combined_graph(grammar, commands=False))


def _odd_pair(words: Sequence[str], place: int) -> int:
    """Tell how odd the word at ``place`` is behind those before it: 0, 1 or 2."""
    word = words[place]
    before = words[place - 1] if place else ""
    odd = int(word == "niner")
    if word in _TEENS | _TENS:
        odd += before in _NUMBERS
    elif word in _DIGITS:
        odd += before in _TEENS or (before in _TENS and word in {"zero", "oh"})
        odd += before in _DIGITS and "point" not in words[:place]
        odd += (
            place > 2
            and words[place - 3] == "point"
            and _DIGITS.issuperset(words[place - 2 : place])
        )
    elif word == "hundred":
        odd += before in _TEENS | _TENS
    elif word == "half":
        odd += before == "a" and place >= 3 and words[place - 3] in _TENS
    return odd
