"""From the words of a text to the one event that they mean at the open question.

The text is parsed by the grammar of the open check and of the commands (``assistant.readings``);
here the findings are bound to checks, and it is decided whether a reading may be taken or has to
be asked back.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from assistant.conversation.binding import bind, sibling, surprising
from assistant.conversation.events import (
    Asked,
    CannotDo,
    Command,
    Event,
    Heard,
    Mismatched,
    NotUnderstood,
    Reason,
    Told,
    Typed,
    Understood,
    Undo,
    Unsure,
)
from assistant.conversation.scene import Scene
from assistant.conversation.table import State
from assistant.readings import fusion
from assistant.readings.findings import (
    Ambiguous,
    CommandFound,
    Finding,
    Interpretation,
    NothingFound,
    ReadingFound,
    WrongUnit,
)
from assistant.readings.interpret import interpret_spoken, interpret_typed
from assistant.readings.meaning import reading_key
from assistant.readings.readback import read_back_typed

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assistant.diagnosis.records import Diagnosing, NextCheck
    from assistant.knowledge.schema import VehicleState
    from assistant.readings.reading import Reading

__all__ = ["understand", "understand_argument"]

_COMMANDS: Final[Mapping[str, Command]] = {
    "repeat": "repeat",
    "slower": "slower",
    "back": "back",
    "correct": "correct",
    "skip": "skip",
    "why": "why",
    "status": "status",
    "help": "help",
    "safety": "safety",
    "stop": "stop",
    "pause": "stop",
    "later": "stop",
    "yes": "yes",
    "no": "no",
    "done": "done",
}
_YES_OR_NO: Final = frozenset({State.CONFIRMING, State.CONTRASTING, State.CONCLUDED})
_CORRECTING: Final = frozenset({"no", "correct"})
_UNHEARD: Final = -60.0
_NEARLY: Final = 0.05


def understand(
    event: Heard | Typed, scene: Scene, diagnosis: Diagnosing, last: NextCheck | None = None
) -> Event:
    """Give the event that a text means at the open question of ``scene``.

    ``last`` is the check that was answered last, for corrections of it.
    """
    texts = [a.text for a in event.alternatives] if isinstance(event, Heard) else [event.text]
    if not any(text.strip() for text in texts):
        return NotUnderstood(reason="There were no words.")
    if scene.state in _YES_OR_NO and (settled := _yes_or_no(event)) is not None:
        return settled
    if scene.step is None:
        return _without_check(event)
    if (picked := _picked(event, scene, scene.step)) is not None:
        return picked
    if isinstance(event, Heard):
        meant = _heard(event, scene, scene.step, diagnosis)
    else:
        found = interpret_typed(
            event.text, quantity=scene.step.check.do.quantity, grammar=scene.step.check.grammar
        )
        meant = _typed(found, scene, scene.step, diagnosis)
    if isinstance(meant, Mismatched | NotUnderstood) and last is not None:
        return _correction_of(texts[0], last) or meant
    return meant


def understand_argument(text: str, step: NextCheck, diagnosis: Diagnosing) -> Event:
    """Give what the words of a correction mean for the check that is corrected."""
    check = step.check
    found = interpret_typed(text, quantity=check.do.quantity, grammar=check.grammar)
    return _typed(found, Scene(state=State.MEASURING, step=step), step, diagnosis, trusting=True)


# --- commands ------------------------------------------------------------------------------


def _command(command: str, argument: str | None) -> Event:
    if command == "undo":
        return Undo()
    if command == "cannot":
        return CannotDo(why=argument or "")
    if command not in _COMMANDS:
        return NotUnderstood(reason="That answers nothing that is open.")
    return Asked(command=_COMMANDS[command])


def _interpretations(event: Heard | Typed, grammar: str | None) -> Interpretation:
    """Interpret a text, or the best phrase of a recogniser, with no check open."""
    if isinstance(event, Typed):
        return interpret_typed(event.text, quantity=None, grammar=grammar)
    best = max(event.alternatives, key=lambda a: a.weight)
    return interpret_spoken(best.text, quantity=None, grammar=grammar)


def _yes_or_no(event: Heard | Typed) -> Event | None:
    """Give yes or no when the text is nothing but that."""
    findings = _interpretations(event, "yes_no").findings
    if len(findings) == 1 and isinstance(found := findings[0], CommandFound):
        return _command(found.command, found.argument)
    return None


def _picked(event: Heard | Typed, scene: Scene, step: NextCheck) -> Event | None:
    """Give the one pending candidate that the text names, None when it names none or several.

    "One five" alone may be 1.5 or 15; after "fifteen or fifty?" it is fifteen. Phrases that the
    recogniser holds for nearly as likely count too, so that an unclear word picks nothing.
    """
    if scene.pending is None:
        return None
    quantity, grammar = step.check.do.quantity, step.check.grammar
    if isinstance(event, Typed):
        texts = [interpret_typed(event.text, quantity=quantity, grammar=grammar)]
    else:
        top = max(a.weight for a in event.alternatives)
        texts = [
            interpret_spoken(a.text, quantity=quantity, grammar=grammar)
            for a in event.alternatives
            if a.weight >= _NEARLY * top
        ]
    named = set()
    for finding in (f for text in texts for f in text.findings):
        if isinstance(finding, ReadingFound):
            named.add(reading_key(finding.reading))
        elif isinstance(finding, Ambiguous):
            named.update(map(reading_key, finding.candidates))
    fitting = [t for t in scene.pending.candidates if reading_key(t.reading) in named]
    return Understood(told=(fitting[0],)) if len(fitting) == 1 else None


def _without_check(event: Heard | Typed) -> Event:
    findings = _interpretations(event, None).findings
    orders = [f for f in findings if isinstance(f, CommandFound)]
    if orders:
        return _command(orders[0].command, orders[0].argument)
    if any(isinstance(f, ReadingFound | Ambiguous) for f in findings):
        return Understood(told=())
    return NotUnderstood(reason=_reason(findings))


def _reason(findings: Sequence[Finding]) -> str:
    reasons = [f.reason for f in findings if isinstance(f, NothingFound)]
    return reasons[0] if reasons else "That answers nothing that is open."


def _correction_of(text: str, last: NextCheck) -> Event | None:
    """Give a correction that only parses as an answer to the check before."""
    check = last.check
    found = interpret_typed(text, quantity=check.do.quantity, grammar=check.grammar)
    if not any(c.command in _CORRECTING for c in found.commands):
        return None
    if not found.readings:
        return None
    return Asked(command="correct", argument=" ".join(found.readings[0].words))


# --- typed ---------------------------------------------------------------------------------


def _typed(
    found: Interpretation,
    scene: Scene,
    step: NextCheck,
    diagnosis: Diagnosing,
    *,
    trusting: bool = False,
) -> Event:
    told = [f for f in found.findings if isinstance(f, ReadingFound | Ambiguous)]
    if not told:
        return _no_reading(found)
    corrects = any(c.command in _CORRECTING for c in found.commands)
    if corrects and scene.pending is None and not scene.revising:
        return Asked(command="correct", argument=" ".join(told[0].words))
    if len(told) > 1:
        return _several(told, step, diagnosis)
    first = told[0]
    if isinstance(first, Ambiguous):
        return _one_of(first.candidates, first.vehicle, step, diagnosis)
    trusting = trusting or _expects_nothing(scene)
    return _single(first.reading, first.vehicle, step, diagnosis, trusting=trusting)


def _expects_nothing(scene: Scene) -> bool:
    """Tell whether the answer may well differ from what the belief expects.

    A correction does, and so does a check that is repeated after the repair.
    """
    return scene.revising or scene.proof is not None


def _no_reading(found: Interpretation) -> Event:
    wrong = [f for f in found.findings if isinstance(f, WrongUnit)]
    if wrong:
        return Mismatched(say=wrong[0].say)
    if found.commands:
        return _command(found.commands[0].command, found.commands[0].argument)
    return NotUnderstood(reason=_reason(found.findings))


def _single(
    reading: Reading,
    vehicle: VehicleState | None,
    step: NextCheck,
    diagnosis: Diagnosing,
    *,
    trusting: bool,
) -> Event:
    bound = bind(reading, vehicle, step, diagnosis)
    if bound is None:
        told = Told(check=step.check.id, reading=reading)
        return Unsure(candidates=(told,), reason="state", vehicle=vehicle)
    if not trusting and surprising(bound, diagnosis):
        return Unsure(candidates=(bound,), reason="surprising")
    return Understood(told=(bound,))


def _one_of(
    candidates: Sequence[Reading],
    vehicle: VehicleState | None,
    step: NextCheck,
    diagnosis: Diagnosing,
) -> Event:
    """Ask back among ``candidates``; in another vehicle state they are for another check."""
    other = None if vehicle is None else sibling(diagnosis.checks, step.check, vehicle)
    check = step.check if other is None or vehicle == step.check.do.vehicle else other
    told = tuple(Told(check=check.id, reading=reading) for reading in candidates)
    if len(told) == 1:
        return Unsure(candidates=told, reason="incomplete")
    likelihoods = diagnosis.weigh(check.id, candidates)
    ranked = sorted(zip(likelihoods, told, strict=True), key=lambda pair: -pair[0])
    return Unsure(candidates=tuple(t for _, t in ranked), reason="close")


def _several(
    found: Sequence[ReadingFound | Ambiguous], step: NextCheck, diagnosis: Diagnosing
) -> Event:
    """Bind several readings of one text to the checks of their vehicle states, or ask which."""
    bound = [
        bind(f.reading, f.vehicle, step, diagnosis) for f in found if isinstance(f, ReadingFound)
    ]
    told = tuple(b for b in bound if b is not None)
    if len(told) == len(found) == len({t.check for t in told}):
        return Understood(told=told)
    readings = [
        r for f in found for r in ((f.reading,) if isinstance(f, ReadingFound) else f.candidates)
    ]
    unique = tuple(dict.fromkeys(Told(check=step.check.id, reading=r) for r in readings))
    return Unsure(candidates=unique, reason="which")


# --- heard ---------------------------------------------------------------------------------


def _heard(event: Heard, scene: Scene, step: NextCheck, diagnosis: Diagnosing) -> Event:
    check = step.check
    best = max(event.alternatives, key=lambda a: a.weight)
    found = interpret_spoken(best.text, quantity=check.do.quantity, grammar=check.grammar)
    if len(found.readings) > 1:
        return _several(found.readings, step, diagnosis)
    return _decided(event, scene, step, diagnosis)


def _decided(event: Heard, scene: Scene, step: NextCheck, diagnosis: Diagnosing) -> Event:
    check = step.check
    decision = fusion.decide(
        [
            fusion.Hypothesis(text=a.text, score=math.log(a.weight) if a.weight > 0 else _UNHEARD)
            for a in event.alternatives
        ],
        quantity=check.do.quantity,
        weigh=lambda readings: (
            [1.0] * len(readings)
            if _expects_nothing(scene)
            else diagnosis.weigh(check.id, readings)
        ),
        would_change=lambda one, two: diagnosis.would_change(check.id, one, two),
        grammar=check.grammar,
    )
    match decision:
        case fusion.Command(command=command, argument=argument):
            return _command(command, argument)
        case fusion.Reject(reason="wrong_unit", say=say):
            return Mismatched(say=say)
        case fusion.Reject(say=say):
            return NotUnderstood(reason=say)
        case fusion.Contrast(first=first, second=second, vehicle=vehicle):
            return _one_of((first, second), vehicle, step, diagnosis)
        case fusion.Accept() | fusion.Confirm():
            return _heard_one(decision, scene, step, diagnosis)


def _heard_one(
    decision: fusion.Accept | fusion.Confirm,
    scene: Scene,
    step: NextCheck,
    diagnosis: Diagnosing,
) -> Event:
    reading = decision.reading
    if decision.corrects and scene.pending is None and not scene.revising:
        return Asked(command="correct", argument=read_back_typed(reading))
    bound = bind(reading, decision.vehicle, step, diagnosis)
    if bound is None:
        told = Told(check=step.check.id, reading=reading)
        return Unsure(candidates=(told,), reason="state", vehicle=decision.vehicle)
    if isinstance(decision, fusion.Accept):
        return Understood(told=(bound,))
    reason: Reason = "surprising" if decision.surprising else "incomplete"
    return Unsure(candidates=(bound,), reason=reason)
