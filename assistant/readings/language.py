"""Listing phrases of a grammar: for likeness of commands, for tests and for help texts."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cache
from itertools import islice
from typing import Final

from assistant.readings.grammarfile import GrammarFile, load_file
from assistant.readings.template import Choice, Keep, Node, Refer, Sequence, TextOnly, Word
from assistant.readings.tokens import word_key

__all__ = ["phrases_of"]

_MOST: Final = 5000


def _phrases(file: GrammarFile, node: Node) -> Iterator[tuple[str, ...]]:
    match node:
        case Word(text=text):
            yield (word_key(text),)
        case Sequence(parts=parts):
            yield from _in_order(file, parts)
        case Choice(options=options):
            for option in options:
                yield from _phrases(file, option)
        case Keep(part=part) | TextOnly(part=part):
            yield from _phrases(file, part)
        case Refer(name=name):
            owner, found = file.find(name)
            for inner in found.values() if isinstance(found, Mapping) else [found]:
                yield from _phrases(owner, inner)


def _in_order(file: GrammarFile, parts: tuple[Node, ...]) -> Iterator[tuple[str, ...]]:
    if not parts:
        yield ()
        return
    for first in _phrases(file, parts[0]):
        for rest in _in_order(file, parts[1:]):
            yield (*first, *rest)


@cache
def phrases_of(file_name: str, list_name: str) -> Mapping[str, tuple[str, ...]]:
    """Give all phrases of each entry of a list, as texts are compared (without apostrophes).

    A rule counts as a list of one entry of its own name. Raises ``GivenError`` when there is
    neither. Of an entry with more than 5,000 phrases only so many are given.
    """
    owner, found = load_file(file_name).find(list_name)
    entries = found if isinstance(found, Mapping) else {list_name: found}
    return {
        entry: tuple(" ".join(words) for words in islice(_phrases(owner, node), _MOST))
        for entry, node in entries.items()
    }
