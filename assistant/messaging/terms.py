"""The parts of an installation in the words of customers: what they are, which nodes they name."""

from __future__ import annotations

import re
from functools import cache
from typing import TYPE_CHECKING, Annotated, Final

from pydantic import BaseModel, ConfigDict, Field, RootModel

from assistant.messaging.datafile import Pattern, read_data
from assistant.messaging.texts import spoken_words

if TYPE_CHECKING:
    from assistant.knowledge.schema import Check

__all__ = [
    "Term",
    "asked_about",
    "hints_for",
    "is_question",
    "load_terms",
    "named_in",
    "without_names",
]

_ASKING: Final = re.compile(
    r"(which|where|wheres|what|whats|whatis|how do i (find|know)|show me|explain|dont know (what|wh"
    r"ere|which)|no idea (what|where|which)|not sure (what|where|which))\b"
)
_SMALL: Final = re.compile(
    r"(?<!\w)(the|at|on the|of the|on|for|is|was|reads|says|shows|got|i|get|im|getting|its|it|my"
    r"|measured)(?!\w)"
)
_ASKS: Final = re.compile(r"\b(which|where|wheres|what|whats|how|is it|do you mean)\b")


class Term(BaseModel):
    """One part: its name, what customers call it, and the two explanations of it.

    ``answer`` tells that its words are an answer to a check too.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: Annotated[str, Field(min_length=1)]
    words: Annotated[tuple[str, ...], Field(min_length=1)]
    nodes: tuple[Pattern, ...]
    hint: str
    answer: bool = False
    text: Annotated[str, Field(min_length=1)]

    def at(self, node: str | None) -> bool:
        """Tell whether the part stands for a node or place of the machine interface."""
        return node is not None and any(re.fullmatch(pattern, node) for pattern in self.nodes)


class _Terms(RootModel[tuple[Term, ...]]):
    model_config = ConfigDict(frozen=True)


@cache
def load_terms() -> tuple[Term, ...]:
    """Read and validate the package's terms."""
    return read_data("terms.yaml", _Terms).root


@cache
def _by_words() -> tuple[tuple[re.Pattern[str], Term], ...]:
    """Give each wording and its term, the longest wordings first."""
    pairs = [(word, term) for term in load_terms() for word in term.words]
    pairs.sort(key=lambda pair: -len(pair[0]))
    return tuple((re.compile(rf"(?<!\w){re.escape(word)}s?(?!\w)"), term) for word, term in pairs)


def _found(text: str, *, answers: bool = True) -> tuple[list[Term], str]:
    """Give the terms that ``text`` names, in its order, and the text without their names.

    Without ``answers`` the terms that are answers themselves stay where they are.
    """
    rest = text.casefold().replace("'", "")
    places: list[tuple[int, Term]] = []
    for pattern, term in _by_words():
        if term.answer and not answers:
            continue
        while hit := pattern.search(rest):
            places.append((hit.start(), term))
            # kept as long as it was, so that the order can be told
            rest = rest[: hit.start()] + "\0" * (hit.end() - hit.start()) + rest[hit.end() :]
    ordered = [term for _, term in sorted(places, key=lambda place: place[0])]
    unique = [term for n, term in enumerate(ordered) if term not in ordered[:n]]
    return unique, re.sub(r"\0+", " ", rest)


def named_in(text: str) -> tuple[Term, ...]:
    """Give the terms that a text names, in the order of the text."""
    return tuple(_found(text)[0])


def without_names(text: str) -> str:
    """Give ``text`` without the names of parts and the small words that go with them."""
    rest = _SMALL.sub(" ", _found(text, answers=False)[1])
    return " ".join(rest.split()).strip(" ,:;-=")


def is_question(text: str) -> bool:
    """Tell whether a text asks what or where something is."""
    said = spoken_words(text)
    return bool(_ASKING.match(said) or ("?" in text and _ASKS.search(said)))


def asked_about(text: str) -> Term | None:
    """Give the term that a text asks about, None when it asks about none.

    A text asks when it begins as questions do, or holds a question mark and a word of asking.
    """
    if not is_question(text):
        return None
    found = named_in(text)
    return found[0] if found else None


def hints_for(check: Check, known: tuple[str, ...]) -> tuple[Term, ...]:
    """Give the terms of a check that were not explained yet and that have a hint."""
    ends = (check.do.red, check.do.black)
    found = [term for end in ends for term in load_terms() if term.at(end)]
    if check.do.quantity == "continuity":
        found += [term for term in load_terms() if term.name == "Continuity"]
    return tuple(
        term
        for n, term in enumerate(found)
        if term.hint and term.name not in known and term not in found[:n]
    )
