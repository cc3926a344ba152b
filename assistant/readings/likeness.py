"""Commands with a typing slip: fuzzy matching, for commands only and never for numbers."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Final

from rapidfuzz import process
from rapidfuzz.distance import OSA

from assistant.readings.cover import COMMANDS
from assistant.readings.findings import CommandFound
from assistant.readings.grammarfile import grammar_names
from assistant.readings.language import phrases_of
from assistant.readings.matcher import matcher

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.readings.tokens import Token

__all__ = ["misspelt_command"]

_SHORTEST_LIKE: Final = 6
_SLIP_PER_LETTERS: Final = 8
_MOST_SLIPS: Final = 3
_SAID_EXACTLY: Final = frozenset({"yes", "no", "stop"})


@cache
def _command_phrases() -> dict[str, str]:
    return {
        phrase: command
        for command, phrases in phrases_of(COMMANDS, "command").items()
        for phrase in phrases
        if command not in _SAID_EXACTLY and len(phrase) >= _SHORTEST_LIKE
    }


@cache
def _known_words() -> frozenset[str]:
    return frozenset().union(*(matcher(name).labels for name in grammar_names()))


def misspelt_command(tokens: Sequence[Token]) -> CommandFound | None:
    """Read a command with a typing slip or two; never numbers, yes, no or stop."""
    text = " ".join(token.label for token in tokens if token.kind == "word")
    if (
        len(text) < _SHORTEST_LIKE
        or any(token.kind in {"number", "bad"} for token in tokens)
        or all(token.label in _known_words() for token in tokens)
    ):
        return None
    slips = min(1 + len(text) // _SLIP_PER_LETTERS, _MOST_SLIPS)
    table = _command_phrases()
    close = process.extractOne(text, table.keys(), scorer=OSA.distance, score_cutoff=slips)
    if close is None:
        return None
    return CommandFound(command=table[close[0]])
