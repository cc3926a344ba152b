"""One diagnosis: what was told, the belief that follows, the next check or the verdict."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from assistant.diagnosis.choice import (
    Choice,
    barred_checks,
    choose,
    information,
    surer_words,
    uncleared_groups,
)
from assistant.diagnosis.conclusion import conclude
from assistant.diagnosis.evidence import (
    ReadingEvidence,
    answered,
    tried,
)
from assistant.diagnosis.labour import Bench, minutes_of
from assistant.diagnosis.likelihood import SLIP, check_reading
from assistant.diagnosis.outlook import belief_of, expectation_of, predictive
from assistant.diagnosis.records import (
    Belief,
    Contradiction,
    NextCheck,
    NextStep,
    Step,
    Verdict,
)
from assistant.diagnosis.slips import likely_slip, slip_chances
from assistant.diagnosis.told import State, Told
from assistant.diagnosis.weighing import Weighing
from assistant.diagnosis.worlds import WorldModel
from assistant.errors import GivenError
from assistant.knowledge import load

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assistant.diagnosis.evidence import Evidence
    from assistant.diagnosis.population import Population
    from assistant.knowledge.schema import Check, Complaint, Fault, Installation, Repair
    from assistant.readings.reading import Reading

__all__ = ["Diagnosis"]

FIRST_WORLDS: Final = 40_000
_STATES_KEPT: Final = 2


class Diagnosis:
    """A case's reasoning. Deterministic for a seed; a call that raises changes nothing.

    ``worlds`` is how many are drawn first; later renewals hold fewer, near the evidence.
    """

    def __init__(
        self, *, installation: Installation, complaint: Complaint, seed: int, worlds: int
    ) -> None:
        knowledge = load()
        self.installation = installation
        self.complaint = complaint
        self.checks: Mapping[str, Check] = knowledge.checks(installation)
        self.faults: Mapping[str, Fault] = knowledge.faults(installation)
        self.repairs: Mapping[str, Repair] = knowledge.repairs(installation)
        self._seed = seed
        self._weighing = Weighing(
            model=WorldModel(installation),
            complaint=complaint,
            checks=self.checks,
            seed=seed,
            worlds=worlds,
        )
        self._told: list[Told] = []
        self._steps: list[Step] = []
        self._forget_all()

    @classmethod
    def open(
        cls,
        *,
        installation: Installation,
        complaint: Complaint,
        seed: int = 0,
        worlds: int | None = None,
    ) -> Diagnosis:
        """Open a case; raise ``GivenError`` when the installation cannot be worked with."""
        return cls(
            installation=installation,
            complaint=complaint,
            seed=seed,
            worlds=FIRST_WORLDS if worlds is None else worlds,
        )

    # -- state --------------------------------------------------------------------------------

    def _rng(self, *purpose: int) -> np.random.Generator:
        return np.random.default_rng([self._seed, *purpose])

    def _reset(self) -> None:
        """Go back to a case in which nothing was told."""
        self._told, self._steps = [], []
        self._weighing.clear()
        self._forget_all()

    def _forget_all(self) -> None:
        self._bench = Bench()
        self._cannot: set[str] = set()
        self._fixed: str | None = None
        self._kept: list[State] = []
        self._forget()

    def _forget(self) -> None:
        self._next: NextStep | None = None
        self._choice: Choice | None = None
        self._believed: Belief | None = None

    @property
    def steps(self) -> tuple[Step, ...]:
        """Everything that was told, in order, with the belief before and after."""
        return tuple(self._steps)

    @property
    def population(self) -> Population:
        """The weighted worlds, for plots and benchmarks."""
        return self._weighing.population

    @property
    def evidence(self) -> Sequence[Evidence]:
        """What the worlds are weighed by, in the order in which it was told."""
        return self._weighing.evidence

    def prepare(self) -> None:
        """Do ahead what the next answer will need: the person measures meanwhile.

        Changes no answer, only how soon the next one comes.
        """
        step = self.next_step()
        told = [item.check for item in self.evidence if isinstance(item, ReadingEvidence)]
        self._weighing.prepare([*told, step.check.id] if isinstance(step, NextCheck) else told)

    def rest(self) -> None:
        """Let go of what is computed again when it is wanted, until the case goes on."""
        self._weighing.rest()
        for state in self._kept:
            state.weighed.population.rest()

    # -- telling ------------------------------------------------------------------------------

    def observe(self, check: str, reading: Reading) -> None:
        """Weigh the worlds by ``reading``; raise ``GivenError`` on a wrong kind or unit."""
        known = self._known(check)
        check_reading(known.do.quantity, reading)
        self._tell(Told(kind="reading", check=check, reading=reading))

    def cannot(self, check: str, why: str) -> None:
        """Leave ``check`` out from now on."""
        self._known(check)
        self._tell(Told(kind="cannot", check=check, why=why))

    def repaired(self, repair: str, *, fixed: bool) -> None:
        """Take into account that ``repair`` was done and whether the trouble went with it."""
        if repair not in self.repairs:
            raise GivenError(
                f"There is no repair {repair!r} for this installation.",
                next_step=f"Use one of {', '.join(sorted(self.repairs))}.",
            )
        self._tell(Told(kind="repaired", repair=repair, fixed=fixed))

    def undo(self) -> Step:
        """Take back the last thing told by going through all the others again."""
        if not self._told:
            raise GivenError(
                "There is nothing to take back.", next_step="Answer the open check first."
            )
        gone = self._steps[-1]
        if self._kept:
            self._restore(self._kept.pop())
            return gone
        if gone.kind == "cannot":
            # What could not be done has moved no world.
            self._told, self._steps = self._told[:-1], self._steps[:-1]
            self._cannot = {item.check for item in self._told if item.kind == "cannot"}
            self._forget()
            return gone
        told = self._told[:-1]
        self._reset()
        for item in told:
            self._tell(item)
        return gone

    def _keep(self) -> None:
        """Keep the present state for ``undo``; older ones are rebuilt when they are wanted."""
        state = State(
            weighed=self._weighing.keep(),
            bench=self._bench,
            cannot=frozenset(self._cannot),
            fixed=self._fixed,
            told=tuple(self._told),
            steps=tuple(self._steps),
            next=self._next,
        )
        self._kept = [*self._kept[1 - _STATES_KEPT :], state]

    def _restore(self, state: State) -> None:
        self._weighing.restore(state.weighed)
        self._bench = state.bench
        self._cannot = set(state.cannot)
        self._fixed = state.fixed
        self._told = list(state.told)
        self._steps = list(state.steps)
        self._forget()
        self._next = state.next

    def _known(self, check: str) -> Check:
        if check not in self.checks:
            raise GivenError(
                f"There is no check {check!r} for this installation.",
                next_step="Use the id of a check that was offered.",
            )
        return self.checks[check]

    def _tell(self, item: Told) -> None:
        before, number = self.belief(), len(self._told) + 1
        self._keep()
        if item.kind == "reading" and self._fixed is not None:
            # More is told although a repair had helped: the trouble is back.
            self._weighing.not_helped(self._fixed, number)
            self._fixed = None
        expected, minutes, note = None, 0.0, item.why
        if item.kind == "reading" and item.reading is not None:
            check = self.checks[item.check]
            self._weighing.settle()
            expected = expectation_of(self.population, item.check, self._rng(number, 3))
            minutes = minutes_of(check, self._bench)
            self._weighing.reading(item.check, item.reading, number)
            self._bench = Bench.after(check)
        elif item.kind == "cannot":
            self._cannot.add(item.check)
        elif item.fixed:
            self._fixed = item.repair
            note = "it helped"
        else:
            self._fixed = None
            note = "it did not help"
            self._weighing.not_helped(item.repair, number)
        self._told.append(item)
        self._forget()
        self._steps.append(
            Step(
                kind=item.kind,
                check=self.checks.get(item.check),
                reading=item.reading,
                repair=item.repair or None,
                note=note,
                minutes=minutes,
                expected=expected,
                before=before,
                after=self.belief(),
            )
        )

    # -- asking -------------------------------------------------------------------------------

    def belief(self) -> Belief:
        """Give the probability that each repair is needed and each fault present."""
        if self._believed is None:
            self._believed = belief_of(self.population)
        return self._believed

    def weigh(self, check: str, readings: Sequence[Reading]) -> Sequence[float]:
        """Give the predictive density of each candidate under the present belief."""
        quantity = self._known(check).do.quantity
        return [predictive(self.population, check, quantity, reading) for reading in readings]

    def would_change(self, check: str, first: Reading, second: Reading) -> bool:
        """Tell whether two candidate readings would lead to different next steps."""
        return self._step_after(check, first) != self._step_after(check, second)

    def _step_after(self, check: str, reading: Reading) -> str:
        quantity = self._known(check).do.quantity
        check_reading(quantity, reading)
        few = self.population.thinned()
        imagined = replace(few, log_weights=few.log_weights + few.weigh(check, reading, SLIP))
        choice = self._choose(
            imagined, belief_of(imagined), Bench.after(self.checks[check]), done={check}
        )
        return choice.check or f"verdict:{choice.repair}"

    def describe(self, check: str) -> NextCheck:
        """Give any check, open or not, as the next step would show it."""
        return self._offer(self._known(check), self._bits(check))

    def _bits(self, check: str) -> float:
        return information(self.population, [check], self._rng(len(self._told), 2))[check]

    def _offer(
        self, check: Check, bits: float, *, recheck: bool = False, notes: tuple[str, ...] = ()
    ) -> NextCheck:
        return NextCheck(
            check=check,
            minutes=round(minutes_of(check, self._bench), 2),
            bits=round(bits, 4),
            expect=expectation_of(self.population, check.id, self._rng(len(self._told), 3)),
            cautions=check.cautions,
            recheck=recheck,
            notes=notes,
        )

    def next_step(self) -> NextStep:
        """Give the check that tells most per minute, or the verdict when it is time."""
        if self._next is None:
            self._next = self._find_next()
        return self._next

    def _find_next(self) -> NextStep:
        if self._fixed is not None:
            return self.verdict()
        contradiction = self.contradiction()
        if contradiction is not None:
            check = self.checks[contradiction.check]
            bits = self._bits(check.id)
            return self._offer(check, bits, recheck=True, notes=(contradiction.words,))
        choice = self._chosen()
        if choice.check is None:
            return self.verdict()
        notes: tuple[str, ...] = ()
        if not self._told and (unknown := self.installation.unknown_keys()):
            notes = ("I do not know what this means and leave it out: " + ", ".join(unknown) + ".",)
        return self._offer(self.checks[choice.check], choice.bits, notes=notes)

    def _chosen(self) -> Choice:
        if self._choice is None:
            self._choice = self._choose(self.population, self.belief(), self._bench, done=set())
        return self._choice

    def _choose(
        self, population: Population, belief: Belief, bench: Bench, *, done: set[str]
    ) -> Choice:
        return choose(
            population,
            repairs=self.repairs,
            bench=bench,
            answered=answered(self.evidence) | done,
            lately=len(answered(self._weighing.since_repair) | done),
            barred=barred_checks(self._cannot, self.checks),
            tried=tried(self.evidence),
            belief=belief,
            rng=self._rng(len(self._told), 2),
        )

    def contradiction(self) -> Contradiction | None:
        """Name the answer most likely to be a slip, where one is more likely so than not."""
        chances = self.slip_chances()
        settled = self._weighing.rechecked | self._cannot
        return likely_slip(
            {check: p for check, p in chances.items() if check not in settled}, self.checks
        )

    def slip_chances(self) -> dict[str, float]:
        """Give the posterior chance that each answer since the last repair was a slip."""
        return slip_chances(self.population.thinned(), self._weighing.since_repair)

    def verdict(self) -> Verdict:
        """Give the verdict as far as it goes."""
        choice = self._chosen() if self._fixed is None else None
        return conclude(
            belief=self.belief(),
            faults=self.faults,
            repairs=self.repairs,
            steps=self.steps,
            fixed=self._fixed,
            tried=tried(self.evidence),
            amplifier_cleared=not uncleared_groups(self.population, answered(self.evidence)),
            ready=choice is None or choice.check is None,
            surer=surer_words(choice, self.checks),
        )
