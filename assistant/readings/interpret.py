"""Words, spoken or typed, to findings: readings, commands, wrong units, or nothing.

Nothing is taken as a reading unless the whole text parses by the grammar of the open check and
of the commands. A typed text with one unmistakable reading among other words is asked back.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import dropwhile
from typing import TYPE_CHECKING, Final

from assistant.readings.cover import COMMANDS, cheapest_cover
from assistant.readings.findings import (
    Ambiguous,
    CommandFound,
    Finding,
    Interpretation,
    NothingFound,
    ReadingFound,
    WrongUnit,
)
from assistant.readings.grammarfile import Measure, grammar_names, load_grammar
from assistant.readings.language import phrases_of
from assistant.readings.likeness import misspelt_command
from assistant.readings.meaning import Meaning
from assistant.readings.readback import read_back_typed
from assistant.readings.reading import Quantity, Seen, Value
from assistant.readings.spans import asked_among_others, covered, merged_meaning
from assistant.readings.tokens import Token, tokens_of

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["grammar_for", "interpret_spoken", "interpret_typed"]

_WITHOUT_QUESTION: Final = (
    "yes_no", "channels", "volts", "ohms", "continuity", "amps", "light", "warmth", "sound",
    "noise",
)  # fmt: skip
"""Grammars that are tried when no check is open; AC volts would only say the same as DC."""

_YES_NO: Final = (Seen(state="yes"), Seen(state="no"))
_MOST_CORRECTIONS: Final = 3
_MOST_SHOWN: Final = 60


@cache
def _by_quantity() -> dict[Quantity, str]:
    found: dict[Quantity, str] = {}
    for name in grammar_names():
        measure = load_grammar(name).measure
        for quantity in measure.quantities if measure else ():
            found[quantity] = name
    return found


def grammar_for(quantity: Quantity) -> str:
    """Give the name of the grammar that reads answers of ``quantity``."""
    return _by_quantity()[quantity]


def _measure(name: str) -> Measure | None:
    return load_grammar(name).measure


def _cut(text: str) -> str:
    return text if len(text) <= _MOST_SHOWN else text[: _MOST_SHOWN - 3] + "..."


def _expects(names: Sequence[str]) -> str:
    measure = _measure(names[0]) if names else None
    return f"I expected {measure.expects}." if measure and len(names) == 2 else ""


def _wrong_unit(tokens: Sequence[Token], names: Sequence[str]) -> WrongUnit | None:
    """Tell a reading that would do for another check."""
    expected = _measure(names[0])
    if expected is None:
        return None
    for other in _WITHOUT_QUESTION:
        measure = _measure(other)
        if other in names or measure is None:
            continue
        spans = cheapest_cover(tokens, (other, COMMANDS), None)
        if any(span.loose for span in spans) or not any(span.results for span in spans):
            continue
        meanings = [
            merged
            for span in spans
            if span.results and isinstance(merged := merged_meaning(span.results), Meaning)
        ]
        numbers = [r for m in meanings for r in m.readings if isinstance(r, Value)]
        clear = all(
            m.readings and (len(m.readings) == 1 or all(isinstance(r, Value) for r in m.readings))
            for m in meanings
        )
        if not meanings or not clear or any(r in _YES_NO for m in meanings for r in m.readings):
            continue
        if not all(m.explicit for m in meanings) and (expected.unit or not numbers):
            continue
        first = meanings[0].readings[0]
        given = measure.given if meanings[0].explicit else "a number"
        if not isinstance(first, Value) and meanings[0].explicit:
            given = read_back_typed(first)
        return WrongUnit(
            given=given,
            expected=expected.expects,
            say=f"I expected {expected.expects}, and that was {given}. "
            "Check what is asked and how the meter is set, then tell me again.",
        )
    return None


@cache
def _corrections() -> tuple[tuple[str, ...], ...]:
    phrases = phrases_of(COMMANDS, "correcting")["correcting"]
    return tuple(tuple(phrase.split()) for phrase in phrases)


def _corrected(
    tokens: Sequence[Token],
    names: Sequence[str],
    quantity: Quantity | None,
    depth: int = _MOST_CORRECTIONS,
) -> list[Finding] | None:
    """Read "no, 12.8": a word that puts the last reading right, and the right one."""
    labels = [token.label for token in tokens]
    for phrase in _corrections():
        rest = list(dropwhile(lambda t: t.kind == "gap", tokens[len(phrase) :]))
        if tuple(labels[: len(phrase)]) != phrase or not rest:
            continue
        found = covered(rest, names, quantity)
        if found is None and depth > 1:
            # "sorry, i meant 12.8"
            found = (_corrected(rest, names, quantity, depth - 1) or [])[1:]
        if found and all(isinstance(f, ReadingFound | Ambiguous) for f in found):
            return [CommandFound(command="no" if phrase == ("no",) else "correct"), *found]
    return None


def _interpret(
    text: str, *, quantity: Quantity | None, grammar: str | None, typed: bool
) -> Interpretation:
    tokens = tokens_of(text)
    if not tokens:
        return Interpretation(text=text, findings=(NothingFound(reason="There were no words."),))
    opened = grammar or (grammar_for(quantity) if quantity else None)
    if opened == COMMANDS:
        names: tuple[str, ...] = (COMMANDS,)
    else:
        names = (opened, COMMANDS) if opened else (COMMANDS, *_WITHOUT_QUESTION)
    findings = covered(tokens, names, quantity, open_unit=opened is None)
    if findings is None or len(findings) > 1:
        findings = _corrected(tokens, names, quantity) or findings
    if findings is None and opened and (wrong := _wrong_unit(tokens, names)):
        findings = [wrong]
    if findings is None and typed:
        asked = asked_among_others(cheapest_cover(tokens, names, quantity), tokens)
        like = None if asked else misspelt_command(tokens)
        findings = [f for f in (asked, like) if f is not None] or None
    plain = " ".join(text.split())
    if findings is None:
        several = sum(token.kind == "number" for token in tokens) > 1
        what = "holds several numbers, and I cannot tell which one is meant"
        reason = f'"{_cut(plain)}" {what if several else "is no reading that I know"}. '
        reason += _expects(names)
        findings = [NothingFound(reason=reason.strip())]
    told = [
        replace(f, argument=plain) if isinstance(f, CommandFound) and f.command == "cannot" else f
        for f in findings
    ]
    return Interpretation(text=text, findings=tuple(told))


def interpret_spoken(
    text: str, *, quantity: Quantity | None, grammar: str | None = None
) -> Interpretation:
    """Interpret one phrase of a recogniser while an answer of ``quantity`` is awaited.

    None means that no check is open. ``grammar`` opens a grammar by name instead of the
    quantity's own. Every word must belong to a reading or a command. Never raises on any text;
    raises ``MisuseError`` on the name of no grammar.
    """
    return _interpret(text, quantity=quantity, grammar=grammar, typed=False)


def interpret_typed(
    text: str, *, quantity: Quantity | None, grammar: str | None = None
) -> Interpretation:
    """Interpret what was typed or sent as a text message; see ``interpret_spoken``.

    A text may hold several readings when the vehicle states tell them apart. One reading among
    other words becomes an ``Ambiguous`` with one candidate; a misspelt command is understood.
    """
    return _interpret(text, quantity=quantity, grammar=grammar, typed=True)
