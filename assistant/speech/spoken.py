"""Text as a voice should say it: no node names, no symbols, units in words."""

from __future__ import annotations

import re
from typing import Final

__all__ = ["spoken"]

_UNITS: Final = {
    "mV": ("millivolt", "millivolts"),
    "kV": ("kilovolt", "kilovolts"),
    "V": ("volt", "volts"),
    "mA": ("milliamp", "milliamps"),
    "A": ("amp", "amps"),
    "kohm": ("kilohm", "kilohms"),
    "kΩ": ("kilohm", "kilohms"),
    "Mohm": ("megohm", "megohms"),
    "MΩ": ("megohm", "megohms"),
    "ohm": ("ohm", "ohms"),
    "ohms": ("ohm", "ohms"),
    "Ω": ("ohm", "ohms"),
    "W": ("watt", "watts"),
    "Hz": ("hertz", "hertz"),
    "mm2": ("square millimetre", "square millimetres"),
    "mm²": ("square millimetre", "square millimetres"),
    "mm": ("millimetre", "millimetres"),
    "cm": ("centimetre", "centimetres"),
    "m": ("metre", "metres"),
    "min": ("minute", "minutes"),
    "s": ("second", "seconds"),
    "h": ("hour", "hours"),
    "°C": ("degree", "degrees"),
    "%": ("percent", "percent"),
    "AWG": ("gauge", "gauge"),
}
"""Written unit to its singular and its plural."""
_ALONE: Final = {
    "&": "and",
    "±": "plus or minus",
    "≈": "about",
    "~": "about",
    "<": "below",
    ">": "above",
    "=": "is",
    "→": "to",
    "/": "or",
    "+": "plus",
    "×": "times",
    "vs": "against",
    "e.g.": "for example",
    "i.e.": "that is",
}
_SHORT: Final = {
    "AC": "A C",
    "DC": "D C",
    "SMS": "S M S",
    "ANL": "A N L",
    "RCA": "R C A",
    "SRS": "S R S",
    "OL": "O L",
    "AWG": "gauge",
}

_OHM_SIGN: Final = "\u2126"  # the same sign as the greek letter, but another character
_NAME: Final = re.compile(r"\b[a-z][a-z_0-9]*(?:[.:][a-z][a-z_0-9]*)+\b")
_UNIT: Final = re.compile(
    r"(?<![\w.])(-?\d+(?:[.,]\d+)?)\s?("
    + "|".join(sorted((re.escape(unit) for unit in _UNITS), key=len, reverse=True))
    + r")(?![\w²])"
)
_RANGE: Final = re.compile(r"(?<![\w-])(\d+(?:\.\d+)?)\s?[–—-]\s?(?!0\d)(?=\d)")
_MINUS: Final = re.compile(r"(?<![\w.])[-−](?=\d)")
_THOUSANDS: Final = re.compile(r"(?<=\d),(?=\d{3}\b)")
_COMMA: Final = re.compile(r"(?<=\d),(?=\d)")


def spoken(text: str) -> str:
    """Give ``text`` in words that a voice can say.

    Node names of the machine interface become words ("amp.power" is "amp power"), units are
    written out behind numbers, symbols and markup are said or dropped. Deterministic; applied
    twice it changes nothing more.
    """
    said = _said(text)
    # What is dropped may bring a number and its unit together.
    while (again := _said(said)) != said:
        said = again
    return said


def _said(text: str) -> str:
    said = text.replace(_OHM_SIGN, "Ω").replace("\u00b5", "micro ")
    said = re.sub(r"[`*#|]+", "", said)
    said = _NAME.sub(lambda name: re.sub(r"[._:]", " ", name.group()), said)
    said = said.replace("_", " ")
    said = _COMMA.sub(".", _THOUSANDS.sub("", said))
    said = _RANGE.sub(r"\1 to ", said)
    said = _UNIT.sub(_unit, said)
    said = _MINUS.sub("minus ", said)
    said = " ".join(_ALONE.get(word, word) for word in said.split())
    said = re.sub(r"(?<=\w)/(?=\w)", " or ", said)
    for short, words in _SHORT.items():
        said = re.sub(rf"\b{short}\b", words, said)
    said = re.sub(r"[^\w\s.,;:?!'()%-]", " ", said)
    return " ".join(said.split())


def _unit(found: re.Match[str]) -> str:
    number, unit = found.groups()
    single, several = _UNITS[unit]
    return f"{number} {single if number.lstrip('-') == '1' else several}"
