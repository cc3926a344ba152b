"""Words for readings, expectations, evidence and the customer's reply."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.knowledge import load
from assistant.readings.reading import Beep, OpenLine, Reading, Seen, Unstable, Value

if TYPE_CHECKING:
    from assistant.diagnosis.records import Expectation, Step
    from assistant.knowledge.schema import Fault, Repair

__all__ = ["evidence_line", "expectation_words", "how_sure", "reading_words", "reply_words"]

_STATES = {"open_line": "open line", "no_beep": "no beep", "too_hot": "too hot"}


def reading_words(reading: Reading) -> str:
    """Write a reading as a technician would: "12.6 V", "open line", "lit"."""
    match reading:
        case Value(value=value, unit=unit):
            return f"{value:g} {unit}"
        case OpenLine():
            return "open line"
        case Beep(heard=heard):
            return "beep" if heard else "no beep"
        case Unstable(low=low, high=high, unit=unit):
            if low is None or high is None:
                return "jumping about"
            return f"jumping between {low:g} and {high:g} {unit or ''}".rstrip()
        case Seen(state=state):
            return _STATES.get(state, state)


def _figure(value: float) -> str:
    size = abs(value)
    if size < 0.005:
        return "0"
    if size >= 1e6:
        return f"{value / 1e6:.3g}M"
    if size >= 1e3:
        return f"{value / 1e3:.3g}k"
    return f"{value:.2f}" if size < 1 else f"{value:.3g}"


def expectation_words(expect: Expectation) -> str:
    """Write what was predicted: "12.1 to 12.7 V", or the most probable answers."""
    if expect.low is not None and expect.high is not None:
        low, high = _figure(expect.low), _figure(expect.high)
        if low == high:
            return f"about {low} {expect.unit}"
        return f"{low} to {high} {expect.unit}"
    return _state_words(expect.states)


def _state_words(states: tuple[tuple[str, float], ...]) -> str:
    likely = [(name, p) for name, p in states if p >= 0.05]
    return " or ".join(
        f"{_STATES.get(name, name)} ({p:.0%})"
        for name, p in sorted(likely, key=lambda item: -item[1])
    )


def evidence_line(step: Step, repair: str) -> str:
    """Write one step as evidence for or against ``repair``."""
    if step.kind == "repaired":
        words = (step.repair or "").replace("_", " ").replace(".", " ") + "."
        return f"Repair tried, {step.note}: {words}"
    if step.check is None or step.reading is None:
        return ""
    before = dict(step.before.repairs).get(repair, 0.0)
    after = dict(step.after.repairs).get(repair, 0.0)
    if after > 1.25 * before + 0.01:
        leaning = f"raises this from {before:.0%} to {after:.0%}"
    elif after < 0.8 * before - 0.01:
        leaning = f"lowers this from {before:.0%} to {after:.0%}"
    else:
        leaning = "rules other things out" if _cleared(step) else "changes little"
    name = step.check.name[0].upper() + step.check.name[1:]
    expected = f", expected {expectation_words(step.expected)}" if step.expected else ""
    return f"{name}: {reading_words(step.reading)}{expected}; {leaning}."


def _cleared(step: Step) -> bool:
    before, after = dict(step.before.repairs), dict(step.after.repairs)
    return any(p - after.get(repair, 0.0) > 0.02 for repair, p in before.items())


def how_sure(probability: float) -> str:
    """Say a probability in plain words."""
    if probability >= 0.97:
        return "We are practically sure."
    if probability >= 0.85:
        return f"We are fairly sure (about {min(9, round(10 * probability))} in 10)."
    if probability >= 0.5:
        return f"This is the most likely cause (about {round(10 * probability)} in 10)."
    return "This is our best guess so far; more measurements would make it surer."


def reply_words(
    repair: Repair, faults: tuple[Fault, ...], probability: float, measured: tuple[str, ...]
) -> str:
    """Write the reply that the customer can read."""
    parts = []
    if faults and not repair.customer.lower().startswith(faults[0].words.lower()):
        parts.append(f"What we found: {faults[0].words}.")
    parts += [repair.customer, how_sure(probability)]
    if measured:
        parts.append("Measured: " + "; ".join(measured) + ".")
    if repair.beyond_user:
        parts.append(repair.beyond_user)
    parts.append(load().cautions["procedures_first"].text)
    return " ".join(parts)
