"""The supply while the engine starts, as ISO 16750-2 tests it; the edition must be named.

Editions differ: from 2006 on level I rests at 9.5 V, in 2003 at 10.5 V. The later figures are
from memory, the 2003 ones from a transient generator's test file (secondary).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from assistant.electrics.arrays import FloatArray, checked
from assistant.errors import GivenError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import ArrayLike

__all__ = ["EDITIONS", "StartingProfile", "starting_profile"]


@dataclass(frozen=True, slots=True, kw_only=True)
class StartingProfile:
    """One severity level: voltages in V and times in s, from the moment the starter turns on."""

    edition: str
    level: str
    dip_v: float
    cranking_v: float
    fall_s: float
    dip_s: float
    rise_s: float
    cranking_s: float
    recovery_s: float
    clause: str
    sureness: str

    @property
    def duration_s(self) -> float:
        """Time in s until the supply is back."""
        return self.fall_s + self.dip_s + self.rise_s + self.cranking_s + self.recovery_s

    def voltage_at(self, time_s: ArrayLike, resting_v: ArrayLike = 12.0) -> FloatArray:
        """Voltage in V at ``time_s`` (any shape), straight lines between corners.

        ``resting_v`` is the supply before and after (UB, 12 V in the standard). Raises
        ``GivenError`` for a time that is not finite or a negative voltage.
        """
        time, rest = np.broadcast_arrays(
            checked("A time in s", time_s), checked("A resting voltage in V", resting_v, low=0.0)
        )
        corners = np.cumsum(
            [0.0, self.fall_s, self.dip_s, self.rise_s, self.cranking_s, self.recovery_s]
        )
        # 1 where the resting voltage rules, so that one table serves every world.
        weight = np.interp(time, corners, [1.0, 0.0, 0.0, 0.0, 0.0, 1.0])
        floor = np.interp(
            time,
            corners,
            [self.dip_v, self.dip_v, self.dip_v, self.cranking_v, self.cranking_v, self.cranking_v],
        )
        return np.asarray(weight * rest + (1.0 - weight) * floor)


def _later(level: str, dip: float, cranking: float, seconds: float, tf: float) -> StartingProfile:
    return StartingProfile(
        edition="2006", level=level, dip_v=dip, cranking_v=cranking, fall_s=0.005, dip_s=0.015,
        rise_s=0.050, cranking_s=seconds, recovery_s=tf, clause="4.6.3 table 3",
        sureness="from memory",
    )  # fmt: skip


EDITIONS: Final[Mapping[str, Mapping[str, StartingProfile]]] = {
    "2003": {
        "I": StartingProfile(
            edition="2003", level="I", dip_v=8.0, cranking_v=10.5, fall_s=0.005, dip_s=0.015,
            rise_s=0.050, cranking_s=1.0, recovery_s=0.040, clause="4.5.3",
            sureness="secondary source",
        ),
    },
    "2006": {
        "I": _later("I", 8.0, 9.5, 1.0, 0.040),
        "II": _later("II", 4.5, 6.5, 10.0, 0.100),
        "III": _later("III", 3.0, 5.0, 1.0, 0.100),
        "IV": _later("IV", 6.0, 6.5, 10.0, 0.100),
    },
}  # fmt: skip
"""By edition ("2003"; "2006" stands for 2006 and later) and level, 12 V systems."""


def starting_profile(edition: str, level: str) -> StartingProfile:
    """Give the profile of a level in an edition. Raises ``GivenError`` where there is none."""
    levels = EDITIONS.get(edition)
    if levels is None:
        raise GivenError(
            f"No starting profile of edition {edition!r} is known.",
            next_step=f"Name one of {', '.join(EDITIONS)}; 2006 stands for all later ones.",
        )
    if level not in levels:
        raise GivenError(
            f"Edition {edition} has no level {level!r} here.",
            next_step=f"Use one of {', '.join(levels)}.",
        )
    return levels[level]
