"""What training makes small: the CTC loss of what was said, and how near its rivals come."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import torch
import torch.nn.functional as fn

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["ctc_loss", "rival_loss"]

_NEVER: Final = 1e4
"""The loss of a phrase that is too long for its clip."""


def ctc_loss(log_probs: Any, outputs: Any, targets: Sequence[tuple[int, ...]]) -> Any:
    """Give the CTC loss of each clip, 0 where its phones are more than its ``outputs``.

    ``log_probs`` is clips x outputs in time x 40; ``targets`` are numbers of phones.
    """
    lengths = torch.tensor([len(one) for one in targets], device=log_probs.device)
    phones = [phone for one in targets for phone in one]
    flat = torch.tensor(phones, dtype=torch.long, device=log_probs.device)
    with torch.backends.cudnn.flags(enabled=False):
        return fn.ctc_loss(
            log_probs.transpose(0, 1), flat, outputs, lengths, reduction="none", zero_infinity=True
        )


def rival_loss(
    log_probs: Any,
    outputs: Any,
    targets: Sequence[tuple[int, ...]],
    rivals: Sequence[Sequence[tuple[int, ...]]],
    *,
    blank: float,
    scale: float,
) -> Any:
    """Give the negative log of each target's share among itself and its rivals, clip by clip.

    Every clip has equally many ``rivals``. ``blank`` is paid for each blank, as in the decoding
    graph; ``scale`` below 1 softens the scores, so that a rival counts that is only just behind.
    torch's gradient of a CTC loss holds for scores that are normalised, and the blanks' cost
    takes that away; what is wrong is the same for all phrases of a clip, and cancels.
    """
    several = 1 + len(rivals[0])
    phrases = [way for target, some in zip(targets, rivals, strict=True) for way in (target, *some)]
    paid = torch.zeros(log_probs.shape[-1], device=log_probs.device)
    paid[0] = blank
    scores = (log_probs - paid).repeat_interleave(several, 0)
    each = ctc_loss(scores, outputs.repeat_interleave(several), phrases).view(-1, several)
    possible = each > 0
    each = torch.where(possible, each, torch.full_like(each, _NEVER))
    return -(-scale * each).log_softmax(1)[:, 0] * possible[:, 0]
