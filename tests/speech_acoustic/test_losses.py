"""The losses of training, against sums over all paths that are written out."""

from __future__ import annotations

from itertools import groupby, product
from typing import Any

import pytest

torch = pytest.importorskip("torch", reason="torch comes with the extra 'train' only")

from assistant.speech.acoustic.losses import ctc_loss, rival_loss  # noqa: E402

OUTPUTS = 4


def scores(clips: int, seed: int = 1) -> Any:
    """Give log posteriors of few outputs over blank and three phones."""
    source = torch.Generator().manual_seed(seed)
    return torch.randn(clips, OUTPUTS, 4, generator=source).log_softmax(-1)


def over_paths(rows: Any, target: tuple[int, ...]) -> Any:
    """Sum over all paths of ``rows`` (outputs x 4) that write ``target``; its negative log."""
    total = torch.tensor(0.0)
    for path in product(range(4), repeat=len(rows)):
        written = tuple(one for one, _ in groupby(path) if one)
        if written == target:
            total = total + torch.stack([rows[k, one] for k, one in enumerate(path)]).sum().exp()
    return -total.log()


def test_the_loss_is_the_sum_over_all_paths() -> None:
    """A. Graves et al., Connectionist temporal classification, ICML 2006, equation 3."""
    rows, targets = scores(3), [(1, 2), (3,), ()]
    got = ctc_loss(rows, torch.tensor([4, 3, 4]), targets)
    wanted = [
        over_paths(rows[0], (1, 2)),
        over_paths(rows[1, :3], (3,)),
        over_paths(rows[2], ()),
    ]
    assert got.tolist() == pytest.approx([float(one) for one in wanted], abs=1e-5)


def test_a_phrase_too_long_for_its_clip_has_no_loss() -> None:
    assert ctc_loss(scores(1), torch.tensor([2]), [(1, 2, 3)]).tolist() == [0.0]


def test_a_target_is_weighed_against_its_rivals_and_so_is_its_gradient() -> None:
    targets, rivals = [(1, 2), ()], [[(1, 3), (1,)], [(2,), (3, 1)]]
    start = torch.randn(2, OUTPUTS, 4, generator=torch.Generator().manual_seed(2))
    grads = []
    values = []
    for by_paths in (False, True):
        raw = start.clone().requires_grad_(True)
        rows = raw.log_softmax(-1)
        if by_paths:
            paid = rows - torch.tensor([1.5, 0.0, 0.0, 0.0])
            each = [
                [over_paths(paid[k], way) for way in (target, *some)]
                for k, (target, some) in enumerate(zip(targets, rivals, strict=True))
            ]
            loss = torch.stack([-(-0.5 * torch.stack(some)).log_softmax(0)[0] for some in each])
        else:
            outputs = torch.tensor([OUTPUTS, OUTPUTS])
            loss = rival_loss(rows, outputs, targets, rivals, blank=1.5, scale=0.5)
        loss.sum().backward()
        values.append(loss.detach())
        grads.append(raw.grad)
    assert torch.allclose(values[0], values[1], atol=1e-5)
    assert torch.allclose(grads[0], grads[1], atol=1e-5)


def test_a_rival_too_long_for_the_clip_does_not_count() -> None:
    rows, outputs = scores(1), torch.tensor([3])
    few = rival_loss(rows, outputs, [(1,)], [[(2,)]], blank=0.0, scale=1.0)
    more = rival_loss(rows, outputs, [(1,)], [[(2,), (1, 2, 3, 1)]], blank=0.0, scale=1.0)
    assert float(few) == pytest.approx(float(more), abs=1e-6)


def test_a_target_too_long_for_its_clip_teaches_nothing() -> None:
    lost = rival_loss(
        scores(1), torch.tensor([2]), [(1, 2, 3)], [[(1,), (2,)]], blank=0.0, scale=1.0
    )
    assert lost.tolist() == [0.0]
