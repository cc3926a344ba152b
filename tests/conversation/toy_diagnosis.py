"""A small, honest diagnosis: four worlds, two faults, five checks, exact arithmetic.

It keeps the protocol of ``assistant.diagnosis.records.Diagnosing`` without the electrical model,
so that the dialogue is tested by itself.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING

from assistant.conversation.lexicon import Lexicon
from assistant.diagnosis.records import (
    Belief,
    Expectation,
    NextCheck,
    NextStep,
    RepairOption,
    Step,
    Verdict,
)
from assistant.errors import GivenError
from assistant.knowledge.schema import Caution, Check, Complaint, Do, Installation, Repair
from assistant.readings.reading import Beep, OpenLine, Quantity, Reading, Seen, Unstable, Value

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

GROUND, LEAK = "supply.ground_resistive", "speaker.front_left.wire_to_chassis"
REPAIR_OF = {GROUND: "remake_ground", LEAK: "mend_speaker_wire.front_left"}
WORLDS = (frozenset(), frozenset({GROUND}), frozenset({LEAK}), frozenset({GROUND, LEAK}))
PRIOR = (0.05, 0.5, 0.4, 0.05)


def _check(cid: str, quantity: Quantity, red: str, black: str | None, **more: object) -> Check:
    grammar = {"dc_voltage": "volts", "resistance": "ohms", "light": "light"}[quantity]
    return Check(
        id=cid,
        do=Do(
            quantity=quantity,
            red=red,
            black=black,
            vehicle=more.get("vehicle", "off"),
            audio=more.get("audio", "off"),
        ),
        minutes=more.get("minutes", 2.0),
        place="amplifier",
        cautions=more.get("cautions", ()),
        grammar=grammar,
        spoken=f"Spoken prompt of {cid}.",
        typed=f"Typed prompt of {cid}.",
        name=cid.replace("_", " "),
    )


CHECKS: Mapping[str, Check] = {
    c.id: c
    for c in (
        _check(
            "ground_drop", "dc_voltage", "amp.ground", "battery.negative",
            vehicle="accessory", audio="loud", cautions=("battery_short",),
        ),
        _check(
            "ground_drop_running", "dc_voltage", "amp.ground", "battery.negative",
            vehicle="running", audio="loud", minutes=4.0, cautions=("engine_running",),
        ),
        _check(
            "leak_to_chassis", "resistance", "speaker.front_left.positive", "chassis",
            minutes=3.0, cautions=("dead_circuit",),
        ),
        _check("protect_light", "light", "amp.protect_light", None, vehicle="accessory"),
        _check("remote_volts", "dc_voltage", "amp.remote", "amp.ground", vehicle="accessory"),
    )
}  # fmt: skip


def _normal(value: float, mean: float, sigma: float) -> float:
    return math.exp(-0.5 * ((value - mean) / sigma) ** 2) / (sigma * math.sqrt(2 * math.pi))


def likelihood(check: str, reading: Reading, world: frozenset[str]) -> float:
    """Density of ``reading`` in ``world``, with a small chance of a slip."""
    slip = 1e-4
    if check in {"ground_drop", "ground_drop_running"} and isinstance(reading, Value):
        return slip + _normal(reading.si, 1.2 if GROUND in world else 0.05, 0.15)
    if check == "remote_volts" and isinstance(reading, Value):
        return slip + _normal(reading.si, 12.2, 0.4)
    if check == "leak_to_chassis":
        if LEAK in world:
            return slip + (_normal(reading.si, 0.6, 0.3) if isinstance(reading, Value) else 0.0)
        return slip + (0.98 if isinstance(reading, OpenLine) else 0.0)
    if check == "protect_light" and isinstance(reading, Seen):
        sick = GROUND in world or LEAK in world
        table = {"off": 0.02, "lit": 0.9, "blinking": 0.08} if sick else {"off": 0.98}
        return slip + table.get(reading.state, 0.01)
    return slip


class ToyDiagnosis:
    """Follows ``Diagnosing``; every answer is kept and the belief is computed anew."""

    def __init__(self, installation: Installation, complaint: Complaint) -> None:
        self._installation = installation
        self._complaint = complaint
        self._steps: list[Step] = []
        self._repairs: list[bool] = []

    @property
    def installation(self) -> Installation:
        return self._installation

    @property
    def complaint(self) -> Complaint:
        return self._complaint

    @property
    def checks(self) -> Mapping[str, Check]:
        return CHECKS

    @property
    def steps(self) -> tuple[Step, ...]:
        return tuple(self._steps)

    def _weights(self) -> list[tuple[frozenset[str], frozenset[str], float]]:
        """Each world at the start, the same world now, and its weight."""
        rows = []
        outcomes = iter(self._repairs)
        for world, prior in zip(WORLDS, PRIOR, strict=True):
            weight, now = prior, world
            outcomes = iter(self._repairs)
            for step in self._steps:
                if step.kind == "reading" and step.check and step.reading:
                    weight *= likelihood(step.check.id, step.reading, now)
                elif step.kind == "repaired":
                    now = frozenset(f for f in now if REPAIR_OF[f] != step.repair)
                    sick = bool(now)
                    weight *= 1e-3 if next(outcomes) == sick else 1.0
            rows.append((world, now, weight))
        total = sum(w for _, _, w in rows)
        return [(world, now, w / total) for world, now, w in rows]

    def belief(self) -> Belief:
        rows = self._weights()
        faults = {f: sum(w for _, now, w in rows if f in now) for f in (GROUND, LEAK)}
        ordered = sorted(faults.items(), key=lambda item: -item[1])
        return Belief(faults=tuple(ordered), repairs=tuple((REPAIR_OF[f], p) for f, p in ordered))

    def _open(self) -> list[str]:
        told = {s.check.id for s in self._steps if s.check}
        last = max((i for i, s in enumerate(self._steps) if s.kind == "repaired"), default=-1)
        recent = {s.check.id for s in self._steps[last + 1 :] if s.check}
        left_out = {s.check.id for s in self._steps if s.check and s.kind == "cannot"}
        return [c for c in CHECKS if c not in (recent | left_out if last >= 0 else told)]

    def next_step(self) -> NextStep:
        best = self.belief().faults[0][1]
        left = [c for c in self._open() if c != "remote_volts"]
        if best > 0.95 or not left or best < 0.02:
            return self.verdict()
        return self.describe(min(left, key=lambda c: CHECKS[c].minutes))

    def describe(self, check: str) -> NextCheck:
        self._require(check)
        return NextCheck(
            check=CHECKS[check],
            minutes=CHECKS[check].minutes,
            bits=0.5,
            expect=self._expect(check),
            cautions=CHECKS[check].cautions,
        )

    def _expect(self, check: str) -> Expectation:
        if check == "protect_light":
            p = self.weigh(check, [Seen(state="lit")])[0]
            states = (("lit", p), ("off", 1 - p))
            return Expectation(low=None, high=None, unit=None, states=states)
        if check == "leak_to_chassis":
            return Expectation(low=0.1, high=1.2, unit="ohm", states=(("open_line", 0.5),))
        if check == "remote_volts":
            return Expectation(low=11.5, high=12.9, unit="V")
        return Expectation(low=0.0, high=1.5, unit="V")

    def _require(self, check: str) -> None:
        if check not in CHECKS:
            raise GivenError(f"There is no check {check!r}.", next_step="Use a known check.")

    def observe(self, check: str, reading: Reading) -> None:
        self._require(check)
        unit = {"volts": "V", "ohms": "ohm", "light": None}[CHECKS[check].grammar]
        fits = {
            "V": isinstance(reading, Value | Unstable) and _unit(reading) in {"V", "mV", None},
            "ohm": isinstance(reading, OpenLine)
            or (isinstance(reading, Value | Unstable) and "ohm" in (_unit(reading) or "ohm")),
            None: isinstance(reading, Seen) and reading.state in {"off", "lit", "blinking"},
        }[unit]
        if not fits or isinstance(reading, Beep):
            raise GivenError(
                f"The check {check!r} does not take that.", next_step="Give what it asks for."
            )
        self._add("reading", check, reading, None, "")

    def cannot(self, check: str, why: str) -> None:
        self._require(check)
        self._add("cannot", check, None, None, why)

    def repaired(self, repair: str, *, fixed: bool) -> None:
        if repair not in REPAIR_OF.values():
            raise GivenError(f"There is no repair {repair!r}.", next_step="Use a known repair.")
        before = self.belief()
        self._repairs.append(fixed)
        step = Step(
            kind="repaired", check=None, reading=None, repair=repair, note="", minutes=0.0,
            expected=None, before=before, after=before,
        )  # fmt: skip
        self._steps.append(step)

    def _add(
        self, kind: str, check: str, reading: Reading | None, repair: str | None, note: str
    ) -> None:
        before = self.belief()
        step = Step(
            kind=kind, check=CHECKS[check], reading=reading, repair=repair, note=note,
            minutes=CHECKS[check].minutes, expected=self._expect(check), before=before,
            after=before,
        )  # fmt: skip
        self._steps.append(step)

    def undo(self) -> Step:
        if not self._steps:
            raise GivenError("There is nothing to undo.", next_step="Answer first.")
        step = self._steps.pop()
        if step.kind == "repaired":
            self._repairs.pop()
        return step

    def weigh(self, check: str, readings: Sequence[Reading]) -> Sequence[float]:
        self._require(check)
        rows = self._weights()
        return [sum(w * likelihood(check, r, now) for _, now, w in rows) for r in readings]

    def would_change(self, check: str, first: Reading, second: Reading) -> bool:
        steps = []
        for reading in (first, second):
            self.observe(check, reading)
            step = self.next_step()
            steps.append(step.check.id if isinstance(step, NextCheck) else step.repair)
            self.undo()
        return any(a != b for a, b in pairwise(steps))

    def prepare(self) -> None:
        pass

    def verdict(self) -> Verdict:
        belief = self.belief()
        repair, probability = belief.repairs[0]
        last = self._steps[-1] if self._steps else None
        if last is not None and last.repair is not None and self._repairs[-1]:
            repair, probability = last.repair, 1.0
        return Verdict(
            repair=repair,
            probability=probability,
            faults=belief.faults,
            order=tuple(
                RepairOption(repair=r, probability=p, minutes=15.0) for r, p in belief.repairs
            ),
            evidence=tuple(f"{s.kind} told" for s in self._steps),
            reply="A reply.",
            holds=probability > 0.95,
        )


def _unit(reading: Value | Unstable) -> str | None:
    return reading.unit


def sound(_diagnosis: object, check: str) -> Expectation:
    """What each check gives in the world without a fault."""
    if check == "protect_light":
        return Expectation(low=None, high=None, unit=None, states=(("off", 0.98), ("lit", 0.02)))
    if check == "leak_to_chassis":
        return Expectation(low=None, high=None, unit=None, states=(("open_line", 0.98),))
    if check == "remote_volts":
        return Expectation(low=11.5, high=12.9, unit="V")
    return Expectation(low=0.0, high=0.3, unit="V")


LEXICON = Lexicon(
    cautions={
        cid: Caution(id=cid, text=f"Text of {cid}.", short=f"short {cid}", source="toy")
        for cid in ("procedures_first", "battery_short", "engine_running", "dead_circuit")
    },
    repairs={
        rid: Repair(
            id=rid, minutes=15, parts=False, words=f"Do {rid}.", customer=f"Customer {rid}."
        )
        for rid in REPAIR_OF.values()
    },
    faults={GROUND: "the ground is poor", LEAK: "the front left wire is chafed"},
)
