"""Sentence templates: the small notation in which the grammar files are written.

    point / ~dot            alternatives; the second is for text only, the ear does not get it
    (about / around)?       a group, optional
    $digit                  a rule or list of the same file or of the files it uses
    low=$number             what stands here is kept under the name ``low``
    #                       a number written in digits (text only)
    ,                       a comma (text only)

Nothing repeats without end, so that every language is finite.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, TypeAlias

from assistant.errors import GivenError

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = [
    "COMMA",
    "NUMERAL",
    "Choice",
    "Keep",
    "Node",
    "Refer",
    "Sequence",
    "TextOnly",
    "Word",
    "parse_template",
    "references",
    "words_in",
]

NUMERAL: Final = "#"
COMMA: Final = ","
_TOKEN: Final = re.compile(
    r"\s*(?:(?P<keep>[a-z_]+)=|\$(?P<refer>[a-z_]+)|(?P<word>[a-z][a-z']*)|(?P<mark>[()/?~#,]))"
)


@dataclass(frozen=True, slots=True)
class Word:
    """One word, or ``NUMERAL`` or ``COMMA``."""

    text: str


@dataclass(frozen=True, slots=True)
class Refer:
    """A rule or list by name."""

    name: str


@dataclass(frozen=True, slots=True)
class Sequence:
    """Parts one after the other; no parts at all is the empty phrase."""

    parts: tuple[Node, ...]


@dataclass(frozen=True, slots=True)
class Choice:
    """One of the options."""

    options: tuple[Node, ...]


@dataclass(frozen=True, slots=True)
class Keep:
    """The part's words, or the id of its list entry, are kept under ``slot``."""

    slot: str
    part: Node


@dataclass(frozen=True, slots=True)
class TextOnly:
    """A part that is read in text and never given to the ear."""

    part: Node


Node: TypeAlias = Word | Refer | Sequence | Choice | Keep | TextOnly
_EMPTY: Final = Sequence(())


class _Reader:
    """A recursive-descent reader over the tokens of one template."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._tokens: list[tuple[str, str]] = []
        at = 0
        end = len(text.rstrip())
        while at < end:
            found = _TOKEN.match(text, at)
            if found is None or found.lastgroup is None:
                raise self._wrong(f"{text[at:].strip()[:12]!r} is not part of the notation")
            self._tokens.append((found.lastgroup, found.group(found.lastgroup)))
            at = found.end()
        self._at = 0

    def _wrong(self, what: str) -> GivenError:
        return GivenError(
            f"Template {self._text!r}: {what}.",
            next_step="Write words, / ? ( ) ~ $name and slot=; see assistant/readings/template.py.",
        )

    def _peek(self) -> tuple[str, str]:
        return self._tokens[self._at] if self._at < len(self._tokens) else ("end", "")

    def whole(self) -> Node:
        node = self._choice()
        if self._peek()[0] != "end":
            raise self._wrong(f"{self._peek()[1]!r} closes nothing")
        return node

    def _choice(self) -> Node:
        options = [self._sequence()]
        while self._peek() == ("mark", "/"):
            self._at += 1
            options.append(self._sequence())
        return options[0] if len(options) == 1 else Choice(tuple(options))

    def _sequence(self) -> Node:
        parts: list[Node] = []
        while self._peek() not in {("end", ""), ("mark", "/"), ("mark", ")")}:
            parts.append(self._item())
        if not parts:
            raise self._wrong("an alternative is empty")
        return parts[0] if len(parts) == 1 else Sequence(tuple(parts))

    def _item(self) -> Node:
        kind, text = self._peek()
        self._at += 1
        if (kind, text) == ("mark", "~"):
            return _around(self._item(), TextOnly)
        if kind == "keep":
            return _around(self._item(), lambda node: Keep(text, node))
        node = self._atom(kind, text)
        if self._peek() == ("mark", "?"):
            self._at += 1
            return Choice((node, _EMPTY))
        return node

    def _atom(self, kind: str, text: str) -> Node:
        if kind == "refer":
            return Refer(text)
        if kind == "word":
            return Word(text)
        if text in {NUMERAL, COMMA}:
            return TextOnly(Word(text))
        if text != "(":
            raise self._wrong(f"{text or 'the end'!r} stands where a word is needed")
        node = self._choice()
        if self._peek() != ("mark", ")"):
            raise self._wrong("a bracket is not closed")
        self._at += 1
        return node


def _around(node: Node, wrap: Callable[[Node], Node]) -> Node:
    """Wrap a part; an optional part stays optional: absent for the ear, not a dead end."""
    if isinstance(node, Choice) and node.options[-1] == _EMPTY:
        return Choice((wrap(node.options[0]), _EMPTY))
    return wrap(node)


def parse_template(text: str) -> Node:
    """Read one template; raise ``GivenError`` with the place when it is not well formed."""
    return _Reader(text).whole()


def _children(node: Node) -> tuple[Node, ...]:
    match node:
        case Sequence(parts=parts):
            return parts
        case Choice(options=options):
            return options
        case Keep(part=part) | TextOnly(part=part):
            return (part,)
        case _:
            return ()


def references(node: Node) -> frozenset[str]:
    """Names of the rules and lists that ``node`` refers to directly."""
    own = frozenset({node.name}) if isinstance(node, Refer) else frozenset[str]()
    return own.union(*(references(child) for child in _children(node)))


def words_in(node: Node, *, text_only: bool = True) -> frozenset[str]:
    """Words that stand in ``node`` itself, without those of what it refers to."""
    if isinstance(node, TextOnly) and not text_only:
        return frozenset()
    own = frozenset[str]()
    if isinstance(node, Word) and node.text not in {NUMERAL, COMMA}:
        own = frozenset({node.text})
    return own.union(*(words_in(child, text_only=text_only) for child in _children(node)))
