"""Covering a text with sentences: which words belong to which reading or command.

The cheapest cover wins: few spans, and words that belong to none cost far more than a span.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from assistant.readings.matcher import matcher
from assistant.readings.meaning import Meaning, Order, meanings_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.readings.reading import Quantity
    from assistant.readings.tokens import Token

__all__ = ["COMMANDS", "Span", "cheapest_cover"]

COMMANDS: Final = "commands"
_LINKS: Final = frozenset({"and", "but", "then"})
_SPAN_COST: Final = 100
_LINK_COST: Final = 5
_COMMA_COST: Final = 1
_LOOSE_COST: Final = 1000


@dataclass(frozen=True, slots=True)
class Span:
    """Tokens ``start`` to ``end``: what they mean, or a link, or a loose word.

    ``loose`` tokens belong to nothing, a ``gap`` is a comma; a span that is neither and has no
    results is a link ("and").
    """

    start: int
    end: int
    results: tuple[Meaning | Order, ...] = ()
    loose: bool = False
    gap: bool = False


def _results(
    tokens: Sequence[Token], start: int, names: Sequence[str], quantity: Quantity | None
) -> dict[int, list[Meaning | Order]]:
    """Give what may begin at ``start``, by its end; earlier grammars go before later ones."""
    by_end: dict[int, list[Meaning | Order]] = {}
    for name in names:
        grammar = matcher(name)
        fresh: dict[int, list[Meaning | Order]] = {}
        for match in grammar.matches(tokens, start):
            result = meanings_of(grammar, match, quantity)
            if result is not None and result not in fresh.setdefault(match.end, []):
                fresh[match.end].append(result)
        for end, results in fresh.items():
            known = by_end.setdefault(end, [])
            # same words: an answer to the open question, or a command where none is open
            if not known or type(known[0]) is type(results[0]):
                known.extend(result for result in results if result not in known)
    return by_end


def cheapest_cover(
    tokens: Sequence[Token], names: Sequence[str], quantity: Quantity | None
) -> tuple[Span, ...]:
    """Cover all tokens with the sentences of the named grammars, in order of preference."""
    best: list[tuple[int, tuple[Span, ...]] | None] = [None] * (len(tokens) + 1)
    best[0] = (0, ())

    def offer(end: int, cost: int, spans: tuple[Span, ...]) -> None:
        known = best[end]
        if known is None or cost < known[0]:
            best[end] = (cost, spans)

    for start, token in enumerate(tokens):
        here = best[start]
        if here is None:
            continue
        cost, spans = here
        if token.kind == "gap":
            offer(start + 1, cost, (*spans, Span(start, start + 1, gap=True)))
        elif token.label in _LINKS:
            offer(start + 1, cost + _LINK_COST, (*spans, Span(start, start + 1)))
        for end, results in _results(tokens, start, names, quantity).items():
            commas = sum(inner.kind == "gap" for inner in tokens[start:end])
            offer(
                end,
                cost + _SPAN_COST + commas * _COMMA_COST,
                (*spans, Span(start, end, tuple(results))),
            )
        offer(start + 1, cost + _LOOSE_COST, (*spans, Span(start, start + 1, loose=True)))
    whole = best[-1]
    return whole[1] if whole else ()
