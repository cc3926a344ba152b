"""A lesson by voice: what an ear heard goes in, what is to be said comes out.

Pure, around ``Lesson``: a check or a repair that is named, by its own name or by its number in a
list that was read out, is read back and waits for "do it"; what is not sure is asked back. So
nothing that takes minutes is done on a word that was misheard.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from assistant.diagnosis.records import NextCheck
from assistant.errors import ProbetellError
from assistant.lessons.aloud import (
    HELP,
    PAGE,
    page_words,
    place_name,
    repair_name,
    sentence,
    sorts_words,
    spoken_action,
)
from assistant.lessons.checks import GROUPS
from assistant.lessons.events import (
    Answered,
    AskHint,
    AskNotes,
    GiveUp,
    Go,
    Hinted,
    Pick,
    RepairDone,
    RepairNamed,
    SwitchOff,
    Undo,
)
from assistant.lessons.narrowing import fitting, fitting_repairs
from assistant.lessons.vocabulary import Vocabulary, Wish, grammar_name
from assistant.readings.number_words import digit_words

if TYPE_CHECKING:
    from collections.abc import Callable, Container, Mapping, Sequence

    from assistant.conversation.events import Heard
    from assistant.knowledge.schema import Complaint
    from assistant.lessons.checks import Entry
    from assistant.lessons.events import Action, Event
    from assistant.lessons.lesson import Lesson

__all__ = ["Reply", "SpokenLesson"]

_MARGIN: Final = 3.0
"""Natural logarithm: nearer than this two meanings are asked back; the same as of readings."""
_LONG: Final = 2 * PAGE
_PUZZLED: Final = 2
_LEAVING: Final = "leave"
_AGAIN: Final = "I did not get that."
_NOTHING: Final = "Nothing waits. Name a check or a place, or say help."
_READY: Final = "Ready?"
_READ_BACK: Final = frozenset({"check", "repair", "narrow"})
"""What only asks, or reads out what was heard: doing that asks back by itself."""
_LEAVE: Final = frozenset({"stop", "pause", "later"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Reply:
    """What to say, "" for nothing, and what to show.

    ``action`` is the lesson's own answer, None where there is none. ``careful``: it holds
    cautions and is said to its end. ``slow`` asks for slow speech.
    """

    say: str
    action: Action | None = None
    careful: bool = False
    slow: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class _Choice:
    """One name of a list, and what taking its number asks for."""

    name: str
    wish: Wish


class SpokenLesson:
    """Drives ``lesson`` by what is heard.

    ``complaint_words`` puts a complaint in words; ``known`` as for ``Vocabulary``.
    """

    def __init__(
        self,
        lesson: Lesson,
        complaint_words: Callable[[Complaint], str],
        known: Container[str] | None = None,
    ) -> None:
        self.lesson = lesson
        self.vocabulary = Vocabulary(lesson, known)
        self._complaint_words = complaint_words
        self._waiting: Event | str | None = None
        self._choices: tuple[_Choice, ...] = ()
        self._page = 0
        self._narrowable: tuple[Entry, ...] = ()
        self._last = Reply(say="")
        self._slow = False
        self._puzzled = 0
        self._left = False
        self._does: Mapping[str, Callable[[Wish], Reply]] = {
            "check": lambda wish: self._check(wish.name),
            "repair": lambda wish: self._repair(wish.name),
            "narrow": self._narrow,
            "sort": self._narrow,
            "number": self._number,
            "more": lambda _: self._turn_page(),
            "places": lambda _: self._places(),
            "repairs": self._repairs,
            "hint": lambda _: self._hint(),
            "off": lambda _: self._do(SwitchOff()),
            "notes": lambda _: self._notes(),
            "give_up": lambda _: self._ask(GiveUp(), "Give up and be told the fault? Yes or no."),
            "yes": lambda _: self._yes(),
            "no": lambda _: self._no(),
            "command": self._order,
        }

    @property
    def over(self) -> bool:
        """Whether the lesson has ended or was left."""
        return self._left or self.lesson.ended

    @property
    def grammar(self) -> str:
        """The name of the grammar that is open now, for ``Vocabulary.graph``."""
        return grammar_name(listed=bool(self._choices), asked=self._waiting is not None)

    def opening(self) -> Reply:
        """Give what is said first."""
        said = self._complaint_words(self.lesson.complaint)
        return self._told(
            Reply(say=f"The customer says: {said} Which check? Say help for what you can say.")
        )

    def handle(self, heard: Heard) -> Reply:
        """Take what was heard; a phrase that may mean two things asks which.

        What the lesson refuses is said. Nothing is ever done that was not read back.
        """
        ranked = self._ranked(heard)
        if not ranked:
            return self._not_understood()
        (best, weight), *rest = ranked
        near = [wish for wish, other in rest if wish and other > weight * math.exp(-_MARGIN)]
        words = max((other for wish, other in rest if wish is None), default=0.0)
        if best is None or (best.kind == "yes" and words > weight * math.exp(-_MARGIN)):
            return self._not_understood()
        if near:
            choices = self._choices_of((best, *near))
            if len(choices) > 1:
                return self._told(self._which(choices))
            if best.kind not in _READ_BACK:
                return self._not_understood()
        self._puzzled = 0
        try:
            return self._told(self._does[best.kind](best))
        except ProbetellError as error:
            return self._told(Reply(say=str(error)))

    # -- what was meant -----------------------------------------------------------------------

    def _ranked(self, heard: Heard) -> list[tuple[Wish | None, float]]:
        """Give each meaning with its weight, best first; None stands for other words."""
        found: dict[Wish | None, float] = {}
        for one in heard.alternatives:
            for wish in self.vocabulary.wishes(one.text) or (None,):
                found[wish] = max(found.get(wish, 0.0), one.weight)
        return sorted(found.items(), key=lambda item: -item[1])

    def _choices_of(self, wishes: Sequence[Wish]) -> tuple[_Choice, ...]:
        """Name what may be chosen of several meanings; orders are left out."""
        named = []
        for wish in wishes[:PAGE]:
            if wish.kind == "check" and (entry := self.lesson.checks.by_id(wish.name)):
                named.append(_Choice(name=entry.check.name, wish=wish))
            elif wish.kind == "repair":
                name = repair_name(self.lesson.repairs[wish.name])
                named.append(_Choice(name=name, wish=wish))
        return tuple(named)

    def _not_understood(self) -> Reply:
        """Ask again; after the second time in a row without a word."""
        self._puzzled += 1
        if self._puzzled > _PUZZLED:
            return Reply(say="")
        question = " Do it, or no?" if self._waiting is not None else " Say it again, or say help."
        return Reply(say=f"{_AGAIN}{question}", slow=self._slow)

    def _told(self, reply: Reply) -> Reply:
        self._last = replace(reply, slow=self._slow)
        return self._last

    # -- what was chosen ----------------------------------------------------------------------

    def _ask(self, event: Event | str, question: str) -> Reply:
        self._waiting = event
        return Reply(say=question)

    def _check(self, name: str) -> Reply:
        """Read a check back, with the cautions that were not read yet, and wait for "do it"."""
        unread = self.lesson.unread(name)
        entry = self.lesson.checks.by_id(name)
        called = sentence(entry.check.name) if entry is not None else name
        if not unread:
            return self._ask(Pick(check=name, go=True), f"{called}. {_READY}")
        action = self.lesson.handle(Pick(check=name))
        self._waiting = Go()
        said = f"{called}. {spoken_action(action, self.lesson)} {_READY}"
        return Reply(say=said, action=action, careful=True)

    def _repair(self, name: str) -> Reply:
        repair = self.lesson.repairs[name]
        said = f"Repair: {repair.words} In vain it costs {repair.minutes:.0f} minutes. {_READY}"
        return self._ask(RepairNamed(repair=name), said)

    def _yes(self) -> Reply:
        event, self._waiting = self._waiting, None
        if event is None:
            return Reply(say=_NOTHING)
        if isinstance(event, str):
            self._left = True
            return Reply(say="Left before the end.")
        return self._do(event)

    def _no(self) -> Reply:
        if self._waiting is None and not self._choices:
            return Reply(say=_NOTHING)
        if self._waiting is None:
            self._choices, self._narrowable = (), ()
        self._waiting = None
        return Reply(say="Not done. Which check?")

    def _do(self, event: Event) -> Reply:
        """Have the lesson do it; what else waits for an answer is dropped."""
        self._waiting = None
        action = self.lesson.handle(event)
        said = spoken_action(action, self.lesson)
        if isinstance(action, Answered):
            self._choices = ()
            said = f"{sentence(action.entry.check.name)}: {said}"
        if isinstance(action, RepairDone) and action.complaint is not None:
            said = f"{said} The customer says: {self._complaint_words(action.complaint)}"
        danger = isinstance(action, Answered) and action.danger is not None
        return Reply(say=said, action=action, careful=danger)

    def _notes(self) -> Reply:
        action = self.lesson.handle(AskNotes())
        return Reply(say=spoken_action(action, self.lesson), action=action)

    def _hint(self) -> Reply:
        action = self.lesson.handle(AskHint())
        said = spoken_action(action, self.lesson)
        if isinstance(action, Hinted):
            step = action.step
            wish = (
                Wish(kind="check", name=step.check.id)
                if isinstance(step, NextCheck)
                else Wish(kind="repair", name=step.repair)
            )
            self._list(self._choices_of((wish,)))
            said = f"{said} Number one to take it."
        return Reply(say=said, action=action)

    # -- lists that are read out --------------------------------------------------------------

    def _list(self, choices: tuple[_Choice, ...], narrowable: tuple[Entry, ...] = ()) -> None:
        self._choices, self._page, self._narrowable = choices, 0, narrowable
        self._waiting = None

    def _which(self, choices: tuple[_Choice, ...]) -> Reply:
        self._list(choices)
        return Reply(say=f"Which one? {self._read_page()}")

    def _read_page(self) -> str:
        return page_words([choice.name for choice in self._choices], self._page)

    def _narrow(self, wish: Wish) -> Reply:
        """List what fits; of a list that was only counted, a part is taken."""
        whole = self.lesson.checks.entries
        entries = fitting(self._narrowable, wish) or fitting(whole, wish)
        if not entries:
            return Reply(say="This car has no such check. Say list for the places.")
        choices = tuple(
            _Choice(name=entry.check.name, wish=Wish(kind="check", name=entry.check.id))
            for entry in entries
        )
        if len(entries) == 1:
            self._list(choices)
            return self._check(entries[0].check.id)
        if len(entries) > _LONG and len(entries) != len(self._narrowable):
            self._list(choices, entries)
            self._page = -1
            return Reply(say=sorts_words(entries))
        self._list(choices)
        return Reply(say=f"{len(entries)} checks. {self._read_page()}")

    def _places(self) -> Reply:
        counts = [(group, len(self.lesson.checks.of_group(group))) for group in GROUPS]
        self._list(())
        said = ", ".join(f"{place_name(group)} {count}" for group, count in counts)
        return Reply(say=f"Checks: {said}. Name a place.")

    def _repairs(self, wish: Wish) -> Reply:
        found = fitting_repairs(self.lesson.repairs.values(), wish)
        if not found:
            return Reply(say="There is no such repair. Say what repairs for all of them.")
        self._list(
            tuple(
                _Choice(name=repair_name(one), wish=Wish(kind="repair", name=one.id))
                for one in found
            )
        )
        return Reply(say=f"{len(found)} repairs. {self._read_page()}")

    def _turn_page(self) -> Reply:
        if (self._page + 1) * PAGE >= len(self._choices):
            return Reply(say="That was all. Which number?" if self._choices else _NOTHING)
        self._page += 1
        self._narrowable, self._waiting = (), None
        return Reply(say=self._read_page())

    def _number(self, wish: Wish) -> Reply:
        at = self._page * PAGE + digit_words().index(wish.name) - 1
        shown = self._choices[max(0, self._page * PAGE) : (self._page + 1) * PAGE]
        if self._page < 0 or not 0 <= at - self._page * PAGE < len(shown):
            return Reply(say=f"There is no number {wish.name} here. {self._standing()}")
        chosen = self._choices[at].wish
        return self._does[chosen.kind](chosen)

    def _standing(self) -> str:
        return self._read_page() if self._choices and self._page >= 0 else _NOTHING

    # -- orders -------------------------------------------------------------------------------

    def _order(self, wish: Wish) -> Reply:
        match wish.name:
            case "repeat" | "slower":
                self._slow = self._slow or wish.name == "slower"
                return replace(self._last, action=None)
            case "undo":
                return self._do(Undo()) if self._waiting is None else self._no()
            case "safety":
                return self._safety()
            case name if name in _LEAVE:
                return self._ask(_LEAVING, "Leave the lesson? Yes or no.")
            case _:
                return Reply(say=HELP)

    def _safety(self) -> Reply:
        """Say the cautions of the check that waits, or of the one that was done last."""
        turns = [turn for turn in self.lesson.turns if turn.kind == "check"]
        name = self._waiting.check if isinstance(self._waiting, Pick) else ""
        if isinstance(self._waiting, Go) and self.lesson.open_check is not None:
            name = self.lesson.open_check.check.id
        entry = self.lesson.checks.by_id(name or (turns[-1].id if turns else ""))
        if entry is None or not entry.check.cautions:
            return Reply(say="No check is chosen. Switch everything off before ohms.")
        texts = (self.lesson.cautions[one].text for one in entry.check.cautions)
        question = f" {_READY}" if self._waiting is not None else ""
        return Reply(say=f"{sentence(entry.check.name)}. {' '.join(texts)}{question}", careful=True)
