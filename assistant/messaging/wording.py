"""What the dialogue asks, as sentences for a text message: short, numbered, GSM 7-bit."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from assistant.diagnosis.texts import how_sure
from assistant.messaging.bring import bring_for
from assistant.messaging.segments import plain, segments
from assistant.messaging.terms import hints_for
from assistant.messaging.texts import load_texts, numbered, say
from assistant.readings.readback import read_back_typed
from assistant.readings.reading import SEEN_ANSWERS, Value

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.conversation.scene import Pending
    from assistant.conversation.wording import Wording
    from assistant.diagnosis.records import NextCheck, Verdict
    from assistant.knowledge.schema import Check
    from assistant.readings.reading import Reading

__all__ = [
    "answers_of",
    "check_text",
    "confirm_text",
    "minutes_text",
    "prompt_of",
    "reply_of",
    "selectable",
    "settled_text",
    "verdict_text",
]

_MOST: Final = 2
_LETTERS: Final = "ABCDEFG"
_NEARLY_SURE: Final = 0.5


def prompt_of(check: Check, *, meter: bool = True) -> str:
    """Give the prompt of a check without an end that asks for a carrier's word.

    ``meter`` has it say how the meter is set where the prompt itself does not.
    """
    text = check.typed
    for end in load_texts().prompt_ends:
        if text.endswith(end):
            text = text.removesuffix(end).rstrip("?") + "?"
    if meter and check.do.quantity == "dc_voltage" and "eter on DC" not in text:
        return f"{say('meter_dc_voltage')} {text}"
    return text


def answers_of(check: Check) -> tuple[str, ...]:
    """Give the answers that the numbers from 1 stand for; empty where a meter is read."""
    return SEEN_ANSWERS.get(check.do.quantity, ())


def reply_of(check: Check) -> str:
    """Say which reply is wanted, with an example."""
    quantity = check.do.quantity
    if quantity in SEEN_ANSWERS:
        words = load_texts().answers[quantity]
        return say("choices", choices=numbered([words[a] for a in SEEN_ANSWERS[quantity]]))
    return say(f"reply_{quantity}")


def check_text(
    step: NextCheck,
    *,
    lead: str = "",
    cautions: Sequence[str] = (),
    reminders: Sequence[str] = (),
    known: tuple[str, ...] = (),
) -> tuple[str, tuple[str, ...]]:
    """Write a check, and name the terms that are explained with it.

    ``cautions`` are whole sentences, ``reminders`` short ones that are left out where they would
    lengthen the message beyond its two segments, as are the hints for terms not yet ``known``.
    """
    said = [lead, *step.notes]
    if cautions:
        said.append(say("careful", cautions=" ".join(cautions)))
    hints = hints_for(step.check, known)
    mind = (
        [say("reminder", cautions="; ".join(r[:1].lower() + r[1:] for r in reminders))]
        if reminders
        else []
    )
    asked = [prompt_of(step.check)]
    tries = [
        ([*mind, *asked, *(t.hint for t in hints)], hints),
        ([*mind, *asked, *(t.hint for t in hints[:1])], hints[:1]),
        ([*mind, *asked], ()),
        (asked, ()),
    ]
    before = " ".join(part for part in said if part)
    # where whole cautions are in front, the step rather has a message of its own than no hint
    for front, options in ((f"{before} ", tries[:2] if cautions else tries), ("", tries)):
        for parts, used in options:
            text = " ".join([*parts, reply_of(step.check)])
            if segments(plain(front + text)) <= _MOST:
                return f"{before}\n{text}".strip(), tuple(term.name for term in used)
    # too long anyway: then cut, with what must be said
    return f"{before}\n{' '.join([*mind, *asked, reply_of(step.check)])}".strip(), ()


def selectable(readings: Sequence[Reading]) -> tuple[str, ...]:
    """Give the marks to choose readings by: numbers, or letters where a reading is such a number.

    "1 = 10 V, 2 = 1 V" could be answered with the reading itself.
    """
    numbers = [str(n) for n in range(1, len(readings) + 2)]
    figures = {f"{r.value:g}" for r in readings if isinstance(r, Value)}
    marks = _LETTERS if figures & set(numbers) else numbers
    return tuple(marks[: len(readings) + 1])


def confirm_text(pending: Pending, step: NextCheck, wording: Wording) -> str:
    """Ask whether the pending reading, or which of them, is meant."""
    readings = [told.reading for told in pending.candidates]
    if len(readings) > 1:
        *marks, last = selectable(readings)
        pairs = [
            f"{mark} = {read_back_typed(reading)}"
            for mark, reading in zip(marks, readings, strict=True)
        ]
        return say("which", choices=", ".join(pairs), last=last)
    reading = read_back_typed(readings[0])
    if pending.vehicle is not None:
        question = say(
            "other_state",
            reading=reading,
            told=wording.book.say(f"state_{pending.vehicle}"),
            asked=wording.book.say(f"state_{step.check.do.vehicle}"),
        )
    elif pending.reason == "surprising":
        question = say("surprising", reading=reading)
    else:
        question = say("plain_reading", reading=reading)
    return say("confirm", question=question)


def minutes_text(minutes: float) -> str:
    """Say minutes in words."""
    number = max(1, round(minutes))
    return say("minutes_one") if number == 1 else say("minutes_many", number=str(number))


def verdict_text(verdict: Verdict, wording: Wording, *, no_meter: bool) -> str:
    """Tell what was found, what to do first, how long it takes, what to bring, what could hurt."""
    lexicon = wording.lexicon
    repair = lexicon.repairs.get(verdict.repair)
    what = lexicon.repair(verdict.repair) if repair is None else repair.customer
    holds = verdict.holds and not (no_meter and verdict.probability < _NEARLY_SURE)
    parts = [
        say("found" if holds else "found_open", what=what),
        how_sure(verdict.probability),
        say("do_first", repair=lexicon.repair(verdict.repair)),
    ]
    if repair is not None:
        time = "time_parts" if repair.parts else "time"
        parts.append(say(time, minutes=minutes_text(repair.minutes)))
    needed = bring_for(verdict.repair)
    parts += [lexicon.caution(caution) for caution in needed.cautions]
    if repair is not None and repair.beyond_user:
        parts.append(repair.beyond_user)
    if verdict.surer and not holds:
        parts.append(say("surer", surer=verdict.surer))
    last = [say("bring", things=needed.bring), say("outcome")]
    return f"{' '.join(parts)}\n{' '.join(last)}"


def settled_text(verdict: Verdict, wording: Wording) -> str:
    """Say that the trouble is gone, and how to come back."""
    repair = wording.lexicon.repair(verdict.repair)
    return f"{say('settled', repair=repair)} {say('closing')}"
