"""Training: CTC on augmented clips, AdamW with a cosine, weights averaged over steps.

Nearly half the draw goes by recordings of people, half by synthetic clips in which rare words count
more. A start from trained weights may keep the gathered batch norm (the default) or gather anew.
"""

from __future__ import annotations

import itertools
import json
import math
import time
from collections import Counter
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import torch
import torch.nn.functional as fn

from assistant.speech.acoustic.augment import Augmenter, SoundBank
from assistant.speech.acoustic.clips import read_pack
from assistant.speech.acoustic.network import (
    fresh_parameters,
    grown,
    load_parameters,
    log_posteriors,
    save_parameters,
    trained_names,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from pathlib import Path

    from assistant.speech.acoustic.clips import Pack
    from assistant.speech.acoustic.network import Parameters

__all__ = ["Plan", "sampling_weights", "train"]

SETS: dict[str, float] = {
    "an4": 0.14,
    "sc2test": 0.27,
    "prompt": 0.02,
    "kokoro": 0.38,
    "flite": 0.05,
    "festival": 0.03,
    "pico": 0.04,
    "espeak": 0.07,
}
"""Shares of the sets in what is drawn."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """How to train. It ends at ``minutes`` from its call or at ``steps``, whichever is first."""

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
    gathered: int = 200
    width: int = 256
    layers: int = 7
    seed: int = 1
    report_every: float = 60.0


def sampling_weights(pack: Pack) -> np.ndarray[Any, Any]:
    """Give each clip's chance to be drawn: shares of the sets, in a set more for rare words."""
    rows = list(pack.clips)
    counts: dict[str, Counter[str]] = {}
    for one in rows:
        counts.setdefault(one.clip.set, Counter()).update(set(one.clip.words.split()))
    weights = np.zeros(len(rows))
    for k, one in enumerate(rows):
        clip = one.clip
        if clip.split == "train" and clip.set in SETS:
            seen = counts[clip.set]
            power = 0.3 if clip.set in {"an4", "sc2test"} else 0.5
            weights[k] = float(np.mean([seen[word] ** -power for word in clip.words.split()]))
    for name, share in SETS.items():
        members = np.array([one.clip.set == name for one in rows])
        total = weights[members].sum()
        if total > 0:
            weights[members] *= share / total
    return np.asarray(weights / weights.sum())


class _Drawer:
    """Draws batches of like length: numbers of clips to join, and the targets."""

    def __init__(self, pack: Pack, ways: list[tuple[int, ...]], plan: Plan, device: str) -> None:
        self._rng = np.random.default_rng(plan.seed)
        self._plan, self._device, self._ways = plan, device, ways
        self._weights = sampling_weights(pack)
        self._seconds = np.array([len(one) / 16_000 for one in pack.sounds])
        self._speakers: dict[str, list[int]] = {}
        for k, one in enumerate(pack.clips):
            if self._weights[k] > 0 and one.clip.set in {"an4", "sc2test"}:
                self._speakers.setdefault(one.clip.speaker, []).append(k)
        self._speaker_of = [one.clip.speaker for one in pack.clips]

    def __iter__(self) -> Iterator[tuple[Any, list[tuple[int, ...]]]]:
        while True:
            drawn = self._rng.choice(len(self._weights), 1536, p=self._weights)
            groups = [self._group(int(k)) for k in drawn]
            long = np.array([0.8 + sum(self._seconds[k] for k in group) for group in groups])
            batches: list[list[list[int]]] = [[]]
            for k in np.argsort(long):
                if (len(batches[-1]) + 1) * long[k] > self._plan.seconds:
                    batches.append([])
                batches[-1].append(groups[int(k)])
            self._rng.shuffle(batches)
            for batch in batches:
                parts = max(1, *(len(group) for group in batch))
                rows = [group + [-1] * (parts - len(group)) for group in batch]
                targets = [sum((self._ways[k] for k in group), ()) for group in batch]
                yield torch.tensor(rows, device=self._device), targets

    def _group(self, clip: int) -> list[int]:
        if self._rng.random() < self._plan.noise_alone:
            return []
        fellows = self._speakers.get(self._speaker_of[clip], [])
        if self._seconds[clip] < 2.0 and fellows and self._rng.random() < 2 * self._plan.joined:
            short = [k for k in fellows if self._seconds[k] < 2.0]
            more = self._rng.choice(short, int(self._rng.integers(1, 4)))
            return [clip, *(int(k) for k in more)]
        return [clip]


def _loss(log_probs: Any, outputs: Any, targets: list[tuple[int, ...]]) -> Any:
    """CTC loss of each clip."""
    lengths = torch.tensor([len(one) for one in targets], device=log_probs.device)
    phones = [phone for one in targets for phone in one]
    flat = torch.tensor(phones, dtype=torch.long, device=log_probs.device)
    with torch.backends.cudnn.flags(enabled=False):
        return fn.ctc_loss(
            log_probs.transpose(0, 1), flat, outputs, lengths, reduction="none", zero_infinity=True
        )


def _chosen_ways(
    parameters: Parameters, augmenter: Augmenter, pack: Pack, numbers: list[int], device: str
) -> dict[int, tuple[int, ...]]:
    """Of a clip's ways to say it take the one that the start weights find likeliest."""
    chosen = {k: pack.clips[k].ways[0] for k in numbers}
    unsure = [k for k in numbers if len(pack.clips[k].ways) > 1]
    several = [(k, way) for k in unsure for way in pack.clips[k].ways]
    several.sort(key=lambda pair: len(pack.sounds[pair[0]]))
    best: dict[int, float] = {}
    with torch.no_grad():
        for begin in range(0, len(several), 384):
            some = several[begin : begin + 384]
            features, frames = augmenter.plain(torch.tensor([k for k, _ in some], device=device))
            scores, outputs = log_posteriors(parameters, features, frames)
            losses = _loss(scores, outputs, [way for _, way in some]).tolist()
            for (k, way), loss in zip(some, losses, strict=True):
                if loss < best.get(k, math.inf):
                    best[k], chosen[k] = loss, way
    return chosen


def _errors(found: list[int], wanted: tuple[int, ...]) -> int:
    """Edit distance of two phone sequences."""
    row = list(range(len(wanted) + 1))
    for k, one in enumerate(found, start=1):
        last, row[0] = row[0], k
        for j, other in enumerate(wanted, start=1):
            last, row[j] = (row[j], min(row[j] + 1, row[j - 1] + 1, last + (one != other)))
    return row[-1]


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
                    errors = _errors([int(p) for p in kept if p], ways[k])
                    wrong, total = wrong + errors, total + len(ways[k])
                    exact += errors == 0
            told[name] = (round(wrong / max(1, total), 4), round(exact / max(1, len(numbers)), 4))
    return told


def train(
    folder: Path,
    out: Path,
    plan: Plan,
    *,
    start: Path | None = None,
    device: str = "cpu",
    tell: Callable[[str], None] = print,
) -> Path:
    """Train on the pack in ``folder``; write weights and a log to ``out``; give the weights' path.

    Weights are also written at every report, so that a run that is cut off leaves some.

    ``start`` is a weights file to go on from, grown to the plan's width and layers where it is
    smaller; without one the network starts at random.
    """
    out.mkdir(parents=True, exist_ok=True)
    torch.manual_seed(plan.seed)
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    begun = time.monotonic()
    pack = read_pack(folder)
    tell(f"{len(pack.clips)} clips read in {time.monotonic() - begun:.0f} s; plan {asdict(plan)}")
    speech = SoundBank(pack.sounds, device)
    noisy = [k for k, one in enumerate(pack.clips) if one.clip.set == "noise"]
    noise = SoundBank([pack.sounds[k] for k in noisy], device)
    generator = torch.Generator(device=device)
    generator.manual_seed(plan.seed)
    augmenter = Augmenter(speech, noise, generator)
    spoken = [k for k, one in enumerate(pack.clips) if one.ways]
    tell(f"{time.monotonic() - begun:.0f} s, sounds on the device")
    parameters = _parameters(start, augmenter, spoken, plan, device)
    chosen = _chosen_ways(parameters, augmenter, pack, spoken, device)
    tell(f"{time.monotonic() - begun:.0f} s, ways of saying chosen")
    ways: list[tuple[int, ...]] = [chosen.get(k, ()) for k in range(len(pack.clips))]
    groups: dict[str, list[int]] = {}
    for k in spoken:
        clip = pack.clips[k].clip
        if clip.split == "dev":
            groups.setdefault(clip.set, []).append(k)
    tell(
        f"{time.monotonic() - begun:.0f} s, start: "
        f"{_checked(parameters, augmenter, groups, ways, device)}"
    )

    path = out / "weights.npz"

    def check(now: Parameters) -> None:
        save_parameters(now, path)
        tell(json.dumps(_checked(now, augmenter, groups, ways, device)))

    average = _run(
        parameters,
        augmenter,
        _Drawer(pack, ways, plan, device),
        plan=plan,
        begun=begun,
        check=check,
        tell=tell,
    )
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


def _run(
    parameters: Parameters,
    augmenter: Augmenter,
    drawer: _Drawer,
    *,
    plan: Plan,
    begun: float,
    check: Callable[[Parameters], None],
    tell: Callable[[str], None],
) -> Parameters:
    names = trained_names(parameters)
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
    for step, (picks, targets) in enumerate(drawer):
        done = max((time.monotonic() - first) / length, step / plan.steps)
        if done >= 1:
            break
        slow = min(1.0, (step + 1) / plan.warm_up)
        for group in optimiser.param_groups:
            group["lr"] = plan.rate * slow * (0.5 + 0.5 * math.cos(math.pi * done)) + 1e-6
        with torch.no_grad():
            features, frames = augmenter.batch(picks, near_clean=0.125 + 0.2 * done**2)
        scores, outputs = log_posteriors(
            parameters, features, frames, live=plan.live_norm, dropped=plan.dropped
        )
        each = _loss(scores, outputs, targets)
        loss = each.sum() / max(1, sum(len(one) + 1 for one in targets))
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
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
            mean = float(torch.stack(losses).mean())
            tell(f"{told - first:.0f} s, step {step + 1}, loss {mean:.4f}")
            losses = []
            check(average)
    tell(f"{step} steps")
    if plan.live_norm:
        _gather(average, augmenter, itertools.islice(drawer, plan.gathered))
    check(average)
    return average


def _gather(parameters: Parameters, augmenter: Augmenter, batches: Iterable[Any]) -> None:
    """Gather the batch norm anew: it was of other weights, with units left out."""
    with torch.no_grad():
        for picks, _ in batches:
            features, frames = augmenter.batch(picks, near_clean=0.33)
            log_posteriors(parameters, features, frames, live=True)
