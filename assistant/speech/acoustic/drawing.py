"""What a network is trained on next: clips drawn by the shares of their sets, made into batches.

A third of the draw goes by recordings of people, the rest by synthetic clips; rare words count
more.
"""

from __future__ import annotations

import contextlib
import queue
import threading
from collections import Counter
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import torch

from assistant.errors import GivenError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assistant.speech.acoustic.augment import Augmenter
    from assistant.speech.acoustic.clips import Pack
    from assistant.speech.acoustic.rivals import Phones, Rivals
    from assistant.speech.acoustic.train import Plan

__all__ = ["SETS", "Drawer", "Feeder", "sampling_weights"]

SETS: dict[str, float] = {
    "an4": 0.11,
    "sc2test": 0.20,
    "prompt": 0.03,
    "kokoro": 0.03,
    "blend": 0.35,
    "other": 0.05,
    "near": 0.06,
    "flite": 0.03,
    "festival": 0.03,
    "pico": 0.02,
    "accents": 0.02,
    "gnuspeech": 0.02,
    "rhvoice": 0.04,
    "espeak": 0.04,
    "hibari": 0.03,
    "russian": 0.015,
}
"""Shares of the sets in what is drawn; ``chorus`` says ``blend``, ``other`` and ``near``."""
_NOISE: Final = "noise"
_POWERS: dict[str, float] = {"an4": 0.3, "sc2test": 0.3, "blend": 0.2, "other": 0.0, "near": 0.0}
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
        device: str,
        *,
        rivals: Rivals | None = None,
    ) -> None:
        self._said = [(one.clip.words, way) for one, way in zip(pack.clips, ways, strict=True)]
        self._rivals = rivals
        self._rng = np.random.default_rng(plan.seed)
        self._plan, self._device = plan, device
        self._weights = sampling_weights(pack)
        self._weights[sorted(barred)] = 0.0
        self._weights /= self._weights.sum()
        self._seconds = np.array([len(one) / 16_000 for one in pack.sounds])
        self._speakers: dict[str, list[int]] = {}
        for k, one in enumerate(pack.clips):
            if self._weights[k] > 0 and one.clip.set in {"an4", "sc2test"}:
                self._speakers.setdefault(one.clip.speaker, []).append(k)
        self._speaker_of = [one.clip.speaker for one in pack.clips]

    def __iter__(self) -> Iterator[tuple[Any, list[Phones], list[list[Phones]]]]:
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
                yield torch.tensor(rows, device=self._device), targets, rivals or []

    def _group(self, clip: int) -> list[int]:
        if self._rng.random() < self._plan.noise_alone:
            return []
        fellows = self._speakers.get(self._speaker_of[clip], [])
        if self._seconds[clip] < 2.0 and fellows and self._rng.random() < 2 * self._plan.joined:
            short = [k for k in fellows if self._seconds[k] < 2.0]
            more = self._rng.choice(short, int(self._rng.integers(1, 4)))
            return [clip, *(int(k) for k in more)]
        return [clip]


class Feeder:
    """Batches made ready: features, frames of each clip, targets and their rivals.

    On a GPU a thread makes them ahead, on a stream of its own, so that neither the sounds nor
    the network wait for the other; elsewhere they are made when asked for. ``near_clean`` is the
    share left almost as recorded.
    """

    def __init__(self, augmenter: Augmenter, drawer: Drawer, ahead: int = 3) -> None:
        self.near_clean = 0.125
        self._augmenter = augmenter
        self._drawn = iter(drawer)
        self._device = augmenter.speech.flat.device
        self._ready: queue.Queue[Any] = queue.Queue(ahead)
        self._over = threading.Event()
        self._thread: threading.Thread | None = None
        if self._device.type == "cuda":
            self._thread = threading.Thread(target=self._make, daemon=True)
            self._thread.start()

    def __iter__(self) -> Feeder:
        return self

    def __next__(self) -> tuple[Any, Any, list[Phones], list[list[Phones]]]:
        if self._thread is None:
            return self._next()
        made = self._ready.get()
        if isinstance(made, Exception):
            raise made
        features, frames, targets, rivals, finished = made
        here = torch.cuda.current_stream(self._device)
        here.wait_event(finished)
        features.record_stream(here)
        frames.record_stream(here)
        return features, frames, targets, rivals

    def close(self) -> None:
        """Stop making batches."""
        self._over.set()
        while self._thread is not None and self._thread.is_alive():
            with contextlib.suppress(queue.Empty):
                self._ready.get(timeout=0.1)

    def _next(self) -> tuple[Any, Any, list[Phones], list[list[Phones]]]:
        picks, targets, rivals = next(self._drawn)
        with torch.no_grad():
            features, frames = self._augmenter.batch(picks, near_clean=self.near_clean)
        return features, frames, targets, rivals

    def _make(self) -> None:
        stream = torch.cuda.Stream(self._device)
        try:
            with torch.cuda.stream(stream):
                while not self._over.is_set():
                    made = self._next()
                    finished = torch.cuda.Event()
                    finished.record(stream)
                    self._ready.put((*made, finished))
        except Exception as error:  # noqa: BLE001 - told where the batch is waited for
            self._ready.put(error)
