"""What the exchange remembers of a number between two texts, as versioned JSON in its thread."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Literal, TypeAlias

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from assistant.knowledge.schema import Complaint, Position, Symptom

if TYPE_CHECKING:
    from assistant.messaging.records import Thread

__all__ = ["CaseNote", "Draft", "Memory", "Question", "Topic", "When", "recall"]

When: TypeAlias = Literal[
    "always", "accessory", "running", "seconds_after_start", "loud", "warm", "bumps", "cranking"
]
Topic: TypeAlias = Literal[
    "symptom", "when", "where", "meter", "channels", "speakers", "source", "supply"
]
"""The questions before a case is opened."""


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class CaseNote(_Frozen):
    """What is remembered of one case beside its events.

    ``car`` counts the cars of the number from 1. ``confirmed`` are the cautions that the customer
    has said to have understood, ``told`` those whose whole sentences were sent, ``last`` those of
    the step put last, ``explained`` the terms that were explained, ``asked`` the checks that were
    asked, the latest last. ``draft`` is what was told before the case was opened.
    """

    car: int = 1
    label: str = ""
    closed: bool = False
    no_meter: bool = False
    confirmed: tuple[str, ...] = ()
    told: tuple[str, ...] = ()
    last: tuple[str, ...] = ()
    explained: tuple[str, ...] = ()
    asked: tuple[str, ...] = ()
    draft: Draft | None = None


class Draft(_Frozen):
    """What was told of a car before its case is opened.

    ``when_open`` are the times between which the customer's words leave a choice. ``done`` are
    the topics that need no question any more, ``asked`` is the one that is open and ``tries`` how
    often it was answered in vain. ``installation`` holds what is known of the car, in the form of
    the machine interface.
    """

    car: int = 1
    symptom: Symptom | None = None
    when: tuple[When, ...] = ()
    when_open: tuple[When, ...] = ()
    where: tuple[Position, ...] = ()
    meter: bool | None = None
    installation: dict[str, Any] = Field(default_factory=dict)
    done: tuple[Topic, ...] = ()
    asked: Topic | None = None
    tries: int = 0

    @property
    def complaint(self) -> Complaint:
        """The complaint as far as it was told; protection, the commonest, when it was not."""
        return Complaint(symptom=self.symptom or "protects", when=self.when, where=self.where)


class Question(_Frozen):
    """A question of the exchange itself, beside those of the dialogue.

    ``again``: which trouble a closed case's number writes about. ``car``: which car is meant.
    ``bind``: which check a reading is for. ``rest``: whether a text that broke off was all.
    ``options`` are what the numbers stand for, ``text`` is what was written, ``reading`` its JSON.
    """

    kind: Literal["again", "car", "bind", "rest"]
    options: tuple[str, ...] = ()
    text: str = ""
    reading: dict[str, Any] = Field(default_factory=dict)


class Memory(_Frozen):
    """All that is remembered of a number; ``cases`` by case id.

    ``parts`` holds the pieces of a text that came in pieces, by their place from 1.
    """

    version: Literal[1] = 1
    cases: dict[str, CaseNote] = Field(default_factory=dict)
    draft: Draft | None = None
    question: Question | None = None
    parts: dict[int, str] = Field(default_factory=dict)

    def note(self, case_id: str) -> CaseNote:
        """Give what is remembered of a case."""
        return self.cases.get(case_id, CaseNote())

    def with_note(self, case_id: str, note: CaseNote) -> Memory:
        """Remember ``note`` for a case."""
        return self.model_copy(update={"cases": {**self.cases, case_id: note}})

    @property
    def cars(self) -> dict[int, str]:
        """The latest case of each car, by the car's number."""
        return {note.car: case_id for case_id, note in self.cases.items()}

    def written(self) -> str:
        """Give the JSON that a thread keeps."""
        kept = {"version": self.version, **self.model_dump(mode="json", exclude_defaults=True)}
        return json.dumps(kept, ensure_ascii=True)


def recall(thread: Thread) -> Memory:
    """Read the memory of a thread; what another version wrote is begun anew, its cases kept."""
    try:
        memory = Memory.model_validate_json(thread.memory) if thread.memory else Memory()
    except ValidationError:
        memory = Memory()
    missing = [case for case in thread.cases if case not in memory.cases]
    if not missing:
        return memory
    first = max((note.car for note in memory.cases.values()), default=0) + 1
    found = {case: CaseNote(car=first + n) for n, case in enumerate(missing)}
    return memory.model_copy(update={"cases": {**memory.cases, **found}})
