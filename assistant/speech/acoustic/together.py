"""Training as a command runs it: a process for each device, and a log beside the weights."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import torch.multiprocessing as processes

from assistant.speech.acoustic.team import Team
from assistant.speech.acoustic.train import train

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from assistant.speech.acoustic.train import Plan

__all__ = ["train_together"]

_MEETING: Final = "meeting"
"""The file, beside the weights, in which the processes find each other."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Work:
    """What every process is to do."""

    devices: int
    folders: tuple[Path, ...]
    out: Path
    plan: Plan
    start: Path | None
    judge: Path | None
    device: str


def train_together(
    devices: int,
    folders: Sequence[Path],
    out: Path,
    plan: Plan,
    *,
    start: Path | None = None,
    judge: Path | None = None,
    device: str = "cpu",
) -> None:
    """Train (``train``) on so many devices; weights and a log go to ``out``."""
    out.mkdir(parents=True, exist_ok=True)
    (out / _MEETING).unlink(missing_ok=True)
    work = _Work(
        devices=devices,
        folders=tuple(folders),
        out=out,
        plan=plan,
        start=start,
        judge=judge,
        device=device,
    )
    if devices == 1:
        _train_as(0, work)
    else:
        processes.spawn(_train_as, (work,), devices)


def _train_as(rank: int, work: _Work) -> None:
    team = Team.joined(work.device, rank, work.devices, work.out / _MEETING)
    with (work.out / f"log{rank or ''}.txt").open("w", encoding="utf-8") as log:

        def tell(line: str) -> None:
            for stream in (sys.stdout, log):
                stream.write(line + "\n")
                stream.flush()

        weights = {"start": work.start, "judge": work.judge}
        train(work.folders, work.out, work.plan, **weights, team=team, tell=tell)
    team.leave()
