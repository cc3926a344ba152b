"""Computed noise that is kept for a while, so that no batch has to make all of its own.

Making noise takes a GPU little time, but telling it to takes a processor more than all else in a
batch. So some sounds of each kind are kept and drawn from, at any place, and with every batch
those of one kind are made anew, in turn.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import torch

if TYPE_CHECKING:
    from assistant.speech.acoustic.noises import ComputedNoise

__all__ = ["KINDS", "KeptNoise"]

RATE: Final = 16_000
KINDS: Final = ("beating", "hum", "engine", "clanks", "air", "music")
"""The kinds of ``ComputedNoise`` that are kept."""
_MADE: Final = 16
_KEPT: Final = 64
_SAMPLES: Final = 3 * RATE + RATE // 2


class KeptNoise:
    """Gives noise of a kind that ``computed`` makes, drawn from its generator, on its device."""

    def __init__(self, computed: ComputedNoise) -> None:
        self._computed = computed
        self._sounds: dict[str, Any] = {}
        self._turn = 0

    def renew(self) -> None:
        """Make some noise anew of the kind whose turn it is; the oldest of it is let go."""
        kind = KINDS[self._turn % len(KINDS)]
        self._turn += 1
        made = self._made(kind)
        kept = self._sounds.get(kind, made[:0])
        self._sounds[kind] = torch.cat([kept, made])[-_KEPT:]

    def draw(self, kind: str, rows: int, samples: int) -> Any:
        """Give stretches of kept noise of ``kind``, rows x samples; past its end it begins anew."""
        if kind not in self._sounds:
            self._sounds[kind] = self._made(kind)
        sounds = self._sounds[kind]
        generator, device = self._computed.generator, sounds.device
        pick = torch.randint(len(sounds), (rows, 1), generator=generator, device=device)
        begin = torch.randint(_SAMPLES, (rows, 1), generator=generator, device=device)
        spots = torch.arange(samples, device=device)[None]
        return sounds[pick, (begin + spots) % _SAMPLES]

    def _made(self, kind: str) -> Any:
        return getattr(self._computed, kind)(_MADE, _SAMPLES)
