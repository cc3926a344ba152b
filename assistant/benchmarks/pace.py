"""Times what a person waits for: a new installation, and the next check after an answer.

Cars of ``assistant.practice`` are played with many worlds on one core. While the person measures,
the program works ahead (``Diagnosis.prepare``); that time is shown apart.
"""

from __future__ import annotations

import argparse
import sys
import time
from typing import TYPE_CHECKING

import numpy as np

from assistant.diagnosis.labour import Bench, minutes_of
from assistant.diagnosis.records import NextCheck
from assistant.diagnosis.session import Diagnosis
from assistant.errors import ProbetellError
from assistant.knowledge.schema import Complaint, Installation
from assistant.practice.scenario import draw_case, fleet
from assistant.readings.reading import reading_from_json

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.practice.scenario import Case

__all__ = ["main"]

_MOST_ANSWERS = 30


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m assistant.benchmarks pace", description=__doc__
    )
    parser.add_argument("--cars", type=int, default=20, help="how many cars (20)")
    parser.add_argument("--seed", type=int, default=3, help="seed of the fleet (3)")
    parser.add_argument("--worlds", type=int, default=100_000, help="worlds drawn first (100000)")
    return parser


def _play(case: Case, worlds: int, opened: list[float], next_check: list[float],
          ahead: list[float]) -> int:  # fmt: skip
    """Play one car and add the milliseconds of each wait; give the number of its checks."""
    installation = Installation.model_validate(case.given)
    complaint = Complaint.model_validate(case.complaint)
    began = time.perf_counter()
    diagnosis = Diagnosis.open(installation=installation, complaint=complaint, worlds=worlds)
    step = diagnosis.next_step()
    opened.append(1e3 * (time.perf_counter() - began))
    bench = Bench()
    for _ in range(_MOST_ANSWERS):
        if not isinstance(step, NextCheck):
            break
        began = time.perf_counter()
        diagnosis.prepare()
        ahead.append(1e3 * (time.perf_counter() - began))
        check = step.check
        do = check.do.model_dump(mode="json", exclude_none=True)
        reading = reading_from_json(case.car.answer(do, minutes=minutes_of(check, bench)))
        bench = Bench.after(check)
        began = time.perf_counter()
        diagnosis.observe(check.id, reading)
        step = diagnosis.next_step()
        next_check.append(1e3 * (time.perf_counter() - began))
    return len(diagnosis.checks)


def main(arguments: Sequence[str] | None = None) -> int:
    """Play the cars and print the table; 0."""
    given = _parser().parse_args(arguments)
    opened: list[float] = []
    next_check: list[float] = []
    ahead: list[float] = []
    checks: list[int] = []
    for seed, kind, faults in fleet(given.cars, given.seed):
        try:
            case = draw_case(seed, kind, faults)
        except ProbetellError:
            continue
        checks.append(_play(case, given.worlds, opened, next_check, ahead))
    print(f"{len(checks)} cars with {min(checks)} to {max(checks)} checks, {given.worlds} worlds")
    print(f"{'milliseconds':<44}{'n':>6}{'median':>9}{'p90':>9}{'p99':>9}{'most':>9}")
    for name, took in (
        ("new installation until its first check", opened),
        ("answer until the next check", next_check),
        ("worked ahead while the person measures", ahead),
    ):
        shown = "".join(f"{value:>9.1f}" for value in np.percentile(took, [50, 90, 99, 100]))
        print(f"{name:<44}{len(took):>6}{shown}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
