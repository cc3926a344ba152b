"""The verdict: repairs in the order in which they should be tried, evidence, the reply."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from assistant.diagnosis.ranking import rank_repairs
from assistant.diagnosis.records import RepairOption, Verdict
from assistant.diagnosis.texts import evidence_line, reading_words, reply_words

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assistant.diagnosis.records import Belief, Step
    from assistant.knowledge.schema import Fault, Repair

__all__ = ["conclude"]

_SHOWN: Final = 0.01
_LINES: Final = 12


def _order(
    belief: Belief,
    repairs: Mapping[str, Repair],
    tried: frozenset[str],
    *,
    amplifier_cleared: bool,
) -> tuple[RepairOption, ...]:
    probabilities = dict(belief.repairs)
    ranked = rank_repairs(probabilities, repairs, tried=tried, amplifier_cleared=amplifier_cleared)
    return tuple(
        RepairOption(repair=name, probability=probabilities[name], minutes=repairs[name].minutes)
        for place, name in enumerate(ranked)
        if place == 0 or probabilities[name] >= _SHOWN
    )


def conclude(
    *,
    belief: Belief,
    faults: Mapping[str, Fault],
    repairs: Mapping[str, Repair],
    steps: tuple[Step, ...],
    fixed: str | None,
    tried: frozenset[str],
    amplifier_cleared: bool,
    ready: bool,
    surer: str,
) -> Verdict:
    """Put the verdict together; ``fixed`` is the repair that proved right, if one did.

    ``tried`` are repairs that did not help; ``amplifier_cleared`` says that all around the
    amplifier was cleared, without which it is not named first.
    """
    order = _order(belief, repairs, tried, amplifier_cleared=amplifier_cleared)
    if fixed is not None:
        order = (
            RepairOption(repair=fixed, probability=1.0, minutes=repairs[fixed].minutes),
            *(option for option in order if option.repair != fixed),
        )
    first = order[0]
    suspected = [
        (name, p) for name, p in belief.faults if p >= _SHOWN or faults[name].repair == first.repair
    ]
    if fixed is not None:
        known = [(n, p) for n, p in suspected if faults[n].repair == fixed]
        total = sum(p for _, p in known) or 1.0
        suspected = [(n, p / total) for n, p in known]
    else:
        # The faults of the repair that is named come first.
        suspected.sort(key=lambda item: (faults[item[0]].repair != first.repair, -item[1]))
    measured = tuple(
        f"{step.check.name} {reading_words(step.reading)}"
        for step in steps
        if step.kind == "reading" and step.check is not None and step.reading is not None
    )
    evidence = [evidence_line(step, first.repair) for step in steps]
    if fixed is not None:
        evidence.append(f"Confirmed by the repair: {repairs[fixed].words}")
    own = tuple(faults[name] for name, _ in suspected if faults[name].repair == first.repair)
    return Verdict(
        repair=first.repair,
        probability=first.probability,
        faults=tuple(suspected),
        order=order,
        evidence=tuple(line for line in evidence if line),
        reply=reply_words(repairs[first.repair], own, first.probability, measured[-_LINES:]),
        surer="" if fixed is not None else surer,
        holds=ready,
    )
