"""The text-message service under load, and killed on the way.

``python -m assistant.benchmarks webhook`` posts signed texts at 50 a second to a service that
keeps 2,000 open cases, on SQLite and on a PostgreSQL server of its own, and prints how long the
webhook and the replies took. There the webhook never waits for a reply: each goes out by the
delivery. A calm run beside it has the usual patience.

``--kills 40`` kills workers and service (-9) at random instants
during a stream of texts and says what did not hold afterwards.
"""

from __future__ import annotations

import argparse
import os
import platform
import sys
import tempfile
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from assistant.benchmarks.postgresql import own_postgresql
from assistant.benchmarks.texting_kills import kill_during_stream
from assistant.benchmarks.texting_load import Load, LoadReport, load_service, play_kinds
from assistant.errors import GivenError

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["main"]

_CALM_PATIENCE: Final = 4.0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m assistant.benchmarks webhook",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--cases", type=int, default=2000, help="open cases (2000)")
    parser.add_argument("--rate", type=float, default=50.0, help="texts a second (50)")
    parser.add_argument("--seconds", type=float, default=20.0, help="how long they come (20)")
    parser.add_argument("--drain", type=float, default=60.0, help="wait for replies, s (60)")
    parser.add_argument("--patience", type=float, default=0.0, help="of the webhook, s (0)")
    parser.add_argument("--calm", type=float, default=1.0, help="rate of the calm run (1)")
    parser.add_argument("--workers", type=int, default=2, help="workers on PostgreSQL (2)")
    parser.add_argument("--sqlite-workers", type=int, default=1, help="workers on SQLite (1)")
    parser.add_argument("--live", type=int, default=4, help="cases in a worker's memory (4)")
    parser.add_argument("--worlds", type=int, default=5000, help="worlds of a case (5000)")
    parser.add_argument("--only", choices=["sqlite", "postgresql"], help="one database")
    parser.add_argument("--kills", type=int, default=0, help="kill so often instead of load")
    parser.add_argument("--customers", type=int, default=4, help="who write meanwhile (4)")
    parser.add_argument("--seed", type=int, default=1, help="seed of every draw (1)")
    return parser


def _print_load(names: Sequence[str], reports: Sequence[LoadReport]) -> None:
    rows = [
        ("texts sent", [f"{r.sent}" for r in reports]),
        ("refused or broken off", [f"{r.failed}" for r in reports]),
        ("webhook p50, ms", [f"{r.webhook_ms(0.5):.0f}" for r in reports]),
        ("webhook p99, ms", [f"{r.webhook_ms(0.99):.0f}" for r in reports]),
        ("webhook longest, ms", [f"{r.webhook_ms(1.0):.0f}" for r in reports]),
        ("answered in the webhook itself", [f"{r.inline}" for r in reports]),
        ("answered in all, till the end", [f"{r.answered}" for r in reports]),
        ("answered a second", [f"{r.answered / r.spent:.1f}" for r in reports]),
        ("time until the reply p50, s", [f"{r.reply_s(0.5):.1f}" for r in reports]),
        ("time until the reply p99, s", [f"{r.reply_s(0.99):.1f}" for r in reports]),
        ("resident memory in all, MB", [f"{r.memory:.0f}" for r in reports]),
        ("the same, shared pages once, MB", [f"{r.memory_shared_once:.0f}" for r in reports]),
        ("of it the service itself, MB", [f"{r.memory_service:.0f}" for r in reports]),
    ]
    print(f"{'':<34}" + "".join(f"{name:>14}" for name in names))
    for title, values in rows:
        print(f"{title:<34}" + "".join(f"{value:>14}" for value in values))


def _loads(given: argparse.Namespace, where: Path) -> int:
    load = Load(
        cases=given.cases,
        rate=given.rate,
        seconds=given.seconds,
        drain=given.drain,
        workers=given.workers,
        worlds=given.worlds,
        live_cases=given.live,
        patience=given.patience,
        seed=given.seed,
    )
    print(
        f"{load.cases} open cases, {load.rate:g} texts a second for {load.seconds:g} s, "
        f"{load.worlds} worlds, {load.live_cases} live cases a worker, "
        f"patience {load.patience:g} s\n"
        f"workers: {given.sqlite_workers} on SQLite, {given.workers} on PostgreSQL\n"
        f"calm: {given.calm:g} texts a second, patience {_CALM_PATIENCE:g} s"
    )
    kinds = play_kinds(given.seed, given.worlds)
    names, reports = [], []
    if given.only != "postgresql":
        names.append("SQLite")
        few = replace(load, workers=given.sqlite_workers)
        reports.append(load_service(where / "sqlite", few, kinds))
        names.append("calm, SQLite")
        calm = replace(few, rate=given.calm, patience=_CALM_PATIENCE)
        reports.append(load_service(where / "calm", calm, kinds))
    if given.only != "sqlite":
        with ExitStack() as stack:
            held = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="probetell")))
            held.chmod(0o755)
            directory = held / "server"
            directory.mkdir()
            try:
                url = stack.enter_context(own_postgresql(directory))
            except GivenError:
                print("PostgreSQL is not installed, or cannot be run here: left out.")
            else:
                names.append("PostgreSQL")
                reports.append(load_service(where / "postgresql", load, kinds, database=url))
    _print_load(names, reports)
    return 0


def _kills(given: argparse.Namespace, where: Path) -> int:
    report = kill_during_stream(
        where / "kills",
        kills=given.kills,
        customers=given.customers,
        seed=given.seed,
        workers=given.workers,
        worlds=given.worlds,
    )
    rows = (
        ("kills -9", report.kills),
        ("of them the whole service", report.service_kills),
        ("texts accepted", report.texts),
        ("posts, repeated ones counted", report.posts),
        ("replies on the telephones", report.replies),
        ("longest until a text was taken, s", round(report.longest_wait, 1)),
        ("seconds in all", round(report.seconds)),
        ("what did not hold", len(report.broken)),
    )
    for title, value in rows:
        print(f"{title:<44}{value:>10}")
    for line in report.broken:
        print(f"  {line}")
    return 1 if report.broken else 0


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the load, or the kills; 0 when all held."""
    given = _parser().parse_args(arguments)
    print(f"{os.cpu_count()} cores, {platform.system()} {platform.release()}, seed {given.seed}")
    with tempfile.TemporaryDirectory(prefix="probetell") as where:
        return (_kills if given.kills else _loads)(given, Path(where))


if __name__ == "__main__":
    sys.exit(main())
