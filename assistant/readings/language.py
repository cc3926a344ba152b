"""Listing phrases of a grammar: for likeness of commands, for tests and for help texts."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cache
from itertools import islice
from typing import Final

from assistant.errors import MisuseError
from assistant.readings.grammarfile import GrammarFile, load_file
from assistant.readings.template import Choice, Keep, Node, Refer, Sequence, TextOnly, Word
from assistant.readings.tokens import word_key

__all__ = ["phrases_of"]

_MOST: Final = 5000


def _phrases(file: GrammarFile, node: Node) -> Iterator[tuple[str, ...]]:
    match node:
        case Word(text=text):
            yield (word_key(text),)
        case Sequence(parts=()):
            yield ()
        case Sequence(parts=parts):
            for first in _phrases(file, parts[0]):
                for rest in _phrases(file, Sequence(parts[1:])):
                    yield (*first, *rest)
        case Choice(options=options):
            for option in options:
                yield from _phrases(file, option)
        case Keep(part=part) | TextOnly(part=part):
            yield from _phrases(file, part)
        case Refer(name=name):
            owner, found = file.find(name)
            for inner in found.values() if isinstance(found, Mapping) else [found]:
                yield from _phrases(owner, inner)


@cache
def phrases_of(file_name: str, list_name: str) -> Mapping[str, tuple[str, ...]]:
    """Give all phrases of each entry of a list, as texts are compared (without apostrophes).

    Raises ``MisuseError`` when there is no such list.
    """
    owner, found = load_file(file_name).find(list_name)
    if not isinstance(found, Mapping):
        raise MisuseError(f"{list_name!r} is a rule, not a list.", next_step="Name a list.")
    return {
        entry: tuple(" ".join(words) for words in islice(_phrases(owner, node), _MOST))
        for entry, node in found.items()
    }
