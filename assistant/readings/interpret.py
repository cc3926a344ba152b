"""Words, spoken or typed, to findings: readings, commands, wrong units, or nothing.

Nothing is taken as a reading unless the whole text parses by the grammar of the open check and
of the commands. A typed text with one unmistakable reading among other words is asked back.
"""

from __future__ import annotations

import re
from dataclasses import replace
from decimal import Decimal
from functools import cache
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from rapidfuzz import process
from rapidfuzz.distance import OSA

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
from assistant.readings.matcher import matcher
from assistant.readings.meaning import Meaning, Order, reading_key
from assistant.readings.readback import contrast, contrast_typed, read_back, read_back_typed
from assistant.readings.reading import Beep, Quantity, Reading, Seen, Value
from assistant.readings.tokens import Token, tokens_of
from assistant.readings.units import as_decimal, value_of

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["grammar_for", "interpret_spoken", "interpret_typed"]

_WITHOUT_QUESTION: Final = (
    "yes_no", "channels", "volts", "ohms", "continuity", "amps", "light", "warmth", "sound",
    "noise",
)  # fmt: skip
"""Grammars that are tried when no check is open; AC volts would only say the same as DC."""

_OTHERWISE: Final = frozenset({
    "no", "not", "never", "nothing", "cant", "cannot", "dont", "doesnt", "didnt", "isnt", "wasnt",
    "wont", "without", "should", "expected", "supposed", "rated", "nominal", "spec", "before",
    "was", "than", "if", "or", "under", "over", "below", "above", "max", "min", "fuse",
    "minus", "negative",
})  # fmt: skip
"""Words beside a number that may make it something else than the reading."""
_MOST_LOOSE: Final = 8
_MOST_SHOWN: Final = 60
_SHORTEST_LIKE: Final = 6
_SLIP_PER_LETTERS: Final = 8
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
        return CommandFound(command=merged.command, argument=merged.argument)
    if not merged.readings:
        return NothingFound(reason=merged.refusal)
    if len(merged.readings) > 1:
        return _ask(merged.readings, merged, words, open_unit=open_unit)
    also = _also(inner, merged.readings[0])
    beeped = open_unit and isinstance(merged.readings[0], Beep)
    return ReadingFound(
        reading=merged.readings[0],
        vehicle=merged.vehicle,
        quantity="continuity" if beeped else merged.quantity,
        words=words,
        also="yes" if also == "yes" else "no" if also == "no" else None,
    )


# --- the whole text ------------------------------------------------------------------------


def _point_between(found: Sequence[Finding]) -> Value | None:
    """Give the one number that "12, 6" may be: the comma is a decimal one, with a space."""
    values = [f.reading for f in found if isinstance(f, ReadingFound)]
    match values:
        case [Value() as whole, Value() as part] if len(found) == 2 and whole.unit == part.unit:
            text = f"{as_decimal(whole):f}.{as_decimal(part):f}"
            if re.fullmatch(r"-?\d+\.\d{1,2}", text):
                return value_of(Decimal(text), whole.unit)
    return None


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
    if joined := _point_between(found):
        readings = {reading_key(joined): joined, **readings}
    words = tuple(word for f in found for word in f.words)
    meaning = Meaning((), None, found[0].quantity)
    return [*others, _ask(tuple(readings.values()), meaning, words, open_unit=False)]


def _separated(spans: Sequence[Span]) -> bool:
    """Tell whether a comma, a link or a vehicle state stands between readings side by side."""
    for before, after in pairwise(spans):
        if not before.results or not after.results:
            continue
        first, second = _merged(before.results), _merged(after.results)
        if type(first) is not type(second):
            continue
        if not (isinstance(first, Meaning) and isinstance(second, Meaning)):
            return False
        said_twice = [*map(reading_key, first.readings)] == [*map(reading_key, second.readings)]
        if not (first.vehicle or second.vehicle or said_twice):
            return False
    return True


def _asked_among_others(spans: Sequence[Span], tokens: Sequence[Token]) -> Ambiguous | None:
    """Ask back a single unmistakable reading that stands among other words."""
    loose = [tokens[span.start] for span in spans if span.loose]
    if (
        len(loose) > _MOST_LOOSE
        or any(token.kind in {"bad", "number"} or token.label in _OTHERWISE for token in loose)
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


def _complete(spans: Sequence[Span]) -> bool:
    """Tell whether all words belong to something and no link leads nowhere."""
    said = [span for span in spans if not (span.gap or span.loose)]
    loose = any(span.loose for span in spans)
    return bool(said) and not loose and bool(said[-1].results)


def _covered(
    tokens: Sequence[Token], names: Sequence[str], quantity: Quantity | None
) -> list[Finding] | None:
    spans = cheapest_cover(tokens, names, quantity)
    if not _complete(spans):
        return None
    if not _separated(spans):
        return None
    open_unit = quantity is None and len(names) > len(_WITHOUT_QUESTION)
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
        clear = all(
            m.readings and (len(m.readings) == 1 or all(isinstance(r, Value) for r in m.readings))
            for m in meanings
        )
        if not meanings or not clear:
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


@cache
def _known_words() -> frozenset[str]:
    return frozenset().union(*(matcher(name).labels for name in grammar_names()))


def _misspelt_command(tokens: Sequence[Token]) -> CommandFound | None:
    """Read a command with a typing slip or two; never numbers, yes, no or stop."""
    text = " ".join(token.label for token in tokens if token.kind == "word")
    if (
        len(text) < _SHORTEST_LIKE
        or any(token.kind in {"number", "bad"} for token in tokens)
        or all(token.label in _known_words() for token in tokens)
    ):
        return None
    slips = 1 + len(text) // _SLIP_PER_LETTERS
    table = _command_phrases()
    close = process.extractOne(text, table.keys(), scorer=OSA.distance, score_cutoff=min(slips, 3))
    if close is None:
        return None
    return CommandFound(command=table[close[0]])


@cache
def _corrections() -> tuple[tuple[str, ...], ...]:
    phrases = phrases_of(COMMANDS, "correcting")["correcting"]
    return tuple(tuple(phrase.split()) for phrase in phrases)


def _corrected(
    tokens: Sequence[Token], names: Sequence[str], quantity: Quantity | None
) -> list[Finding] | None:
    """Read "no, 12.8": a word that puts the last reading right, and the right one."""
    labels = [token.label for token in tokens]
    for phrase in _corrections():
        rest = tokens[len(phrase) :]
        if tuple(labels[: len(phrase)]) != phrase or not rest:
            continue
        found = _covered(rest, names, quantity)
        if found is None and (again := _corrected(rest, names, quantity)):
            found = again[1:]
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
    findings = _covered(tokens, names, quantity)
    if findings is None or len(findings) > 1:
        findings = _corrected(tokens, names, quantity) or findings
    if findings is None and opened and (wrong := _wrong_unit(tokens, names)):
        findings = [wrong]
    if findings is None and typed:
        asked = _asked_among_others(cheapest_cover(tokens, names, quantity), tokens)
        like = None if asked else _misspelt_command(tokens)
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
