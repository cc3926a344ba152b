"""Text to tokens: what people type, mended only where one reading of it is possible.

Compatibility forms (full-width digits, ligatures, the ohm and micro signs) are folded by
Unicode normalisation form KC (Unicode Standard Annex 15), with two exceptions that it would
change in value: "12½" would become 121/2 and "12²" would become 122.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from typing import Final, Literal

from assistant.readings.grammarfile import load_file
from assistant.readings.template import COMMA, NUMERAL

__all__ = ["MOST_TOKENS", "Token", "tokens_of", "word_key"]

MOST_TOKENS: Final = 240
"""Longer texts hold no reading that could be told apart; ten text messages have fewer words."""

_HALVES: Final = {"½": ".5", "¼": ".25", "¾": ".75"}
_SAME: Final = str.maketrans(
    {
        "\u2212": "-", "\u2010": "-", "\u2011": "-", "\u2012": "-", "\u2013": "-", "\u2014": "-",
        "\ufe63": "-", "\u2018": "'", "\u2019": "'", "\u201b": "'", "\u02bc": "'", "\u0060": "'",
        "\u00b4": "'", "\u066b": ".", "\u00b7": ".", "\u201a": ",",
        "\u201c": '"', "\u201d": '"', "\u201e": '"',
        "\u00a0": " ", "\u03bc": "µ", "\u2215": "/", "\u2044": "/",
    }
)  # fmt: skip
_GAPS: Final = ',;:/&|()[]{}"!?=~'
_NUMBER: Final = re.compile(r"(?P<sign>[+-]?)(?P<body>\d+[.,]\d+|\d+|[.,]\d+)(?P<unit>[^\W\d_]*)")
_WORDY: Final = re.compile(r"[^\W\d_](?:[^\W\d_]|')*")
_MENDS: Final = (
    (re.compile(r"(?<![\w.,])[0Oo][./]?[Ll]\b(?![.,]?\d)"), "ol"),
    (re.compile(r"(?<=\d)\s+\.\s*(?=\d)"), "."),
    (re.compile(r"(?<=\d)-(?=(?:ohm|volt|amp)s?\b)", re.IGNORECASE), " "),
    (re.compile(r"(\d)\s?1/2(?![\d/])"), r"\1½"),
    (re.compile(r"(?<![\d/.,])1/2(?![\d/])"), "½"),
    (re.compile(r"(\d)\s([½¼¾])"), r"\1\2"),
    (re.compile(r"\A([^\"]*\d)\"(?=\s|\Z)"), r"\1 inch"),
    (re.compile(r"(?<=[^\W\d_])\.{2,}(?=\d)"), " , "),
    (re.compile(r"(?<=\d)[:/](?=\d)"), "\ufffd"),
    (re.compile(r"(\d[^\W\d_]*)-(?=[^\W\d_])"), r"\1 - "),
)
_RANGE: Final = re.compile(r"(?P<low>[\d.,]+)(?P<lowunit>[^\W\d_]*)-(?P<high>[\d.,]+[^\W\d_]*)")


@dataclass(frozen=True, slots=True)
class Token:
    """One word, one number in digits, a separator, or something that is none of these.

    ``label`` is what the templates match. ``numbers`` holds what a number in digits may mean
    ("1,200" is 1.200 or 1200).
    """

    kind: Literal["word", "number", "gap", "bad"]
    label: str
    numbers: tuple[Decimal, ...] = ()


_GAP: Final = Token("gap", COMMA)


def word_key(word: str) -> str:
    """Give the form in which words are compared: apostrophes are often left out in texts."""
    return word.replace("'", "")


@cache
def _written() -> dict[str, str]:
    return dict(load_file("units").written)


def _fold(text: str) -> str:
    """Fold compatibility forms; a superscript or circled digit becomes a mark of no meaning."""
    for pattern, mended in _MENDS:
        text = pattern.sub(mended, text)
    parts: list[str] = []
    for at, char in enumerate(text):
        if char in _HALVES:
            after_digit = at > 0 and text[at - 1].isdecimal()
            parts.append(_HALVES[char] if after_digit else f" 0{_HALVES[char]}")
        elif char.isdecimal():
            parts.append(str(unicodedata.decimal(char)))
        elif char.isdigit() or unicodedata.category(char) == "No":
            parts.append("\ufffd")
        else:
            parts.append(char)
    folded = unicodedata.normalize("NFKC", "".join(parts).translate(_SAME))
    # a second time: the micro sign folds to the greek letter, some spaces fold to plain ones
    return folded.translate(_SAME)


def _numbers(sign: str, body: str) -> tuple[Decimal, ...]:
    plain = Decimal(sign + body.replace(",", "."))
    whole, comma, tail = body.partition(",")
    if comma and len(tail) == 3 and whole not in {"", "0"} and len(whole) <= 3:
        return (plain, Decimal(sign + whole + tail))
    return (plain,)


def _unit_word(unit: str) -> str:
    table = _written()
    for form in (unit, unit.lower(), unit.lower().removesuffix("s")):
        if form in table:
            return table[form]
    return word_key(unit.lower())


def _number_tokens(found: re.Match[str]) -> list[Token]:
    tokens = [Token("number", NUMERAL, _numbers(found["sign"], found["body"]))]
    if found["unit"]:
        tokens.append(Token("word", _unit_word(found["unit"])))
    return tokens


def _is_noise(chunk: str) -> bool:
    """Pictures and stray marks say nothing; signs of order or of arithmetic do."""
    return all(unicodedata.category(char)[0] in "SPCMZ" for char in chunk) and not (
        set(chunk) & set("<>≤≥*±^\ufffd")
    )


def _chunk_tokens(chunk: str, *, after_number: bool) -> list[Token]:
    """Split one run of signs without spaces."""
    if not any(char.isdigit() for char in chunk):
        return _worded(chunk, after_number=after_number)
    core = chunk.strip("'_").rstrip(".,-")
    if found := _NUMBER.fullmatch(core):
        return _number_tokens(found)
    if found := _RANGE.fullmatch(core):
        low = _NUMBER.fullmatch(found["low"] + found["lowunit"])
        high = _NUMBER.fullmatch(found["high"])
        if low and high:
            return [*_number_tokens(low), Token("word", "to"), *_number_tokens(high)]
    return [Token("bad", core)]


def _worded(chunk: str, *, after_number: bool) -> list[Token]:
    if _is_noise(chunk):
        return [_GAP] if "." in chunk else []
    core = chunk.strip("'._-")
    if after_number and (core in _written() or core.lower() in _written()):
        return [Token("word", _unit_word(core))]
    words = re.split(r"[-._]+", core.lower())
    if all(_WORDY.fullmatch(word) for word in words):
        return [Token("word", word_key(word)) for word in words]
    return [Token("bad", core)]


def _dash(tokens: list[Token], chunks: list[str], at: int) -> list[Token]:
    """Read a dash that stands alone: a sign, a range, or a pause."""
    ahead = chunks[at + 1] if at + 1 < len(chunks) else ""
    if not ahead[:1].isdigit() and ahead[:1] not in {".", ","}:
        return [_GAP]
    if not tokens:
        return [Token("word", "minus")]
    units = set(_written().values())
    if tokens[-1].kind == "number" or tokens[-1].label in units:
        return [Token("word", "to")]
    # "reading - 2.5" may be a pause or a sign, and a lost sign is a wrong reading
    return [Token("bad", "-")]


def tokens_of(text: str) -> tuple[Token, ...]:
    """Split ``text``; commas inside numbers are decimal commas. Never raises.

    A text of more than ``MOST_TOKENS`` tokens is cut there and ends in a bad token.
    """
    folded = _fold(text)
    # separators, but not the comma inside "12,6" nor before the digits of ",8"
    spaced = re.sub(r"(?<!\d),(?=\d)", lambda hit: _leading_comma(folded, hit.start()), folded)
    spaced = re.sub(r",(?!\d)", " , ", spaced)
    for gap in _GAPS[1:]:
        spaced = spaced.replace(gap, f" {gap} ")
    tokens: list[Token] = []
    chunks = re.sub(r"[\r\n]+", " ; ", spaced).split()
    for at, chunk in enumerate(chunks):
        if chunk in _GAPS:
            more = [_GAP]
        elif chunk == "-":
            more = _dash(tokens, chunks, at)
        else:
            after_number = bool(tokens) and tokens[-1].kind == "number"
            more = _chunk_tokens(chunk, after_number=after_number)
            if chunk.endswith(".") and more:
                more.append(_GAP)
        for token in more:
            if token != _GAP or (tokens and tokens[-1] != _GAP):
                tokens.append(token)
        if len(tokens) > MOST_TOKENS:
            return (*tokens[:MOST_TOKENS], Token("bad", "..."))
    while tokens and tokens[-1] == _GAP:
        tokens.pop()
    return tuple(tokens)


def _leading_comma(text: str, at: int) -> str:
    """Keep the comma of ",8" after a space or at the start; that of "on,8" separates."""
    return "," if at == 0 or text[at - 1].isspace() or text[at - 1] in "+-" else " , "
