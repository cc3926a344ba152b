"""A hand-held meter and the person who reads it: true values in, the contract's readings out.

Accuracy 0.5 % + 2 counts (a common DC specification; 12.60 V gives 0.083 V either way).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from assistant.practice.draws import log_uniform

if TYPE_CHECKING:
    import numpy as np

__all__ = ["OHM_RANGES", "Meter", "draw_meter"]

Reading = dict[str, Any]

OHM_RANGES: Final = (
    (400.0, 0.1, 0.5e-3),
    (4e3, 1.0, 80e-6),
    (40e3, 10.0, 8e-6),
    (400e3, 100.0, 0.9e-6),
    (4e6, 1e3, 0.15e-6),
    (40e6, 10e3, 0.05e-6),
)
"""Full scale, one count (both in ohm) and the test current in A of each range."""
_VOLT_RANGES: Final = ((0.4, 1e-4), (4.0, 1e-3), (40.0, 1e-2), (400.0, 1e-1))
_JUMP_PART = 0.06
_JUMP_VOLTS = 0.15
_JUMP_VOLTS_PART = 0.015
_JUMP_OHMS = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Meter:
    """One meter: a fixed gain error, its leads, its beeper and its display."""

    gain: float
    ac_gain: float
    leads: float
    beeps_under: float
    says_millivolts: bool
    input_ohms: float = 10e6

    def volts(self, rng: np.random.Generator, values: list[float], *, ac: bool = False) -> Reading:
        """Show a voltage; several values stand for a reading that jumps among them."""
        gain = self.ac_gain if ac else self.gain
        shown = [_displayed(rng, value * gain, _VOLT_RANGES) for value in values]
        if ac:
            shown = [max(0.0, value) for value in shown]
        low, high = min(shown), max(shown)
        if high - low > max(_JUMP_VOLTS, _JUMP_VOLTS_PART * abs(high)):
            return _unstable(low, high, "V", 2)
        value = float(rng.choice(shown))
        if self.says_millivolts and 0 < abs(value) < 0.4:
            return {"value": round(value * 1e3, 1) + 0.0, "unit": "mV"}
        return {"value": round(value, 2) + 0.0, "unit": "V"}

    def amperes(self, rng: np.random.Generator, values: list[float]) -> Reading:
        """Show a clamp's current: 2 % and 0.1 A either way."""
        shown = [v * (1 + 0.02 * rng.uniform(-1, 1)) + 0.1 * rng.uniform(-1, 1) for v in values]
        low, high = min(shown), max(shown)
        if high - low > max(0.5, 0.2 * abs(high)):
            return _unstable(low, high, "A", 1)
        return {"value": round(shown[0], 1), "unit": "A"}

    def ohms(self, rng: np.random.Generator, values: list[float | None]) -> Reading:
        """Show a resistance between the tips, leads included; None stands for open line."""
        shown: list[float | None] = []
        for value in values:
            if value is None:
                shown.append(None)
                continue
            count = next((c for full, c, _ in OHM_RANGES if abs(value) < full), OHM_RANGES[-1][1])
            slip = value * (self.gain - 1) + 2 * count * float(rng.uniform(-1, 1))
            shown.append(max(0.0, round((value + slip) / count) * count))
        if all(value is None for value in shown):
            return {"open_line": True}
        real = [value for value in shown if value is not None]
        if len(real) < len(shown):
            return _ohm_jump(min(real), None)
        low, high = min(real), max(real)
        if high - low > max(_JUMP_OHMS, _JUMP_PART * high):
            return _ohm_jump(low, high)
        return _ohm_value(float(rng.choice(real)))

    def beep(self, values: list[float | None]) -> Reading:
        """Tell whether the beeper sounds."""
        heard = [value is not None and value < self.beeps_under for value in values]
        return {"beep": heard[0] if len(set(heard)) == 1 else True}


def draw_meter(rng: np.random.Generator) -> Meter:
    """Draw a meter: leads 0.1 to 0.4 ohm, beeper at 30 to 100 ohm (five makers' manuals)."""
    return Meter(
        gain=1 + 0.005 * float(rng.uniform(-1, 1)),
        ac_gain=1 + 0.015 * float(rng.uniform(-1, 1)),
        leads=float(rng.uniform(0.1, 0.4)),
        beeps_under=log_uniform(rng, 30, 100),
        says_millivolts=bool(rng.random() < 0.4),
    )


def _displayed(
    rng: np.random.Generator, value: float, ranges: tuple[tuple[float, float], ...]
) -> float:
    count = next((c for full, c in ranges if abs(value) < full), ranges[-1][1])
    steps = round(value / count + 2 * float(rng.uniform(-1, 1)))
    return steps * count


def _unstable(low: float, high: float, unit: str, digits: int) -> Reading:
    return {
        "unstable": True,
        "low": round(low, digits),
        "high": round(high, digits),
        "unit": unit,
    }


def _scale(value: float) -> tuple[float, str]:
    if value < 1e3:
        return 1.0, "ohm"
    return (1e3, "kohm") if value < 1e6 else (1e6, "Mohm")


def _ohm_value(value: float) -> Reading:
    scale, unit = _scale(value)
    digits = 1 if scale == 1.0 else 2
    return {"value": round(value / scale, digits), "unit": unit}


def _ohm_jump(low: float, high: float | None) -> Reading:
    if high is None:
        return {"unstable": True, "low": round(low, 1), "unit": "ohm"}
    scale, unit = _scale(high)
    return _unstable(math.floor(low / scale * 10) / 10, high / scale, unit, 1)
