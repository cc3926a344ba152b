"""What trained weights make of the clips: ways to say them, the strangest, and phone errors."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
import torch
from rapidfuzz.distance import Levenshtein

from assistant.speech.acoustic.attending import posteriors_of
from assistant.speech.acoustic.losses import ctc_loss

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.speech.acoustic.augment import Augmenter
    from assistant.speech.acoustic.clips import Pack
    from assistant.speech.acoustic.network import Parameters

__all__ = ["chosen_ways", "phone_errors", "strangest"]

_SIFTED: Final = frozenset({"blend", "other", "near", "hibari", "russian"})
"""Sets whose strangest clips are left out: blends and throats that are drawn may fail to speak."""
_TOLD: Final = 24


def chosen_ways(
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
            scores, outputs = posteriors_of(parameters, features, frames)
            losses = ctc_loss(scores, outputs, [way for _, way in some]).tolist()
            for (k, way), loss in zip(some, losses, strict=True):
                # A loss of nothing is that of a clip too short for its phones
                each = loss / (len(way) + 1) if loss > 0 else math.inf
                if each < strange.get(k, math.inf):
                    strange[k], chosen[k] = each, way
    return chosen, strange


def strangest(
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


def phone_errors(
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
                scores, outputs = posteriors_of(parameters, features, frames)
                best = scores.argmax(-1).cpu().numpy()
                for k, padded, long in zip(some, best, outputs.tolist(), strict=True):
                    path = padded[:long]
                    kept = path[np.insert(np.diff(path) != 0, 0, True)]
                    errors = Levenshtein.distance(ways[k], [int(p) for p in kept if p])
                    wrong, total = wrong + errors, total + len(ways[k])
                    exact += errors == 0
            told[name] = (round(wrong / max(1, total), 4), round(exact / max(1, len(numbers)), 4))
    return told
