"""Orders in which the checks of a case may be done: the program's own, and others beside it.

Each order drives the same cars with the same belief; they differ in which check comes next and
when the measuring ends. A repair that did not help is followed by the next one, as in a shop.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Final, Protocol

import numpy as np

from assistant.benchmarks.beyond import numbers_beyond
from assistant.diagnosis.choice import information
from assistant.diagnosis.labour import Bench, minutes_of
from assistant.diagnosis.records import Verdict
from assistant.diagnosis.session import Diagnosis
from assistant.knowledge.schema import Complaint, Installation
from assistant.practice.slips import answer_with_slips
from assistant.practice.words import same_repair
from assistant.readings.reading import reading_from_json

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.practice.scenario import Case

__all__ = ["FIXED_ORDER", "ORDERS", "Order", "Played", "play"]

FIXED_ORDER: Final = (
    "amp_supply",
    "amp_supply_running",
    "remote_at_amp",
    "protect_light_speakers_off",
    "load_ohms.*",
    "wire_to_body.*",
    "protect_light_without.*",
    "protect_light_signal_off",
    "signal_short.*",
)
"""Supply with the key on and with the engine running, remote, speakers off, coils, wires to the
body, one speaker at a time, signal leads; what is left is the amplifier (common practice, no
source)."""
_SURE: Final = 0.9
"""From this probability on the other orders stop measuring."""
_MOST_CHECKS: Final = 40
_MOST_REPAIRS: Final = 5


class Order(Protocol):
    """Names the check to do next, or None when the measuring ends."""

    def __call__(self, diagnosis: Diagnosis, done: Sequence[str], /) -> str | None:
        """Give the id of the next check; ``done`` are those of this case since the last repair."""
        ...


def _own(diagnosis: Diagnosis, _done: Sequence[str]) -> str | None:
    step = diagnosis.next_step()
    return None if isinstance(step, Verdict) else step.check.id


def _sure(diagnosis: Diagnosis) -> bool:
    return diagnosis.belief().repairs[0][1] >= _SURE


def _left(diagnosis: Diagnosis, done: Sequence[str]) -> list[str]:
    return [check for check in diagnosis.checks if check not in done]


def _fixed(diagnosis: Diagnosis, done: Sequence[str]) -> str | None:
    if _sure(diagnosis):
        return None
    for name in FIXED_ORDER:
        for check in diagnosis.checks:
            if check not in done and (
                check == name or (name.endswith("*") and check.startswith(name[:-1]))
            ):
                return check
    return None


def _random(diagnosis: Diagnosis, done: Sequence[str]) -> str | None:
    left = _left(diagnosis, done)
    if _sure(diagnosis) or not left:
        return None
    rng = np.random.default_rng([len(diagnosis.steps), len(left)])
    return left[int(rng.integers(len(left)))]


def _most_told(diagnosis: Diagnosis, done: Sequence[str]) -> str | None:
    left = _left(diagnosis, done)
    if _sure(diagnosis) or not left:
        return None
    rng = np.random.default_rng(len(diagnosis.steps))
    bits = information(diagnosis.population, left, rng)
    return max(left, key=lambda check: (bits[check], check))


def _no_checks(_diagnosis: Diagnosis, _done: Sequence[str]) -> str | None:
    return None


ORDERS: Final[dict[str, Order]] = {
    "own": _own,
    "fixed": _fixed,
    "random": _random,
    "information": _most_told,
    "repairs": _no_checks,
}
"""``own`` is the program's; ``fixed`` the trade's; ``random`` any check; ``information`` the most
telling one whatever it costs; ``repairs`` measures nothing and goes by probability over cost."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Played:
    """How a case went under one order.

    ``minutes`` are those of measuring up to the first verdict, ``all_minutes`` of all measuring
    and of the repairs done in vain until the right one was named. ``stated`` is the probability
    of the first verdict, ``right`` whether it mends a hidden fault, ``exact`` whether it names
    that very fault and not one that the same work mends, ``ended`` that all were mended;
    ``beyond`` counts the car's numbers outside the program's spreads, -1 uncounted.
    """

    order: str
    sort: str
    checks: int
    minutes: float
    all_minutes: float
    stated: float
    right: bool
    exact: bool
    within_two: bool
    ended: bool
    amp_blamed: bool
    beyond: int = -1

    def as_json(self) -> dict[str, Any]:
        """Give it for the record."""
        return asdict(self)


def play(case: Case, name: str, *, sort: str, misread: float = 0.0, seed: int = 0) -> Played:
    """Drive ``case`` under the order ``name`` until all faults are mended, or five repairs done."""
    beyond = numbers_beyond(case)
    left = list(case.faults)
    rng = np.random.default_rng([case.seed, seed, 7])
    diagnosis = Diagnosis.open(
        installation=Installation.model_validate(case.given),
        complaint=Complaint.model_validate(case.complaint),
        seed=seed,
    )
    measured = wasted = first_minutes = 0.0
    checks = first_checks = 0
    bench = Bench()
    verdicts: list[tuple[bool, float, str]] = []
    exact = False
    while True:
        done: list[str] = []
        while checks < _MOST_CHECKS and (check := ORDERS[name](diagnosis, done)) is not None:
            asked = diagnosis.checks[check]
            minutes, bench = round(minutes_of(asked, bench), 2), Bench.after(asked)
            do = asked.do.model_dump(mode="json", exclude_none=True)
            reading, _ = answer_with_slips(case.car, do, rng, minutes=minutes, misread=misread)
            diagnosis.observe(check, reading_from_json(reading))
            done.append(check)
            measured, checks = measured + minutes, checks + 1
        verdict = diagnosis.verdict()
        named = verdict.faults[0][0]
        right = any(same_repair(named, fault) for fault in left)
        if not verdicts:
            first_checks, first_minutes, exact = checks, measured, named in left
        verdicts.append((right, verdict.probability, named))
        if right:
            left = [fault for fault in left if not same_repair(named, fault)]
            case.car.mend(named)
        else:
            wasted += diagnosis.repairs[verdict.repair].minutes
        if not left or len(verdicts) == _MOST_REPAIRS:
            break
        diagnosis.repaired(verdict.repair, fixed=False)
    return Played(
        order=name,
        sort=sort,
        checks=first_checks,
        minutes=first_minutes,
        all_minutes=measured + wasted,
        stated=verdicts[0][1],
        right=verdicts[0][0],
        exact=exact,
        within_two=any(good for good, _, _ in verdicts[:2]),
        ended=not left,
        amp_blamed=verdicts[0][2] == "amp.internal" and "amp.internal" not in case.faults,
        beyond=beyond,
    )
