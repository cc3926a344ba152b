"""A lesson: a trainee looks for the hidden fault of a virtual car and chooses each check himself.

Pure: events come in, one action goes out; the plan holds the seed, and nothing reads a clock. An
event that cannot be done raises and changes nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from assistant.diagnosis.labour import Bench, minutes_of
from assistant.diagnosis.records import NextCheck, Verdict
from assistant.errors import GivenError, MisuseError
from assistant.knowledge import load
from assistant.knowledge.schema import Complaint, Installation
from assistant.lessons.belief import BeliefRun
from assistant.lessons.checks import GROUPS, CheckList, likeness
from assistant.lessons.events import (
    Action,
    Answered,
    AskHint,
    AskList,
    AskNotes,
    AskRepairs,
    Cautioned,
    Event,
    GivenUp,
    GiveUp,
    Go,
    Hinted,
    Listed,
    Noted,
    Pick,
    RepairDone,
    RepairNamed,
    RepairsListed,
    SwitchedOff,
    SwitchOff,
    Turn,
    Undo,
)
from assistant.practice.slips import answer_with_slips
from assistant.readings.reading import reading_from_json

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assistant.knowledge.schema import Caution, Check, Fault, Repair
    from assistant.lessons.checks import Entry
    from assistant.lessons.plan import LessonPlan

__all__ = ["Lesson", "danger_of"]

_OHMS: Final = ("fuse_out_before_ohms", "dead_circuit")
_UNPLUGGING: Final = ("disconnect:", "remove:")
_LIKELY: Final = 3
_REPAIR_FOUND: Final = 55.0
_WHOLE_NAME: Final = 10.0
_NEAR: Final = 6.0
_MOST_FOUND: Final = 8


def danger_of(check: Check, bench: Bench) -> str:
    """Name the caution that doing ``check`` from ``bench`` would go against, "" where none.

    What the model knows: whether everything was off before ohms, and before leads are unplugged.
    """
    if bench.vehicle == "off" and bench.audio == "off":
        return ""
    for caution in _OHMS:
        if caution in check.cautions:
            return caution
    unplugged = any(
        step.startswith(_UNPLUGGING) for step in frozenset(check.do.setup) - bench.setup
    )
    return "output_short" if unplugged and "output_short" in check.cautions else ""


def _slip_of(kind: str, raw: Mapping[str, Any], check: Check) -> str:
    """Name the mistake: ``state``, ``range``, ``sign``, ``digit`` or ``sense``, "" for none."""
    if kind in {"", "state"}:
        return kind
    if "value" not in raw:
        return "sense"
    if kind == "range" or (kind == "sign" and check.do.quantity == "dc_voltage"):
        return kind
    return "digit"


def _do(check: Check) -> dict[str, Any]:
    return check.do.model_dump(mode="json", exclude_none=True)


def _minutes(check: Check, bench: Bench) -> float:
    return round(minutes_of(check, bench), 2)


class Lesson:
    """One lesson in hand. ``worlds`` is how many the program's looking on begins with."""

    def __init__(self, plan: LessonPlan, *, worlds: int | None = None) -> None:
        case = plan.draw()
        knowledge = load()
        self.plan = plan
        self.given: Mapping[str, Any] = case.given
        self.installation = Installation.model_validate(case.given)
        self.complaint = Complaint.model_validate(case.complaint)
        self.checks = CheckList(knowledge.checks(self.installation))
        self.faults: Mapping[str, Fault] = knowledge.faults(self.installation)
        self.repairs: Mapping[str, Repair] = knowledge.repairs(self.installation)
        self.cautions: Mapping[str, Caution] = knowledge.cautions
        self.beliefs = BeliefRun(self.installation, self.complaint, seed=plan.seed, worlds=worlds)
        self._car = case.car
        self._said = self.complaint
        self._rng = np.random.default_rng([plan.case_seed, plan.seed, 7])
        self._bench = Bench()
        self._turns: list[Turn] = []
        self._read: set[str] = set()
        self._open: Entry | None = None
        self._hinted = ""
        self._hints = 0
        self._ended = False
        self._gave_up = False

    # -- what can be looked at ----------------------------------------------------------------

    @property
    def turns(self) -> tuple[Turn, ...]:
        """Everything that took time, in order."""
        return tuple(self._turns)

    @property
    def minutes(self) -> float:
        """Minutes spent so far."""
        return round(self._turns[-1].end, 2) if self._turns else 0.0

    @property
    def hints(self) -> int:
        """How often the program's next step was asked for."""
        return self._hints

    @property
    def open_check(self) -> Entry | None:
        """The check whose cautions wait to be read."""
        return self._open

    @property
    def ended(self) -> bool:
        """Whether the lesson is over."""
        return self._ended

    @property
    def right(self) -> bool:
        """Whether it ended with the trouble gone."""
        return self._ended and not self._gave_up

    def numbered_repairs(self) -> tuple[tuple[int, Repair], ...]:
        """Give every repair with its number, counted from 1."""
        return tuple(enumerate(self.repairs.values(), start=1))

    def danger_ahead(self, check: str) -> str:
        """Name the caution that doing ``check`` now would go against, "" where none."""
        return danger_of(self._entry(check).check, self._bench)

    def unread(self, check: str) -> tuple[Caution, ...]:
        """Give the cautions of ``check``, all of them, where any was not read yet; else none."""
        found = self._entry(check).check
        return () if self._read.issuperset(found.cautions) else self._texts(found)

    # -- what can be done ---------------------------------------------------------------------

    def handle(self, event: Event) -> Action:  # noqa: C901, PLR0911 - one arm an event
        """Take one event and give its answer; raise ``GivenError`` when it cannot be done.

        Raises ``MisuseError`` once the lesson has ended.
        """
        if self._ended and not isinstance(event, AskNotes | AskList | AskRepairs):
            raise MisuseError("The lesson is over.", next_step="Start another one.")
        match event:
            case Pick(check=check, go=go):
                return self._pick(self._entry(check), go=go)
            case Go():
                if self._open is None:
                    raise GivenError("No check waits.", next_step="Choose a check first.")
                return self._measure(self._open)
            case SwitchOff():
                return self._switch_off()
            case AskHint():
                return self._hint()
            case AskNotes():
                return Noted(turns=self.turns, total=self.minutes)
            case AskList(group=group, find=find):
                return self._list(group, find)
            case AskRepairs(find=find):
                return self._list_repairs(find)
            case RepairNamed(repair=repair):
                return self._repair(repair)
            case GiveUp():
                self._ended = self._gave_up = True
                return GivenUp(faults=tuple(self._car.faults), total=self.minutes)
            case Undo():
                raise GivenError(
                    "In a real car nothing can be taken back: the minutes are spent.",
                    next_step="If you doubt a reading, do its check again.",
                )

    def _entry(self, check: str) -> Entry:
        entry = self.checks.by_id(check)
        if entry is None:
            raise GivenError(
                f"There is no check {check[:60]!r} in this car.",
                next_step="See the list of checks and take a number or a name from it.",
            )
        return entry

    def _texts(self, check: Check) -> tuple[Caution, ...]:
        return tuple(self.cautions[name] for name in check.cautions)

    def _pick(self, entry: Entry, *, go: bool) -> Action:
        """Put the cautions that were not read yet first, as in a real case."""
        unread = self.unread(entry.check.id)
        if unread and not go:
            self._open = entry
            return Cautioned(
                entry=entry, minutes=_minutes(entry.check, self._bench), cautions=unread
            )
        return self._measure(entry)

    def _measure(self, entry: Entry) -> Answered:
        check = entry.check
        minutes = _minutes(check, self._bench)
        raw, slip = answer_with_slips(
            self._car, _do(check), self._rng, minutes=minutes, misread=self.plan.misread
        )
        danger = danger_of(check, self._bench)
        turn = Turn(
            kind="check",
            id=check.id,
            name=check.name,
            start=self.minutes,
            minutes=minutes,
            reading=reading_from_json(raw),
            slip=_slip_of(slip, raw, check),
            danger=danger,
            hinted=self._hinted == check.id,
        )
        self._turns.append(turn)
        self._bench = Bench.after(check)
        self._read.update(check.cautions)
        self._open, self._hinted = None, ""
        return Answered(
            entry=entry,
            turn=turn,
            cautions=self._texts(check),
            danger=self.cautions[danger] if danger else None,
            total=self.minutes,
        )

    def _switch_off(self) -> SwitchedOff:
        labour, bench = load().labour, self._bench
        minutes = labour.vehicle["off"] if bench.vehicle != "off" else 0.0
        minutes += labour.audio["off"] if bench.audio != "off" else 0.0
        if minutes:
            self._turns.append(
                Turn(
                    kind="off",
                    id="off",
                    name="everything switched off",
                    start=self.minutes,
                    minutes=minutes,
                )
            )
        self._bench = Bench(place=bench.place, setup=bench.setup)
        return SwitchedOff(minutes=minutes, total=self.minutes)

    def _hint(self) -> Hinted:
        step = self.beliefs.next_step(self._turns)
        likely = self.beliefs.belief(self._turns).faults[:_LIKELY]
        self._hints += 1
        if isinstance(step, Verdict):
            self._hinted = step.repair
            return Hinted(step=step, minutes=self.repairs[step.repair].minutes, likely=likely)
        self._hinted = step.check.id
        return Hinted(step=step, minutes=self._minutes(step), likely=likely)

    def _minutes(self, step: NextCheck) -> float:
        return _minutes(step.check, self._bench)

    def _list(self, group: str, find: str) -> Listed:
        if find:
            found = self.checks.find(find)
            if not found:
                raise GivenError(
                    f"No check is called anything like {find[:60]!r}.",
                    next_step=f"See one place at a time: list {', list '.join(GROUPS)}.",
                )
            return Listed(entries=found, asked=find)
        if not group:
            return Listed(entries=self.checks.entries)
        if group not in GROUPS:
            raise GivenError(
                f"There is no place {group[:40]!r}.", next_step=f"Take one of {', '.join(GROUPS)}."
            )
        return Listed(entries=self.checks.of_group(group))

    def find_repairs(self, words: str) -> tuple[tuple[int, Repair], ...]:
        """Give the repairs that ``words`` may mean with their numbers, the likest first.

        One where it is clear, none where nothing is like it.
        """
        scored: list[tuple[float, int, Repair]] = []
        for number, repair in self.numbered_repairs():
            forms = [repair.id, repair.words]
            forms += [fault.words for fault in self.faults.values() if fault.repair == repair.id]
            score, whole = likeness(words, forms)
            if score >= _REPAIR_FOUND:
                scored.append((score + _WHOLE_NAME * whole, number, repair))
        if not scored:
            return ()
        # A long sentence loses points for every word that was not said: only the order counts.
        scored.sort(key=lambda item: (-item[0], item[1]))
        near = [item for item in scored if item[0] >= scored[0][0] - _NEAR][:_MOST_FOUND]
        return tuple((number, repair) for _, number, repair in near)

    def _list_repairs(self, find: str) -> RepairsListed:
        if not find:
            return RepairsListed(repairs=self.numbered_repairs())
        found = self.find_repairs(find)
        if not found:
            raise GivenError(
                f"No repair is called anything like {find[:60]!r}.",
                next_step="See all of them: repairs.",
            )
        return RepairsListed(repairs=found, asked=find)

    def _repair(self, name: str) -> RepairDone:
        if name not in self.repairs:
            raise GivenError(
                f"There is no repair {name[:60]!r} for this car.",
                next_step="See all of them: repairs.",
            )
        repair = self.repairs[name]
        hidden = self._car.faults
        for fault in self.faults.values():
            if fault.repair == name:
                self._car.mend(fault.id)
        mended = tuple(fault for fault in hidden if fault not in self._car.faults)
        ended = bool(mended) and (not self._car.faults or self._car.works())
        said = None if ended else self._said_now()
        turn = Turn(
            kind="repair",
            id=name,
            name=repair.words,
            start=self.minutes,
            minutes=0.0 if ended else repair.minutes,
            hinted=self._hinted == name,
            mended=mended,
            complaint=said if mended and said != self._said else None,
        )
        self._said = said or self._said
        self._turns.append(turn)
        # A repair is done with everything off, and what was unplugged is put back.
        self._bench = Bench(place=self._bench.place)
        self._open, self._hinted = None, ""
        self._ended = ended
        return RepairDone(
            repair=repair,
            turn=turn,
            ended=ended,
            complaint=said,
            total=self.minutes,
        )

    def _said_now(self) -> Complaint:
        said = self._car.complaint()
        return self._said if said is None else Complaint.model_validate(said)
