"""Wire resistance from gauge, length, material and temperature: this house's own formula."""

from __future__ import annotations

import math
import re

from assistant.errors import GivenError

__all__ = ["area_mm2", "wire_ohms"]

COPPER_OHM_MM2_PER_M = 0.017241
"""100 % IACS at 20 °C (IEC 60028, quoted in a secondary source: 1/58)."""
COPPER_PER_KELVIN = 0.00393
CLAD_FACTOR = 1.55
"""Copper-clad aluminium against copper: 1.50 to 1.60 (15 % copper, ASTM B566 as quoted)."""
_AWG = re.compile(r"^\s*(\d+)(/0)?\s*AWG\s*$", re.IGNORECASE)
_METRIC = re.compile(r"^\s*(\d+(?:\.\d+)?)\s*mm2\s*$", re.IGNORECASE)


def area_mm2(gauge: str) -> float:
    """Give the conductor's area; AWG by ASTM B258: d = 0.005 in * 92 ** ((36 - n) / 39)."""
    if awg := _AWG.match(gauge):
        number = 1 - int(awg[1]) if awg[2] else int(awg[1])
        inches = 0.005 * 92 ** ((36 - number) / 39)
        return float(math.pi / 4 * (inches * 25.4) ** 2)
    if metric := _METRIC.match(gauge):
        return float(metric[1])
    raise GivenError(f"The gauge {gauge!r} is not known.", next_step='As in "4 AWG" or "16 mm2".')


def wire_ohms(
    gauge: str, length_m: float, *, material: str = "copper", celsius: float = 20.0
) -> float:
    """Give the resistance in ohm of one run; no strand lay is added."""
    copper = COPPER_OHM_MM2_PER_M / area_mm2(gauge) * length_m
    warm = copper * (1 + COPPER_PER_KELVIN * (celsius - 20.0))
    return warm * (CLAD_FACTOR if material == "copper_clad_aluminum" else 1.0)
