"""How words are said: the built-in lexicon, shared by every recogniser that needs phones."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cache
from importlib.resources import files
from typing import Final, TypeAlias

from assistant.errors import GivenError

__all__ = [
    "PHONES",
    "VOWELS",
    "Lexicon",
    "builtin_lexicon",
    "network_lexicon",
    "parse_lexicon",
    "require_words",
]

Lexicon: TypeAlias = Mapping[str, tuple[tuple[str, ...], ...]]
"""Each word's pronunciations, the common one first; every pronunciation is a tuple of phones."""

PHONES: Final[tuple[str, ...]] = (
    *("AA", "AE", "AH", "AO", "AW", "AY", "B", "CH", "D", "DH", "EH", "ER", "EY", "F", "G", "HH"),
    *("IH", "IY", "JH", "K", "L", "M", "N", "NG", "OW", "OY", "P", "R", "S", "SH", "T", "TH"),
    *("UH", "UW", "V", "W", "Y", "Z", "ZH"),
)
"""The 39 phones of the CMU Pronouncing Dictionary, without stress."""

VOWELS: Final = frozenset(phone for phone in PHONES if phone[0] in "AEIOU")
"""Those of them that bear stress."""


def parse_lexicon(text: str, name: str = "lexicon") -> Lexicon:
    """Read lines of a word and its phones; ``#`` starts a comment line.

    Raises ``GivenError`` with the line's number on a word without phones, on an unknown phone
    and on a pronunciation given twice.
    """
    found: dict[str, list[tuple[str, ...]]] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        word, *phones = line.split() or [""]
        if not word or word.startswith("#"):
            continue
        unknown = sorted(set(phones) - set(PHONES))
        if unknown or not phones:
            what = f"the unknown phone {unknown[0]!r}" if unknown else "no phones"
            raise GivenError(
                f"{name}, line {number}: {word!r} has {what}.",
                next_step="Write the word, then phones of the CMU Pronouncing Dictionary.",
            )
        said = found.setdefault(word, [])
        if tuple(phones) in said:
            raise GivenError(
                f"{name}, line {number}: {word!r} is given twice the same way.",
                next_step="Remove one of the two lines.",
            )
        said.append(tuple(phones))
    return {word: tuple(said) for word, said in found.items()}


@cache
def builtin_lexicon() -> Lexicon:
    """Give the lexicon that comes with the package."""
    return _packaged("lexicon.txt")


@cache
def network_lexicon() -> Lexicon:
    """Give the lexicon together with what the built-in network makes of words it never learnt."""
    more = _packaged("heard_as.txt")
    return {word: (*said, *more.get(word, ())) for word, said in builtin_lexicon().items()}


def _packaged(name: str) -> Lexicon:
    source = files("assistant.speech").joinpath("builtin", name)
    return parse_lexicon(source.read_text(encoding="utf-8"), f"builtin/{name}")


def require_words(words: Iterable[str], lexicon: Lexicon) -> None:
    """Raise ``GivenError`` that names the words without a pronunciation."""
    missing = sorted(set(words) - lexicon.keys())
    if missing:
        raise GivenError(
            f"The lexicon has no phones for {', '.join(missing)}.",
            next_step="Add a line for each of them to the lexicon.",
        )
