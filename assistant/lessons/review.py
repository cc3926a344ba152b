"""After a lesson: the trainee's order beside the program's, and what each check told."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from assistant.diagnosis.labour import Bench, minutes_of
from assistant.diagnosis.records import NextCheck, Verdict
from assistant.lessons.events import AskHint, GiveUp, Hinted, Pick, RepairNamed, SwitchOff
from assistant.lessons.lesson import Lesson
from assistant.lessons.run import Run, Told, run_of
from assistant.practice.words import same_repair

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    from assistant.diagnosis.records import Belief
    from assistant.lessons.belief import Insight
    from assistant.lessons.plan import LessonPlan

__all__ = ["Danger", "Missed", "Review", "play_program", "review_of"]

_GROUP_ORDER: Final = ("supply", "remote", "load", "signal")
_NO_BITS: Final = 0.03
_NO_MOVE: Final = 0.02
_UNDER_SUSPICION: Final = 0.1
_AMPLIFIER: Final = "send_amplifier_in"
_MOST_CHECKS: Final = 40
_MOST_REPAIRS: Final = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Danger:
    """A caution that was not heeded: at which check, at which minute."""

    minute: float
    check: str
    caution: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Missed:
    """A group under suspicion that was not measured when a repair was named in vain.

    ``check`` is the name of a check that helps to clear it, ``minutes`` what it takes beginning
    with a car that stands switched off.
    """

    group: str
    check: str
    minutes: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Review:
    """Everything that is shown after a lesson. ``faults`` are those that were hidden at first.

    ``repairs`` are the repairs that end them, in words. ``told_nothing`` are the trainee's checks
    that neither promised to tell anything nor did.
    """

    plan: LessonPlan
    lesson: Lesson
    faults: tuple[str, ...]
    fault_words: tuple[str, ...]
    repairs: tuple[str, ...]
    trainee: Run
    program: Run
    told_nothing: tuple[Told, ...]
    missed: tuple[Missed, ...]
    dangers: tuple[Danger, ...]
    slips: tuple[Told, ...]

    @property
    def right(self) -> bool:
        """Whether the trainee ended the trouble."""
        return self.trainee.right

    @property
    def ratio(self) -> float | None:
        """The trainee's minutes over the program's; None where either is nothing."""
        if not self.trainee.minutes or not self.program.minutes:
            return None
        return self.trainee.minutes / self.program.minutes


def _share(lesson: Lesson, hidden: tuple[str, ...], belief: Belief) -> float:
    """Give the belief in a right repair, in [0, 1]: of several hidden faults the likeliest one.

    A repair is right for a fault when it mends the same part.
    """
    chances = dict(belief.repairs)
    right: Mapping[str, set[str]] = {
        fault: {known.repair for known in lesson.faults.values() if same_repair(known.id, fault)}
        for fault in hidden
    }
    return max(
        (
            min(1.0, sum(chances.get(repair, 0.0) for repair in repairs))
            for repairs in right.values()
        ),
        default=1.0,
    )


def _careful(lesson: Lesson, check: str) -> None:
    """Do a check as the cautions ask."""
    if lesson.danger_ahead(check):
        lesson.handle(SwitchOff())
    lesson.handle(Pick(check=check, go=True))


def play_program(
    plan: LessonPlan, *, worlds: int | None = None, progress: Callable[[str], None] | None = None
) -> Lesson:
    """Let the program look for the fault in the same car, by the same rules; give its lesson.

    It gives up after 40 checks or 6 repairs. ``progress`` is told what it does next.
    """
    lesson = Lesson(plan, worlds=worlds)
    for words in _moves(lesson):
        if progress is not None:
            progress(words)
    return lesson


def _moves(lesson: Lesson) -> Iterator[str]:
    checks = repairs = 0
    while not lesson.ended:
        hinted = lesson.handle(AskHint())
        if not isinstance(hinted, Hinted):
            return
        if checks >= _MOST_CHECKS or repairs >= _MOST_REPAIRS:
            lesson.handle(GiveUp())
        elif isinstance(hinted.step, NextCheck):
            yield f"the program checks: {hinted.step.check.name}"
            _careful(lesson, hinted.step.check.id)
            checks += 1
        elif isinstance(hinted.step, Verdict):
            yield f"the program repairs: {lesson.repairs[hinted.step.repair].words}"
            lesson.handle(RepairNamed(repair=hinted.step.repair))
            repairs += 1


def _missed(lesson: Lesson, insights: Sequence[Insight]) -> tuple[Missed, ...]:
    """Name the groups that had not been measured when a repair was named in vain or all given up.

    Those count that were under suspicion then; before the amplifier is blamed, all do.
    """
    measured: set[str] = set()
    done: set[str] = set()
    missed: set[str] = set()
    for turn, insight in zip(lesson.turns, insights, strict=True):
        entry = lesson.checks.by_id(turn.id)
        if turn.kind == "check" and entry is not None:
            measured |= set(entry.check.clears)
            done.add(turn.id)
        if turn.kind == "repair" and not turn.mended:
            blamed = turn.id == _AMPLIFIER
            suspected = _GROUP_ORDER if blamed else _suspected(lesson, insight.before)
            missed |= set(suspected) - measured
    if not lesson.right and insights:
        missed |= set(_suspected(lesson, insights[-1].after)) - measured
    found = []
    for group in _GROUP_ORDER:
        takes = {
            entry.check: minutes_of(entry.check, Bench())
            for entry in lesson.checks.entries
            if group in entry.check.clears and entry.check.id not in done
        }
        if group in missed and takes:
            best = min(takes, key=lambda check: (takes[check], check.id))
            found.append(Missed(group=group, check=best.name, minutes=round(takes[best], 2)))
    return tuple(found)


def _suspected(lesson: Lesson, belief: Belief) -> tuple[str, ...]:
    held: dict[str, float] = {}
    for name, chance in belief.faults:
        group = lesson.faults[name].group
        held[group] = held.get(group, 0.0) + chance
    return tuple(group for group in _GROUP_ORDER if held.get(group, 0.0) >= _UNDER_SUSPICION)


def _own(run: Run) -> Run:
    """Take the hints off the program's run: it asks itself."""
    told = tuple(replace(item, turn=replace(item.turn, hinted=False)) for item in run.told)
    return replace(run, hints=0, told=told)


def review_of(
    lesson: Lesson, *, worlds: int | None = None, progress: Callable[[str], None] | None = None
) -> Review:
    """Look back on a lesson that has ended; plays the program on the same car first.

    Takes a few seconds; ``progress`` is told what is being done. The same lesson gives the same
    review. ``worlds`` as for ``Lesson``.
    """

    def followed(count: int) -> None:
        if progress is not None:
            progress(f"what each check told: {count} of {len(lesson.turns)}")

    faults = lesson.plan.faults
    insights = lesson.beliefs.follow(lesson.turns, progress=followed)

    def share(hidden: tuple[str, ...], belief: Belief) -> float:
        return _share(lesson, hidden, belief)

    trainee = run_of(lesson, insights, share)
    other = play_program(lesson.plan, worlds=worlds, progress=progress)
    program = _own(run_of(other, other.beliefs.follow(other.turns), share))
    checks = [told for told in trainee.told if told.turn.kind == "check"]
    words = {fault: lesson.faults[fault].words for fault in faults if fault in lesson.faults}
    return Review(
        plan=lesson.plan,
        lesson=lesson,
        faults=faults,
        fault_words=tuple(words.get(fault, fault) for fault in faults),
        repairs=tuple(
            lesson.repairs[lesson.faults[fault].repair].words
            for fault in faults
            if fault in lesson.faults
        ),
        trainee=trainee,
        program=program,
        told_nothing=tuple(
            told
            for told in checks
            if told.bits < _NO_BITS and abs(told.after - told.before) < _NO_MOVE
        ),
        missed=_missed(lesson, insights),
        dangers=tuple(
            Danger(
                minute=told.turn.start,
                check=told.turn.name,
                caution=lesson.cautions[told.turn.danger].text,
            )
            for told in checks
            if told.turn.danger
        ),
        slips=tuple(told for told in checks if told.turn.slip),
    )
