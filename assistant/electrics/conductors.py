"""Resistance of wire: gauge, metal, length and temperature.

Copper is 1/58 ohm mm2/m at 20 degC (IEC 60028). Copper-clad aluminium is counted at its least
conductivity by ASTM B566: 64.4 % IACS for 15 % copper by volume, 62.9 % for 10 %.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from assistant.electrics.arrays import FloatArray, checked
from assistant.errors import GivenError
from assistant.knowledge.schema import parse_gauge

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import ArrayLike

__all__ = [
    "CLASS_5_MAX_MILLIOHM_PER_M",
    "IACS_PERCENT",
    "STRAND_FACTOR",
    "TEMPERATURE_COEFFICIENT",
    "awg_area_mm2",
    "awg_diameter_mm",
    "gauge_area_mm2",
    "gauge_resistance_per_m",
    "parallel",
    "solid_resistance_per_m",
    "temperature_factor",
    "voltage_drop",
    "wire_resistance",
]

COPPER_OHM_MM2_PER_M: Final = 1.0 / 58.0
"""IEC 60028: 100 % IACS at 20 degC."""

IACS_PERCENT: Final[Mapping[str, float]] = {
    "copper": 100.0,
    "copper_clad_aluminum": 64.4,
    "copper_clad_aluminum_10": 62.9,
    "aluminum": 61.0,
}
"""Conductivity in percent of IACS: IEC 60028; ASTM B566 (15 % and 10 % copper by volume)."""

TEMPERATURE_COEFFICIENT: Final[Mapping[str, float]] = {
    "copper": 0.00393,
    "copper_clad_aluminum": 0.0040,
    "copper_clad_aluminum_10": 0.0040,
    "aluminum": 0.00403,
}
"""Per degC at 20 degC. Copper: IEC 60028. Aluminium: IEC 60889, from memory. Clad: between."""

STRAND_FACTOR: Final = 1.02
"""Stranded over solid at one area: 1.018 to 1.024 in NEC chapter 9 table 8."""

CLASS_5_MAX_MILLIOHM_PER_M: Final[Mapping[float, float]] = {
    0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95, 6.0: 3.30, 10.0: 1.91,
    16.0: 1.21, 25.0: 0.780, 35.0: 0.554, 50.0: 0.386, 70.0: 0.272, 95.0: 0.206,
}  # fmt: skip
"""IEC 60228 class 5, plain copper, greatest resistance at 20 degC by nominal area in mm2."""

_CLASS_5_LOG_AREA: Final = np.log(np.array(list(CLASS_5_MAX_MILLIOHM_PER_M)))
_CLASS_5_LOG_FACTOR: Final = np.log(
    np.array([r * 1e-3 * a / COPPER_OHM_MM2_PER_M for a, r in CLASS_5_MAX_MILLIOHM_PER_M.items()])
)


def _property(table: Mapping[str, float], material: str) -> float:
    try:
        return table[material]
    except KeyError:
        raise GivenError(
            f"The conductor material {material!r} is not known.",
            next_step=f"Use one of {', '.join(table)}.",
        ) from None


def awg_diameter_mm(n: ArrayLike) -> FloatArray:
    """Diameter of solid AWG wire in mm, any shape; 1/0 is 0, 4/0 is -3, 40 the thinnest.

    d = 0.005 in * 92^((36 - n)/39), ASTM B258. Raises ``GivenError`` outside -3 to 40.
    """
    gauge = checked("An AWG number", n, low=-3.0, high=40.0)
    return np.asarray(0.127 * 92.0 ** ((36.0 - gauge) / 39.0))


def awg_area_mm2(n: ArrayLike) -> FloatArray:
    """Area of solid AWG wire in mm2, of the shape of ``n`` (ASTM B258)."""
    return np.asarray(np.pi / 4.0 * awg_diameter_mm(n) ** 2)


def temperature_factor(material: str, temperature_c: ArrayLike) -> FloatArray:
    """Resistance at ``temperature_c`` over that at 20 degC: 1 + alpha (t - 20), IEC 60028.

    Raises ``GivenError`` outside -100 to 300 degC or for an unknown material.
    """
    temperature = checked("A wire temperature in degC", temperature_c, low=-100.0, high=300.0)
    return np.asarray(1.0 + _property(TEMPERATURE_COEFFICIENT, material) * (temperature - 20.0))


def solid_resistance_per_m(
    area_mm2: ArrayLike, material: str = "copper", temperature_c: ArrayLike = 20.0
) -> FloatArray:
    """Resistance of solid wire in ohm/m; area in mm2 and temperature broadcast.

    Resistivity over area (IEC 60028, ASTM B566 for clad wire). Raises ``GivenError`` for an area
    that is not positive or an unknown material.
    """
    area = checked("A wire's area in mm2", area_mm2, above=0.0)
    conductivity = _property(IACS_PERCENT, material) / 100.0
    per_m = COPPER_OHM_MM2_PER_M / (conductivity * area)
    return np.asarray(per_m * temperature_factor(material, temperature_c))


def gauge_area_mm2(gauge: str) -> float:
    """Area in mm2 that "4 AWG" or "16 mm2" names. Raises ``GivenError`` if it names none."""
    system, number = _parsed(gauge)
    return number if system == "mm2" else float(awg_area_mm2(number))


def _parsed(gauge: str) -> tuple[str, float]:
    try:
        return parse_gauge(gauge)
    except ValueError as cause:
        raise GivenError(
            f"The gauge {gauge!r} is neither AWG nor mm2.", next_step="Write '4 AWG' or '16 mm2'."
        ) from cause


def gauge_resistance_per_m(
    gauge: str,
    material: str = "copper",
    temperature_c: ArrayLike = 20.0,
    *,
    strand_factor: ArrayLike = STRAND_FACTOR,
) -> FloatArray:
    """Resistance of stranded wire in ohm/m, of the broadcast shape of the two arrays.

    AWG: solid wire of that area times ``strand_factor``. Metric: the greatest resistance that
    IEC 60228 class 5 allows, which has stranding in it; between its sizes its ratio to solid
    wire is interpolated over the logarithm of the area, and beyond its ends the end's ratio
    stays. Raises ``GivenError`` for an unreadable gauge or unknown material.
    """
    system, number = _parsed(gauge)
    if system == "mm2":
        log_factor = np.interp(np.log(number), _CLASS_5_LOG_AREA, _CLASS_5_LOG_FACTOR)
        return np.asarray(
            np.exp(log_factor) * solid_resistance_per_m(number, material, temperature_c)
        )
    factor = checked("A strand factor", strand_factor, low=1.0, high=1.5)
    return np.asarray(
        factor * solid_resistance_per_m(awg_area_mm2(number), material, temperature_c)
    )


def wire_resistance(
    gauge: str,
    material: str,
    length_m: ArrayLike,
    temperature_c: ArrayLike = 20.0,
    *,
    strand_factor: ArrayLike = STRAND_FACTOR,
) -> FloatArray:
    """Resistance in ohm of ``length_m`` metres, one way, of stranded wire (shapes broadcast)."""
    length = checked("A wire's length in m", length_m, low=0.0)
    per_m = gauge_resistance_per_m(gauge, material, temperature_c, strand_factor=strand_factor)
    return np.asarray(length * per_m)


def voltage_drop(current_a: ArrayLike, resistance_ohm: ArrayLike) -> FloatArray:
    """Drop in V over ``resistance_ohm`` at ``current_a`` (Ohm's law; shapes broadcast)."""
    current = checked("A current in A", current_a)
    return np.asarray(current * checked("A resistance in ohm", resistance_ohm, low=0.0))


def parallel(*resistances_ohm: ArrayLike) -> FloatArray:
    """Resistances side by side, in ohm, shapes broadcast; zero shorts, infinity is open.

    1/R = sum 1/Ri (Kirchhoff). Raises ``GivenError`` when none is given or one is negative.
    """
    if not resistances_ohm:
        raise GivenError("No resistance was given.", next_step="Give at least one.")
    with np.errstate(divide="ignore"):
        total = np.asarray(0.0)
        for given in resistances_ohm:
            total = total + 1.0 / np.abs(
                checked("A resistance in ohm", given, low=0.0, allow_infinite=True)
            )
        return np.asarray(1.0 / total)
