"""Drives cars from outside the program and counts how often its verdict is right.

The cars come from ``assistant.practice``, which shares no code with the program's own electrics,
knowledge or diagnosis, and draws its numbers wider.
"""

from __future__ import annotations

import argparse
import contextlib
import itertools
import json
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

from assistant.benchmarks.calibration import calibration_bins, expected_error
from assistant.casebook.memory import MemoryCasebook
from assistant.commands.workplace import make_case
from assistant.conversation.machine import MachineInterface
from assistant.errors import ProbetellError
from assistant.practice.drive import Outcome, drive
from assistant.practice.scenario import draw_case, fleet, must_show, sort_of
from assistant.practice.talkers import LineTalker, ProcessTalker, Talker

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["main"]


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m assistant.benchmarks outside", description=__doc__
    )
    parser.add_argument("--cars", type=int, default=60, help="how many cases (60)")
    parser.add_argument("--seed", type=int, default=1, help="seed of the fleet and the program (1)")
    parser.add_argument("--only", default=None, help="only faults whose id contains this")
    parser.add_argument(
        "--must-show",
        action="store_true",
        help="the named cases in place of a fleet: six faults in a delivery van and an old coupe",
    )
    parser.add_argument("--details", type=Path, default=None, help="write what failed, as JSONL")
    parser.add_argument("--all", action="store_true", help="write every case to --details")
    parser.add_argument("--misread", type=float, default=0.0, help="chance of a slip per check (0)")
    parser.add_argument("--cannot", type=float, default=0.0, help="chance of 'cannot' a check (0)")
    parser.add_argument(
        "--process",
        action="store_true",
        help="through 'case --jsonl' in a process of its own (slower) in place of this process",
    )
    parser.add_argument(
        "--worlds", type=int, default=None, help="how many worlds the program draws (its own)"
    )
    return parser


def _talker(*, process: bool, seed: int, worlds: int | None) -> Talker:
    if process:
        return ProcessTalker(seed=seed)
    book = MemoryCasebook()
    ids = itertools.count(1)
    machine = MachineInterface(
        lambda _: make_case(book, f"outside-{next(ids)}"), seed=seed, worlds=worlds
    )
    return LineTalker(machine.answer)


def _plans(given: argparse.Namespace) -> list[tuple[int, str, list[str]]]:
    if given.must_show:
        return [(given.seed, kind, [fault]) for kind, fault in must_show()]
    return fleet(given.cars, given.seed, only=given.only)


def _play(
    plans: list[tuple[int, str, list[str]]], given: argparse.Namespace, details: TextIO | None
) -> list[Outcome]:
    """Drive each planned car; a process that ended is started anew for the next."""
    talker = _talker(process=given.process, seed=given.seed, worlds=given.worlds)
    outcomes: list[Outcome] = []
    for seed, kind, faults in plans:
        try:
            case = draw_case(seed, kind, faults)
        except ProbetellError as stopped:
            sys.stderr.write(f"{kind} {faults}: {stopped}\n")
            continue
        outcome = drive(case, talker, misread=given.misread, cannot=given.cannot)
        outcomes.append(outcome)
        if details is not None and (given.all or not outcome.right or outcome.breaches):
            details.write(json.dumps(outcome.as_json(), default=str) + "\n")
            details.flush()
        if given.process and any("ended" in breach for breach in outcome.breaches):
            talker = _talker(process=True, seed=given.seed, worlds=given.worlds)
    talker.finish()
    return outcomes


def main(arguments: Sequence[str] | None = None) -> int:
    """Drive the fleet and print the table; 1 when the contract was broken anywhere."""
    given = _parser().parse_args(arguments)
    began = time.perf_counter()
    try:
        with contextlib.ExitStack() as held:
            details: TextIO | None = None
            if given.details is not None:
                details = held.enter_context(given.details.open("w", encoding="utf-8"))
            outcomes = _play(_plans(given), given, details)
    except (ProbetellError, OSError) as stopped:
        sys.stderr.write(f"{stopped}\n")
        return 2
    if not outcomes:
        sys.stderr.write("No car could be drawn.\n")
        return 2
    _table(outcomes)
    took = time.perf_counter() - began
    print(
        f"seed {given.seed}, {len(outcomes)} cars, slips {given.misread:.0%}, "
        f"'cannot' {given.cannot:.0%}; {took:.0f} s"
    )
    _calibration(outcomes)
    breaches = [breach for outcome in outcomes for breach in outcome.breaches]
    for breach in sorted(set(breaches))[:20]:
        print(f"contract broken {breaches.count(breach)} times: {breach[:160]}")
    return 1 if breaches else 0


def _share(outcomes: Sequence[Outcome], name: str) -> str:
    return f"{sum(bool(getattr(o, name)) for o in outcomes) / len(outcomes):>7.0%}"


def _row(name: str, outcomes: Sequence[Outcome]) -> str:
    ended = [o for o in outcomes if o.verdicts] or outcomes
    checks = sum(o.checks for o in ended) / len(ended)
    minutes = sum(o.minutes for o in ended) / len(ended)
    over = sum(o.checks > 12 for o in ended)
    sound = [o for o in outcomes if "amp.internal" not in o.truth["faults"]]
    blamed = f"{sum(o.amp_blamed for o in sound):>6d}" if sound else "     -"
    return (
        f"{name:<32}{len(outcomes):>5d}{_share(outcomes, 'right')}{_share(outcomes, 'exact')}"
        f"{_share(outcomes, 'within_two')}{_share(outcomes, 'repaired')}"
        f"{checks:>8.1f}{minutes:>9.1f}{over:>6d}{blamed}"
    )


def _table(outcomes: Sequence[Outcome]) -> None:
    print(
        f"{'hidden fault':<32}{'cars':>5}{'first':>7}{'exact':>7}{'two':>7}{'fixed':>7}"
        f"{'checks':>8}{'minutes':>9}{'>12':>6}{'amp!':>6}"
    )
    by_sort: dict[str, list[Outcome]] = {}
    for outcome in outcomes:
        by_sort.setdefault(sort_of(outcome.truth["faults"][0]), []).append(outcome)
    for sort in sorted(by_sort):
        print(_row(sort, by_sort[sort]))
    print(_row("all", outcomes))
    print(
        "first: the first verdict mends the hidden fault; exact: it names that very fault;\n"
        "two: one of the first two; >12: cars that took more checks; "
        "amp!: amplifier blamed though sound"
    )


def _calibration(outcomes: Sequence[Outcome]) -> None:
    """Print stated probability against frequency, in fifths, with the expected error."""
    stated = [
        (float(o.verdicts[0].get("probability", 0.0)), o.right) for o in outcomes if o.verdicts
    ]
    bins = calibration_bins(stated, 5)
    for said, was, count in bins:
        print(f"verdicts said {said:.0%} sure: right in {was:.0%} of {count}")
    print(f"expected calibration error {expected_error(bins) if bins else 0.0:.1%}")
