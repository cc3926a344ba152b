"""Processes that train the same weights together, each on a device of its own.

Each draws batches of its own; what they learn from them is averaged at every step.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import torch
import torch.distributed as together

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

__all__ = ["Team"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Team:
    """The processes that train together; ``rank`` is this one's number, from 0."""

    rank: int = 0
    size: int = 1
    device: str = "cpu"

    @classmethod
    def joined(cls, device: str, rank: int, size: int, meeting: Path) -> Team:
        """Join ``size`` processes that meet in the file ``meeting``; ``device`` is cpu or cuda.

        A process calls this once; of several on cuda each takes the GPU of its number.
        """
        if size == 1:
            return cls(device=device)
        here = f"cuda:{rank}" if device == "cuda" else device
        if device == "cuda":
            torch.cuda.set_device(here)
        kind = "nccl" if device == "cuda" else "gloo"
        place = meeting.absolute().as_uri()
        together.init_process_group(kind, init_method=place, rank=rank, world_size=size)
        return cls(rank=rank, size=size, device=here)

    def agree(self, tensors: Iterable[Any]) -> None:
        """Take those of the first process, in place, so that all begin alike."""
        if self.size > 1:
            for one in tensors:
                sent = one.contiguous()
                together.broadcast(sent, 0)
                one.copy_(sent)

    def share(self, gradients: Sequence[Any], done: float) -> float:
        """Average gradients, in place, and how much is ``done``; give that average."""
        if self.size == 1:
            return done
        ends = torch.tensor([done], device=gradients[0].device)
        flat = torch.cat([*(one.flatten() for one in gradients), ends])
        together.all_reduce(flat)
        flat /= self.size
        parts = flat[:-1].split([one.numel() for one in gradients])
        for one, part in zip(gradients, parts, strict=True):
            one.copy_(part.view_as(one))
        return float(flat[-1])

    def leave(self) -> None:
        """Part, when all have finished."""
        if self.size > 1:
            together.barrier()
            together.destroy_process_group()
