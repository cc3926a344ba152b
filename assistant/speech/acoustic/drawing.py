"""What a network is trained on next: clips drawn by the shares of their sets, made into batches.

A third of the draw goes by recordings of people, the rest by synthetic clips; rare words count
more.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from assistant.errors import GivenError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assistant.speech.acoustic.clips import Pack
    from assistant.speech.acoustic.rivals import Phones, Rivals
    from assistant.speech.acoustic.train import Plan

__all__ = ["SETS", "Drawer", "Drawn", "sampling_weights"]

SETS: dict[str, float] = {
    "an4": 0.12,
    "sc2test": 0.16,
    "prompt": 0.01,
    "kokoro": 0.02,
    "blend": 0.25,
    "other": 0.05,
    "near": 0.06,
    "flite": 0.055,
    "festival": 0.04,
    "pico": 0.05,
    "accents": 0.07,
    "gnuspeech": 0.02,
    "rhvoice": 0.06,
    "espeak": 0.04,
    "hibari": 0.03,
    "russian": 0.015,
    "tiny": 0.03,
}
"""Shares of the sets in what is drawn, of their sum; ``chorus`` says ``blend``, ``other`` and
``near``."""
_NOISE: Final = "noise"
_POWERS: dict[str, float] = {"an4": 0.3, "sc2test": 0.7, "blend": 0.2, "other": 0.0, "near": 0.0}
"""How much more a clip of rare words counts; in other sets a half."""


def sampling_weights(pack: Pack) -> np.ndarray[Any, Any]:
    """Give each clip's chance to be drawn: shares of the sets, in a set more for rare words.

    Raises ``GivenError`` when clips to train on are of a set without a share.
    """
    rows = list(pack.clips)
    trained = {one.clip.set for one in rows if one.clip.split == "train"}
    unknown = sorted(trained - SETS.keys() - {_NOISE})
    if unknown:
        raise GivenError(
            f"Clips of the set {unknown[0]!r} have no share and would never be drawn.",
            next_step="Give the set a share in drawing.SETS, or leave its pack out.",
        )
    counts: dict[str, Counter[str]] = {}
    for one in rows:
        counts.setdefault(one.clip.set, Counter()).update(set(one.clip.words.split()))
    weights = np.zeros(len(rows))
    for k, one in enumerate(rows):
        clip = one.clip
        if clip.split == "train" and clip.set in SETS:
            seen = counts[clip.set]
            power = _POWERS.get(clip.set, 0.5)
            weights[k] = float(np.mean([seen[word] ** -power for word in clip.words.split()]))
    for name, share in SETS.items():
        members = np.array([one.clip.set == name for one in rows])
        total = weights[members].sum()
        if total > 0:
            weights[members] *= share / total
    return np.asarray(weights / weights.sum())


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """A batch to make: for each row the clips to join (-1 for none), its phones, its rivals."""

    picks: list[list[int]]
    targets: list[Phones]
    rivals: list[list[Phones]]


class Drawer:
    """Draws batches of like length: numbers of clips to join, the targets and their rivals.

    With ``rivals`` as many of them are drawn for each target as the plan says, else none.
    """

    def __init__(
        self,
        pack: Pack,
        ways: list[tuple[int, ...]],
        barred: set[int],
        plan: Plan,
        *,
        rivals: Rivals | None = None,
    ) -> None:
        self._said = [(one.clip.words, way) for one, way in zip(pack.clips, ways, strict=True)]
        self._rivals = rivals
        self._rng = np.random.default_rng(plan.seed)
        self._plan = plan
        self._weights = sampling_weights(pack)
        self._weights[sorted(barred)] = 0.0
        self._weights /= self._weights.sum()
        self._seconds = np.array([len(one) / 16_000 for one in pack.sounds])
        self._speakers: dict[str, list[int]] = {}
        for k, one in enumerate(pack.clips):
            if self._weights[k] > 0 and one.clip.set in {"an4", "sc2test"}:
                self._speakers.setdefault(one.clip.speaker, []).append(k)
        self._speaker_of = [one.clip.speaker for one in pack.clips]

    def __iter__(self) -> Iterator[Drawn]:
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
                said = [[self._said[k] for k in group] for group in batch]
                targets = [sum((way for _, way in row), ()) for row in said]
                rivals = self._rivals and self._rivals.draw(said, self._plan.rivals)
                yield Drawn(picks=rows, targets=targets, rivals=rivals or [])

    def _group(self, clip: int) -> list[int]:
        if self._rng.random() < self._plan.noise_alone:
            return []
        fellows = self._speakers.get(self._speaker_of[clip], [])
        if self._seconds[clip] < 2.0 and fellows and self._rng.random() < 2 * self._plan.joined:
            short = [k for k in fellows if self._seconds[k] < 2.0]
            more = self._rng.choice(short, int(self._rng.integers(1, 4)))
            return [clip, *(int(k) for k in more)]
        return [clip]
