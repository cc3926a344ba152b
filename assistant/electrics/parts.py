"""The parts of many worlds as arrays, and the situation in which a check finds them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assistant.electrics.arrays import BoolArray, FloatArray
    from assistant.knowledge.schema import Audio, Do, Pair, Position, VehicleState

__all__ = ["OPEN_OHM", "TAKEN_OUT_OHM", "Parts", "Situation"]

OPEN_OHM = 1e8
"""At and above this a path counts as open: ten times a meter's input resistance."""
TAKEN_OUT_OHM = 1e9
"""Stands for a part that is taken out of a path, or unhooked."""

_LEVEL = {"off": 0, "quiet": 1, "loud": 2}


@dataclass(frozen=True, slots=True, kw_only=True)
class Parts:
    """Every number that matters, by name, each (worlds,); units stand in the names.

    ``values`` has a key per entry of ``spreads.yaml``, with ``.POS`` or ``.PAIR`` appended where
    the entry is made for positions or pairs. ``ambient_c`` is one number for all worlds.
    """

    values: Mapping[str, FloatArray]
    positions: tuple[Position, ...]
    pairs: tuple[Pair, ...]
    pair_of: Mapping[Position, Pair]
    ambient_c: float
    speaker_level: bool = False

    def __getitem__(self, name: str) -> FloatArray:
        return self.values[name]

    def flag(self, name: str) -> BoolArray:
        """Give a parameter that is 0 or 1 as a mask."""
        return np.asarray(self.values[name] > 0.5)

    @property
    def second_battery(self) -> bool:
        """Whether a second battery stands at the amplifier."""
        return "second_battery_ohm" in self.values

    @property
    def count(self) -> int:
        """Number of worlds."""
        return len(next(iter(self.values.values())))


@dataclass(frozen=True, slots=True)
class Situation:
    """Vehicle state, music level and set-up; hashable, so that a solution serves many checks."""

    vehicle: VehicleState
    audio: Audio
    setup: frozenset[str]

    @classmethod
    def of(cls, do: Do) -> Situation:
        """Take the situation that ``do`` asks for."""
        return cls(do.vehicle, do.audio, frozenset(do.setup))

    @property
    def level(self) -> int:
        """0 without music, 1 quiet, 2 loud."""
        return _LEVEL[self.audio]

    def speaker_connected(self, position: Position) -> bool:
        """Tell whether the speaker's wires are on the amplifier."""
        return (
            "disconnect:speakers" not in self.setup
            and f"disconnect:speaker.{position}" not in self.setup
        )

    def signal_connected(self, pair: Pair) -> bool:
        """Tell whether the pair's signal lead is on the amplifier."""
        return (
            "disconnect:signal" not in self.setup and f"disconnect:signal.{pair}" not in self.setup
        )

    def has(self, step: str) -> bool:
        """Tell whether the set-up contains ``step``."""
        return step in self.setup
