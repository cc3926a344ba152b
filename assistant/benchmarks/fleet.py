"""Plays a large fleet of unseen cars under several orders of checks and compares them.

The cars are those of ``assistant.practice``: their own solver, their own spreads, nothing shared
with the program's electrics or diagnosis. All orders get the same cars; those of their numbers
that lie outside the program's own spreads are counted. With ``--out`` the table
and a picture are written too; the played cases are kept in ``--keep`` and gone on with.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from assistant.benchmarks.calibration import Bin, calibration_bins, expected_error
from assistant.benchmarks.orders import ORDERS, Played, play
from assistant.errors import ProbetellError
from assistant.practice.scenario import GARAGES, draw_case, fleet, sort_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

__all__ = ["calibration_error", "main", "table"]

_TENTHS = 10
Plan = tuple[int, str, list[str], str, float, int]


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m assistant.benchmarks fleet", description=__doc__
    )
    parser.add_argument("--cars", type=int, default=54, help="how many cars (54)")
    parser.add_argument("--seed", type=int, default=1, help="seed of the fleet (1)")
    parser.add_argument(
        "--orders", default="own,fixed", help=f"of {', '.join(ORDERS)}, with commas (own,fixed)"
    )
    parser.add_argument("--misread", type=float, default=0.0, help="chance of a slip per check (0)")
    parser.add_argument(
        "--garage", choices=tuple(GARAGES), default="usual", help="kinds of cars (usual)"
    )
    parser.add_argument("--only", default=None, help="only faults whose id holds this")
    parser.add_argument("--pairs", action="store_true", help="two faults in each car")
    parser.add_argument("--workers", type=int, default=1, help="processes (1)")
    parser.add_argument("--keep", type=Path, default=None, help="JSONL file of the played cases")
    parser.add_argument("--out", type=Path, default=None, help="directory for table and picture")
    parser.add_argument("--name", default="fleet", help="name of the written files (fleet)")
    return parser


def _played(plan: Plan) -> tuple[int, dict[str, Any] | None]:
    seed, kind, faults, order, misread, number = plan
    try:
        case = draw_case(seed, kind, faults)
    except ProbetellError:
        return number, None
    return number, play(case, order, sort=sort_of(faults[0]), misread=misread).as_json()


def _kept(path: Path | None) -> dict[str, dict[str, Any]]:
    if path is None or not path.exists():
        return {}
    found = {}
    for line in path.read_text(encoding="utf-8").splitlines():
        entry = json.loads(line)
        found[entry["key"]] = entry
    return found


def _play_all(given: argparse.Namespace) -> dict[str, list[Played]]:
    orders = [name.strip() for name in given.orders.split(",")]
    planned = fleet(given.cars, given.seed, only=given.only, pairs=given.pairs, garage=given.garage)
    kept = _kept(given.keep)
    results: dict[str, list[Played]] = {order: [] for order in orders}
    plans: list[Plan] = []
    keys: list[str] = []
    for seed, kind, faults in planned:
        for order in orders:
            key = f"{given.seed} {seed} {kind} {'+'.join(faults)} {order} {given.misread}"
            if key in kept:
                if kept[key]["played"] is not None:
                    results[order].append(Played(**kept[key]["played"]))
                continue
            plans.append((seed, kind, faults, order, given.misread, len(keys)))
            keys.append(key)
    began = time.perf_counter()
    with multiprocessing.get_context("spawn").Pool(given.workers) as pool:
        for done, (number, played) in enumerate(pool.imap_unordered(_played, plans), start=1):
            if given.keep is not None:
                with given.keep.open("a", encoding="utf-8") as file:
                    file.write(json.dumps({"key": keys[number], "played": played}) + "\n")
            if played is not None:
                results[plans[number][3]].append(Played(**played))
            if done % 50 == 0:
                took = time.perf_counter() - began
                sys.stderr.write(f"{done} of {len(plans)} in {took:.0f} s\n")
    return results


def _bins(cases: Sequence[Played]) -> list[Bin]:
    return calibration_bins([(case.stated, case.exact) for case in cases], _TENTHS)


def calibration_error(cases: Sequence[Played]) -> float:
    """Give the expected calibration error, 0 to 1: stated less true share, over tenths.

    A verdict's probability is that of one fault, so it is held against the very fault.
    """
    return expected_error(_bins(cases))


def _row(name: str, cases: Sequence[Played], base: float | None) -> str:
    sound = [c for c in cases if c.sort != "amp.internal"]
    minutes = float(np.mean([c.all_minutes for c in cases]))
    ratio = "" if base is None else f"{minutes / base:7.2f}"
    blamed = float(np.mean([c.amp_blamed for c in sound])) if sound else 0.0
    return (
        f"{name:<31}{len(cases):>6}{np.mean([c.right for c in cases]):>8.1%}"
        f"{np.mean([c.exact for c in cases]):>8.1%}"
        f"{np.mean([c.within_two for c in cases]):>8.1%}{blamed:>7.1%}"
        f"{calibration_error(cases):>7.1%}{np.mean([c.checks for c in cases]):>8.1f}"
        f"{np.mean([c.minutes for c in cases]):>9.1f}{minutes:>9.1f}{ratio}"
    )


def _from(cases: Sequence[Played], least: int) -> list[Played]:
    return [c for c in cases if c.beyond >= least]


def table(results: dict[str, list[Played]]) -> str:
    """Give the table of all orders, and of the program's own order by sort of fault."""
    fixed = results.get("fixed") or None
    base = float(np.mean([c.all_minutes for c in fixed])) if fixed else None
    head = (
        f"{'order':<31}{'cars':>6}{'first':>8}{'exact':>8}{'two':>8}{'amp!':>7}{'ece':>7}"
        f"{'checks':>8}{'measure':>9}{'to mend':>9}{'  ratio' if base else ''}"
    )
    lines = [head, *(_row(name, cases, base) for name, cases in results.items() if cases)]
    if own := results.get("own"):
        if far := _from(own, 1):
            lines += [
                "",
                f"own order, cars with numbers beyond the program's spreads (of {len(own)})",
            ]
            lines += [_row("any", far, None)]
            lines += [_row("four or more", more, None)] if (more := _from(own, 4)) else []
        lines += ["", "own order by hidden fault"]
        lines += [
            _row(sort, [c for c in own if c.sort == sort], None)
            for sort in sorted({c.sort for c in own})
        ]
    lines += [
        "",
        "first: the first verdict mends the hidden fault; exact: it names that very fault, not one",
        "that the same work mends; two: one of the first two mends it; amp!: share of cars with a",
        "sound amplifier that blame it; ece: expected calibration error of exact; measure:",
        "minutes up to the first verdict; to mend: minutes of all measuring and of repairs done",
        "in vain until the right one is named; ratio: of these to the fixed order's.",
    ]
    return "\n".join(lines)


def _picture(results: dict[str, list[Played]], path: Path) -> None:
    import matplotlib as mpl  # noqa: PLC0415 - only for the picture

    mpl.use("Agg")
    from matplotlib import pyplot as plt  # noqa: PLC0415

    named = [(name, cases) for name, cases in results.items() if cases]
    panels = 1 if len(named) == 1 else 2  # one order has nothing to stand beside
    figure, axes = plt.subplots(
        1, panels, figsize=(4.9 * panels, 4.0), layout="constrained", squeeze=False
    )
    left, right = axes[0, 0], axes[0, -1]
    own = results.get("own") or next(iter(results.values()))
    left.plot([0, 1], [0, 1], color="0.7", linewidth=1)
    for said, was, count in _bins(own):
        left.scatter(said, was, s=14 + 220 * count / len(own), color="tab:blue", alpha=0.7)
        left.annotate(str(count), (said, was), textcoords="offset points", xytext=(6, -10))
    left.set_xlabel("probability that the verdict states")
    left.set_ylabel("share of these verdicts that name the very fault")
    left.set_title(f"{len(own)} cars; number of verdicts beside each point")
    if panels > 1:
        minutes = [float(np.mean([c.all_minutes for c in cases])) for _, cases in named]
        right.barh([name for name, _ in named], minutes, color="tab:blue")
        right.invert_yaxis()
        right.set_xlabel("mean minutes until the right repair is named")
        right.set_title("order of checks")
    figure.savefig(path, dpi=110)


def _orders_given(orders: Iterable[str]) -> str | None:
    return next((name for name in orders if name.strip() not in ORDERS), None)


def main(arguments: Sequence[str] | None = None) -> int:
    """Play the fleet and print the table; 0."""
    given = _parser().parse_args(arguments)
    if (unknown := _orders_given(given.orders.split(","))) is not None:
        sys.stderr.write(f"There is no order {unknown!r}: take of {', '.join(ORDERS)}.\n")
        return 2
    results = _play_all(given)
    if not any(results.values()):
        sys.stderr.write("No car could be drawn.\n")
        return 2
    cars = "" if given.garage == "usual" else f", {given.garage.replace('_', ' ')}"
    text = f"fleet of seed {given.seed}{cars}, slips {given.misread:.0%}\n{table(results)}"
    print(text)
    if given.out is not None:
        given.out.mkdir(parents=True, exist_ok=True)
        (given.out / f"{given.name}.txt").write_text(text + "\n", encoding="utf-8")
        _picture(results, given.out / f"{given.name}.png")
    return 0


if __name__ == "__main__":
    sys.exit(main())
