"""From a cover of the text to findings: what each span means, and what they mean together."""

from __future__ import annotations

import re
from dataclasses import replace
from decimal import Decimal
from itertools import groupby, pairwise
from typing import TYPE_CHECKING, Final

from assistant.readings.cover import COMMANDS, Span, cheapest_cover
from assistant.readings.findings import (
    Ambiguous,
    CommandFound,
    Finding,
    NothingFound,
    ReadingFound,
)
from assistant.readings.meaning import Meaning, Order, reading_key
from assistant.readings.readback import contrast, contrast_typed, read_back, read_back_typed
from assistant.readings.reading import Beep, Quantity, Reading, Seen, Value
from assistant.readings.units import as_decimal, value_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.readings.tokens import Token

__all__ = ["asked_among_others", "covered", "merged_meaning"]

_OTHERWISE: Final = frozenset({
    "no", "not", "never", "nothing", "cant", "cannot", "dont", "doesnt", "didnt", "isnt", "wasnt",
    "wont", "without", "should", "expected", "supposed", "rated", "nominal", "spec", "before",
    "was", "than", "if", "or", "under", "over", "below", "above", "max", "min", "fuse",
    "minus", "negative",
})  # fmt: skip
"""Words beside a number that may make it something else than the reading."""
_MOST_LOOSE: Final = 8


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


def merged_meaning(results: Sequence[Meaning | Order]) -> Meaning | Order:
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
    merged = merged_meaning(span.results)
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
        first, second = merged_meaning(before.results), merged_meaning(after.results)
        if type(first) is not type(second):
            continue
        if not (isinstance(first, Meaning) and isinstance(second, Meaning)):
            if first != second:
                return False
            continue
        said_twice = [*map(reading_key, first.readings)] == [*map(reading_key, second.readings)]
        if not (first.vehicle or second.vehicle or said_twice):
            return False
    return True


def asked_among_others(spans: Sequence[Span], tokens: Sequence[Token]) -> Ambiguous | None:
    """Ask back a single unmistakable reading that stands among other words."""
    loose = [tokens[span.start] for span in spans if span.loose]
    if (
        len(loose) > _MOST_LOOSE
        or any(token.kind in {"bad", "number"} or token.label in _OTHERWISE for token in loose)
    ):  # fmt: skip
        return None
    told = [(span, merged_meaning(span.results)) for span in spans if span.results]
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


def covered(
    tokens: Sequence[Token],
    names: Sequence[str],
    quantity: Quantity | None,
    *,
    open_unit: bool = False,
) -> list[Finding] | None:
    """Give the findings of a text that is covered whole by ``names``, else None.

    With ``open_unit`` a number without a unit may be in any, and that is asked back.
    """
    spans = cheapest_cover(tokens, names, quantity)
    if not _complete(spans):
        return None
    if not _separated(spans):
        return None
    findings = [_finding(span, tokens, open_unit=open_unit) for span in spans if span.results]
    # "no no": said twice, meant once
    return _told_apart([f for f, _ in groupby(findings)])
