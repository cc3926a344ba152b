"""What a text means while a case is open: an answer, a number of a choice, or a question back."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from assistant.conversation.binding import surprising
from assistant.conversation.events import (
    Asked,
    CannotDo,
    Exact,
    Mismatched,
    NotUnderstood,
    Told,
    Typed,
    Understood,
    Undo,
)
from assistant.conversation.table import State
from assistant.messaging.facts import facts_of
from assistant.messaging.late import Named, bare, clauses, elsewhere, recent, uncorrected
from assistant.messaging.memory import Question
from assistant.messaging.telling import is_afraid, outcome_of, sound_of
from assistant.messaging.terms import asked_about, is_question
from assistant.messaging.texts import load_texts, means, numbered, say, spoken_words
from assistant.messaging.wording import answers_of, minutes_text, selectable
from assistant.readings.readback import read_back_typed
from assistant.readings.reading import Seen, reading_from_json, reading_to_json

if TYPE_CHECKING:
    from assistant.conversation.events import Event, Given
    from assistant.knowledge.schema import Check
    from assistant.messaging.casetalk import CaseTalk

__all__ = ["answer", "bound", "put_binding"]

_OPEN: Final = frozenset({State.MEASURING, State.PROVING})
_TAKEN_NOTE: Final = _OPEN | {State.CONCLUDED}
"""Where "ok" says that the customer will do it; after a verdict it does not say that it is done."""
_OHMS: Final = frozenset({"resistance", "continuity"})


def answer(talk: CaseTalk, text: str) -> Question | None:
    """Take a text of an open case; give the question that the exchange itself has to put."""
    if _confirmed(talk, text) or _chosen(talk, text) or _courtesy(talk, text):
        return None
    if facts_of(text).meter is False:
        talk.no_meter()
        return None
    if not any(char.isalnum() for char in text):
        talk.leads.append(say("empty"))
        return None
    if _bare_number(talk, text) or _sentence(talk, text):
        return None
    if (term := asked_about(text)) is not None:
        talk.leads.append(say("term", name=term.name, text=term.text))
        return None
    return _readings(talk, text)


# --- numbers and wordings --------------------------------------------------------------------


def _confirmed(talk: CaseTalk, text: str) -> bool:
    if not talk.hazards or not means(text, "understood"):
        return False
    talk.understood()
    return True


def _chosen(talk: CaseTalk, text: str) -> bool:
    """Take the number of a choice that is open."""
    event = _choice(talk, spoken_words(text), text)
    if event is None:
        return False
    _feed_choice(talk, event)
    return True


def _feed_choice(talk: CaseTalk, event: Given) -> None:
    quantity = talk.step.check.do.quantity if talk.step else None
    talk.feed(event)
    if isinstance(event, Exact) and isinstance(event.reading, Seen) and quantity and talk.leads:
        # the answer is read back in the words that it was chosen by
        taken = f"Noted: {read_back_typed(event.reading)}."
        words = load_texts().answers[quantity][event.reading.state]
        talk.leads[0] = talk.leads[0].replace(taken, say("noted", what=words), 1)


def _choice(talk: CaseTalk, said: str, text: str) -> Given | None:
    step = talk.step
    if talk.state in {State.CONFIRMING, State.CONCLUDED}:
        yes = said == "1" or (talk.state is State.CONFIRMING and means(text, "right"))
        no = said == "2" or means(text, "wrong")
        return Asked(command="yes" if yes else "no") if yes or no else None
    if talk.state is State.CONTRASTING:
        return _picked(talk, said)
    if step is None or not said.isdecimal() or len(said) > 1:
        return None
    answers = answers_of(step.check)
    if answers and talk.state in _OPEN and 0 < int(said) <= len(answers):
        return Exact(check=step.check.id, reading=Seen(state=answers[int(said) - 1]))
    wanted = bool(answers or talk.hazards)
    return CannotDo(why="can't do it") if said == "0" and wanted else None


def _bare_number(talk: CaseTalk, text: str) -> bool:
    """Refuse a lone 1 as a reading: it may be the number of a choice, or an old meter's OL."""
    step = talk.step
    metered = step is not None and not answers_of(step.check)
    if step is None or not metered or talk.state not in _OPEN or spoken_words(text) != "1":
        return False
    unit = "1.0 ohm, or OL" if step.check.do.quantity in _OHMS else "1.0 V"
    talk.leads.append(say("bare_number", example=unit))
    return True


def _sentence(talk: CaseTalk, text: str) -> bool:
    """Take what is told in a sentence: being afraid of the step, or what became of the repair."""
    if talk.step is not None and is_afraid(text):
        talk.leads.append(say("no_need"))
        return True
    if talk.state is not State.CONCLUDED or (outcome := outcome_of(text)) is None:
        return False
    talk.feed(Asked(command="yes" if outcome == "fixed" else "no"))
    return True


def _picked(talk: CaseTalk, said: str) -> Given | None:
    """Take one of the readings that are offered, or none of them."""
    pending = talk.dialogue.scene.pending
    readings = [told.reading for told in pending.candidates] if pending else []
    marks = [mark.casefold() for mark in selectable(readings)]
    if not readings or said not in marks:
        return None
    if said == marks[-1]:
        return Asked(command="no")
    return Typed(text=read_back_typed(readings[marks.index(said)]))


def _courtesy(talk: CaseTalk, text: str) -> bool:
    """Answer what changes nothing: thanks, a pause, how long, what was asked, which words."""
    if means(text, "thanks"):
        talk.leads.append(say("thanks"))
    elif means(text, "acknowledged") and talk.state in _TAKEN_NOTE:
        talk.leads.append(say("standing_by"))
        talk.quiet = talk.state is not State.CONCLUDED
    elif means(text, "wait"):
        talk.leads.append(say("waiting"))
        talk.quiet = True
    elif means(text, "again"):
        talk.in_full()
    elif means(text, "how_long"):
        if talk.step is not None:
            talk.leads.append(say("how_long", minutes=minutes_text(talk.step.minutes)))
    elif means(text, "why"):
        talk.feed(Asked(command="why"))
    elif means(text, "words"):
        talk.leads.append(say("words"))
    else:
        return False
    return True


# --- readings --------------------------------------------------------------------------------


def _readings(talk: CaseTalk, text: str) -> Question | None:
    checks = talk.dialogue.diagnosis.checks
    current = talk.step.check if talk.step else None
    if several := _several(talk, text, current):
        for told in several:
            _exact(talk, told)
        return None
    found = elsewhere(text, current, talk.note.asked, checks)
    if found is not None and (not found.sure or _surprises(talk, found.told[0])):
        return put_binding(talk, found.told)
    if found is not None:
        _exact(talk, found.told[0])
        return None
    text, meant = _plainest(talk, text, current)
    if isinstance(meant, Undo) and talk.note.no_meter:
        talk.undo()
    elif isinstance(meant, Mismatched | NotUnderstood):
        return _not_for_this(talk, text, current, meant)
    elif isinstance(meant, Understood) and talk.state is State.CONCLUDED:
        pass  # a reading that nobody asked for: only the outcome is waited for
    else:
        talk.feed(Typed(text=text))
    return None


def _plainest(talk: CaseTalk, text: str, current: Check | None) -> tuple[str, Event]:
    """Give a text in words that the dialogue is surer of, where they say the same; and its event.

    "Sorry meant 12.1" is a correction in other words, and "the remote is 11.9" needs no name
    while the remote is asked for.
    """
    meant = talk.dialogue.meaning_of(text)
    tries: list[tuple[str, type[Event]]] = []
    if not isinstance(meant, Asked) and (right := uncorrected(text)) != text:
        tries.append((f"i meant {right}", Asked))
    if not isinstance(meant, Understood) and current is not None and Named(text).fits(current):
        tries.append((bare(text), Understood))
    for plainer, kind in tries:
        if isinstance(sure := talk.dialogue.meaning_of(plainer), kind):
            return plainer, sure
    return text, meant


def _not_for_this(
    talk: CaseTalk, text: str, current: Check | None, meant: Event
) -> Question | None:
    """Ask whether a text that does not answer the open check answers one of those before."""
    late = recent(text, current, talk.note.asked, talk.dialogue.diagnosis.checks)
    if late:
        return put_binding(talk, late)
    if is_question(text):
        talk.leads.append(say("terms_unknown"))
    elif (sound := _sound(talk, text, current)) is not None:
        _feed_choice(talk, sound)
    elif talk.state is State.CONCLUDED:
        pass  # what will be done, or small talk
    elif isinstance(meant, NotUnderstood) and not any(char.isdecimal() for char in text):
        talk.leads.append(say("not_answer"))
    else:
        talk.feed(Typed(text=text))
    return None


def _sound(talk: CaseTalk, text: str, current: Check | None) -> Exact | None:
    """Take "all of them are silent" where a speaker is listened to, unless others are named."""
    if current is None or current.do.quantity != "sound" or talk.state not in _OPEN:
        return None
    named, state = Named(text), sound_of(text)
    if state is None or (named and not named.fits(current)):
        return None
    return Exact(check=current.id, reading=Seen(state=state))


def _surprises(talk: CaseTalk, told: Told) -> bool:
    return surprising(told, talk.dialogue.diagnosis)


def _several(talk: CaseTalk, text: str, current: Check | None) -> tuple[Told, ...]:
    """Give the readings of a text that names several places, when each is sure; else none."""
    parts = clauses(text)
    if len(parts) < 2:
        return ()
    told: list[Told] = []
    by_place = False
    for part in parts:
        found = elsewhere(part, current, talk.note.asked, talk.dialogue.diagnosis.checks)
        meant = None if found else talk.dialogue.meaning_of(part)
        if found is not None and found.sure:
            told.extend(found.told)
            by_place = True
        elif isinstance(meant, Understood) and len(meant.told) == 1:
            told.extend(meant.told)
        else:
            return ()
    named = {t.check for t in told}
    return tuple(told) if by_place and len(named) == len(told) > 1 else ()


def _exact(talk: CaseTalk, told: Told) -> None:
    name = talk.dialogue.diagnosis.checks[told.check].name
    talk.pass_for(name)
    talk.feed(Exact(check=told.check, reading=told.reading))


def put_binding(talk: CaseTalk, told: tuple[Told, ...]) -> Question:
    """Ask which check a reading is for."""
    talk.quiet = True
    reading = read_back_typed(told[0].reading)
    names = [talk.dialogue.diagnosis.checks[t.check].name for t in told]
    if len(told) == 1:
        talk.leads.append(say("bind_one", reading=reading, name=names[0]))
    else:
        last = str(len(told) + 1)
        talk.leads.append(say("bind", reading=reading, choices=numbered(names), last=last))
    return Question(
        kind="bind",
        options=tuple(t.check for t in told),
        reading={t.check: reading_to_json(t.reading) for t in told},
    )


def bound(talk: CaseTalk, question: Question, text: str) -> bool:
    """Take the answer to that question; False when the text is none."""
    said = spoken_words(text)
    count = len(question.options)
    if said == str(count + 1) or means(text, "wrong") or said in {"no", "0", "none"}:
        talk.leads.append(say("dropped"))
        return True
    first = count == 1 and (means(text, "right") or said in {"yes", "right", "yep", "yeah"})
    if not first and not (said.isdecimal() and len(said) == 1 and 0 < int(said) <= count):
        return False
    check = question.options[0 if first else int(said) - 1]
    _exact(talk, Told(check=check, reading=reading_from_json(question.reading[check])))
    return True
