"""Words, spoken or typed, to findings: readings, commands, wrong units, or nothing.

Nothing is taken as a reading unless the whole text parses by the grammar of the open check and
of the commands. A typed text with one unmistakable reading among other words is asked back.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from typing import Final

from rapidfuzz import fuzz, process

from assistant.readings.cover import COMMANDS, Span, cheapest_cover
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
from assistant.readings.meaning import Meaning, Order, reading_key
from assistant.readings.readback import contrast, contrast_typed, read_back, read_back_typed
from assistant.readings.reading import Beep, Quantity, Reading, Seen, Value
from assistant.readings.tokens import Token, tokens_of

__all__ = ["grammar_for", "interpret_spoken", "interpret_typed"]

_WITHOUT_QUESTION: Final = ("volts", "ohms", "continuity", "amps", "light", "warmth", "sound")
"""Grammars that are tried when no check is open; the rest would only say the same again."""

_NEGATIONS: Final = frozenset(
    "no not never nothing cant cannot dont doesnt didnt isnt wasnt wont without should expected "
    "supposed rated nominal spec before was than if or".split()
)
_MOST_LOOSE: Final = 8
_MOST_SHOWN: Final = 60
_LIKENESS: Final = 88.0
_SHORTEST_LIKE: Final = 5
_SAID_EXACTLY: Final = frozenset({"yes", "no", "stop"})


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


def _words(tokens: Sequence[Token]) -> tuple[str, ...]:
    return tuple(str(t.numbers[0]) if t.numbers else t.label for t in tokens)


# --- one span ------------------------------------------------------------------------------


def _also(tokens: Sequence[Token], reading: Reading) -> str | None:
    """Give the yes or no that the same words are, when the answer could be one of them."""
    if not isinstance(reading, Seen | Beep):
        return None
    spans = cheapest_cover(tokens, (COMMANDS,), None)
    if len(spans) == 1 and spans[0].results:
        order = spans[0].results[0]
        if isinstance(order, Order) and order.command in {"yes", "no"}:
            return order.command
    return None


def _merged(results: Sequence[Meaning | Order]) -> Meaning | Order:
    """Join all that one span may mean."""
    meanings = [result for result in results if isinstance(result, Meaning)]
    if not meanings:
        return results[0]
    usable = [meaning for meaning in meanings if meaning.readings]
    if not usable:
        return meanings[0]
    readings = {reading_key(r): r for m in reversed(usable) for r in reversed(m.readings)}
    first = usable[0]
    vehicle = next((m.vehicle for m in usable if m.vehicle), None)
    return replace(
        first,
        readings=tuple(reversed(readings.values())),
        vehicle=vehicle,
        explicit=all(meaning.explicit for meaning in usable),
    )


def _ask(
    readings: tuple[Reading, ...], meaning: Meaning, words: tuple[str, ...], *, open_unit: bool
) -> Ambiguous:
    if len(readings) == 1:
        say = f"{read_back(readings[0])}: is that the reading?"
        typed = f"{read_back_typed(readings[0])}: is that the reading?"
    elif open_unit and len({type(r) for r in readings}) == 1 and isinstance(readings[0], Value):
        number = read_back(readings[0]).rsplit(" ", 1)[0]
        say = f"{number} what? Volts, ohms or amps?"
        typed = f"{read_back_typed(readings[0]).rsplit(' ', 1)[0]} what? Volts, ohms or amps?"
    else:
        say, typed = contrast(readings), contrast_typed(readings)
    return Ambiguous(
        candidates=readings,
        ask=say,
        ask_typed=typed,
        vehicle=meaning.vehicle,
        quantity=meaning.quantity,
        words=words,
    )


def _finding(span: Span, tokens: Sequence[Token], *, open_unit: bool) -> Finding:
    inner = tokens[span.start : span.end]
    words = _words(inner)
    merged = _merged(span.results)
    if isinstance(merged, Order):
        argument = " ".join(words) if merged.command == "cannot" else merged.argument
        return CommandFound(command=merged.command, argument=argument)
    if not merged.readings:
        return NothingFound(reason=merged.refusal)
    if len(merged.readings) > 1:
        return _ask(merged.readings, merged, words, open_unit=open_unit)
    also = _also(inner, merged.readings[0])
    return ReadingFound(
        reading=merged.readings[0],
        vehicle=merged.vehicle,
        quantity=merged.quantity,
        words=words,
        also="yes" if also == "yes" else "no" if also == "no" else None,
    )


# --- the whole text ------------------------------------------------------------------------


def _told_apart(findings: list[Finding]) -> list[Finding]:
    """Keep several readings only where the vehicle states tell them apart."""
    found = [f for f in findings if isinstance(f, ReadingFound | Ambiguous)]
    if len(found) < 2:
        return findings
    states = [f.vehicle for f in found]
    if len(set(states)) == len(states):
        return findings
    readings: dict[tuple[object, ...], Reading] = {}
    for f in found:
        for reading in (f.reading,) if isinstance(f, ReadingFound) else f.candidates:
            readings.setdefault(reading_key(reading), reading)
    others = [f for f in findings if not isinstance(f, ReadingFound | Ambiguous)]
    if len(readings) == 1:
        return [*others, found[0]]
    words = tuple(word for f in found for word in f.words)
    meaning = Meaning((), None, found[0].quantity)
    return [*others, _ask(tuple(readings.values()), meaning, words, open_unit=False)]


def _separated(spans: Sequence[Span]) -> bool:
    """Readings side by side need a comma, a link, a command or a vehicle state between them."""
    for before, after in zip(spans, spans[1:], strict=False):
        if not before.results or not after.results:
            continue
        first, second = _merged(before.results), _merged(after.results)
        if (
            isinstance(first, Meaning)
            and isinstance(second, Meaning)
            and not (first.vehicle or second.vehicle)
        ):
            return False
    return True


def _asked_among_others(spans: Sequence[Span], tokens: Sequence[Token]) -> Ambiguous | None:
    """A single unmistakable reading among other words: to be asked back, not to be taken."""
    loose = [tokens[span.start] for span in spans if span.loose]
    if (
        len(loose) > _MOST_LOOSE
        or any(token.kind in {"bad", "number"} or token.label in _NEGATIONS for token in loose)
    ):  # fmt: skip
        return None
    told = [(span, _merged(span.results)) for span in spans if span.results]
    meanings = [(span, m) for span, m in told if isinstance(m, Meaning)]
    if len(meanings) != 1:
        return None
    span, meaning = meanings[0]
    inner = tokens[span.start : span.end]
    if not meaning.explicit or not meaning.readings or _also(inner, meaning.readings[0]):
        return None
    return _ask(meaning.readings, meaning, _words(inner), open_unit=False)


def _covered(
    tokens: Sequence[Token], names: Sequence[str], quantity: Quantity | None
) -> list[Finding] | None:
    spans = cheapest_cover(tokens, names, quantity)
    if not any(span.results for span in spans) or any(span.loose for span in spans):
        return None
    if not _separated(spans):
        return None
    open_unit = quantity is None
    findings = [_finding(span, tokens, open_unit=open_unit) for span in spans if span.results]
    return _told_apart(findings)


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
            if span.results and isinstance(merged := _merged(span.results), Meaning)
        ]
        numbers = [r for m in meanings for r in m.readings if isinstance(r, Value)]
        if not meanings or not all(m.readings for m in meanings):
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
def _command_phrases() -> dict[str, str]:
    return {
        phrase: command
        for command, phrases in phrases_of(COMMANDS, "command").items()
        for phrase in phrases
        if command not in _SAID_EXACTLY and len(phrase) >= _SHORTEST_LIKE
    }


def _misspelt_command(tokens: Sequence[Token]) -> CommandFound | None:
    text = " ".join(token.label for token in tokens if token.kind == "word")
    if len(text) < _SHORTEST_LIKE or any(token.kind in {"number", "bad"} for token in tokens):
        return None
    table = _command_phrases()
    close = process.extractOne(text, table.keys(), scorer=fuzz.ratio, score_cutoff=_LIKENESS)
    if close is None:
        return None
    command = table[close[0]]
    return CommandFound(command=command, argument=text if command == "cannot" else None)


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
    findings = _covered(tokens, names, quantity)
    if findings is None and opened and (wrong := _wrong_unit(tokens, names)):
        findings = [wrong]
    if findings is None and typed:
        asked = _asked_among_others(cheapest_cover(tokens, names, quantity), tokens)
        like = None if asked else _misspelt_command(tokens)
        findings = [f for f in (asked, like) if f is not None] or None
    if findings is None:
        reason = f'"{_cut(" ".join(text.split()))}" is no reading that I know. {_expects(names)}'
        findings = [NothingFound(reason=reason.strip())]
    return Interpretation(text=text, findings=tuple(findings))


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
