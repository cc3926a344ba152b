"""Charging: the regulator's set-point, and alternator and battery joined into one source.

At the battery's posts the alternator gives ``(set_point - V) / output_resistance`` between 0
and its limit; the battery gives ``(emf - V) / R`` and takes charge through a larger resistance,
because a charged battery takes far less than its inner resistance would let in. Both fall with
V, so the sum is a falling line of four straight pieces.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from assistant.electrics.arrays import FloatArray, checked

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import ArrayLike

__all__ = [
    "REFERENCE_C",
    "SET_POINT_HALF_BAND_V",
    "SET_POINT_SLOPE_V_PER_C",
    "SET_POINT_V",
    "Piece",
    "SolvedSource",
    "SourceCurve",
    "set_point_band_v",
    "set_point_v",
    "solve_source",
    "source_curve",
    "voltage_on",
]

SET_POINT_V: Final = 14.55
SET_POINT_HALF_BAND_V: Final = 0.3
SET_POINT_SLOPE_V_PER_C: Final = -0.0035
SET_POINT_SLOPE_HALF_BAND_V_PER_C: Final = 0.002
"""14.55 +-0.3 V and -3.5 +-2 mV/degC: service manual of the Hyundai Kona 2021."""
REFERENCE_C: Final = 25.0
"""Temperature of the nominal set-point; the manual's page gives none, 25 degC is common."""

_LEAST_OUTPUT_OHM: Final = 1e-9
_LEAST_BATTERY_OHM: Final = 1e-6


def set_point_v(
    temperature_c: ArrayLike,
    *,
    nominal_v: ArrayLike = SET_POINT_V,
    slope_v_per_c: ArrayLike = SET_POINT_SLOPE_V_PER_C,
) -> FloatArray:
    """Set-point in V at the regulator's temperature in degC; shapes broadcast.

    Nominal plus slope times (t - 25 degC). Raises ``GivenError`` outside -60 to 200 degC.
    """
    temperature = checked("A regulator's temperature in degC", temperature_c, low=-60.0, high=200.0)
    nominal = checked("A set-point in V", nominal_v, low=0.0)
    slope = checked("A set-point slope in V/degC", slope_v_per_c)
    return np.asarray(nominal + slope * (temperature - REFERENCE_C))


def set_point_band_v(temperature_c: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Lowest and highest set-point in V that the tolerances allow at ``temperature_c``."""
    middle = set_point_v(temperature_c)
    off = np.abs(np.asarray(temperature_c, dtype=np.float64) - REFERENCE_C)
    half = SET_POINT_HALF_BAND_V + SET_POINT_SLOPE_HALF_BAND_V_PER_C * off
    return np.asarray(middle - half), np.asarray(middle + half)


Piece = tuple[FloatArray, FloatArray, FloatArray, FloatArray]
"""One straight piece: from A, to A, its emf V at no current, its resistance ohm, (worlds,)."""


def _pieces(
    current: FloatArray, voltage: FloatArray, first_r: FloatArray, last_r: FloatArray
) -> tuple[Piece, ...]:
    """Join corners, (3, worlds), and the resistances beyond them to straight pieces."""
    ends = np.full(current.shape[1:], np.inf)
    found: list[Piece] = [(-ends, current[0], voltage[0] + first_r * current[0], first_r)]
    for k in (0, 1):
        width = current[k + 1] - current[k]
        if not width.any():
            continue
        fall = voltage[k] - voltage[k + 1]
        slope = np.divide(fall, width, out=np.zeros_like(fall), where=width > 0.0)
        found.append((current[k], current[k + 1], voltage[k] + slope * current[k], slope))
    found.append((current[2], ends, voltage[2] + last_r * current[2], last_r))
    return tuple(found)


def voltage_on(pieces: Iterable[Piece], current: FloatArray) -> FloatArray:
    """Voltage in V at the posts at ``current`` A, of the shape of ``current``; nan off the line."""
    result = np.full(current.shape, np.nan)
    for low, high, emf, resistance in pieces:
        inside = (current >= low) & (current <= high) & np.isnan(result)
        result = np.where(inside, emf - resistance * current, result)
    return result


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceCurve:
    """Voltage at the battery's posts as it falls with the current drawn from them.

    ``corner_current`` (A, rising) and ``corner_voltage`` (V, falling) are (3, worlds); below the
    first corner the line has slope ``-charge_resistance`` or ``-battery_resistance``
    (``first_resistance``), above the last one ``-last_resistance``, in ohm, (worlds,).
    ``pieces`` are the straight pieces from the lowest current up, those without width left out.
    """

    corner_current: FloatArray
    corner_voltage: FloatArray
    first_resistance: FloatArray
    last_resistance: FloatArray
    pieces: tuple[Piece, ...]

    @property
    def shape(self) -> tuple[int, ...]:
        """Shape of the worlds."""
        return self.corner_current.shape[1:]

    def voltage_at(self, current: ArrayLike) -> FloatArray:
        """Voltage in V at the posts when ``current`` A is drawn; shapes broadcast."""
        drawn = checked("A current in A", current)
        return voltage_on(
            self.pieces, np.broadcast_to(drawn, np.broadcast_shapes(self.shape, drawn.shape))
        )


def source_curve(
    *,
    set_point: ArrayLike,
    limit: ArrayLike,
    battery_emf: ArrayLike,
    battery_resistance: ArrayLike,
    charge_resistance: ArrayLike = 0.15,
    output_resistance: ArrayLike = 0.0,
    other_current: ArrayLike = 0.0,
) -> SourceCurve:
    """Join alternator and battery into one source seen at the battery's posts, (worlds,).

    ``set_point`` V at the alternator's output, ``limit`` A (0: the engine stands),
    ``output_resistance`` ohm of the charging cable and its joints, ``battery_emf`` V,
    ``battery_resistance`` ohm when it gives and ``charge_resistance`` ohm when it takes,
    ``other_current`` A what the vehicle itself draws at the posts. Kirchhoff's current law over
    straight pieces. Raises ``GivenError`` for negative or non-finite inputs.
    """
    vset, imax, emf, rb, rc, ra, other = np.broadcast_arrays(
        checked("A set-point in V", set_point, low=0.0),
        checked("An alternator's limit in A", limit, low=0.0),
        checked("A battery's emf in V", battery_emf, low=0.0),
        np.maximum(checked("A battery's resistance in ohm", battery_resistance, low=0.0),
                   _LEAST_BATTERY_OHM),
        checked("A charge resistance in ohm", charge_resistance, above=0.0),
        np.maximum(checked("An output resistance in ohm", output_resistance, low=0.0,
                           high=1e6), _LEAST_OUTPUT_OHM),
        checked("A vehicle's own current in A", other_current, low=0.0),
    )  # fmt: skip
    first_r, last_r = np.asarray(rc + 0.0), np.asarray(rb + 0.0)
    if not imax.any() and not vset.any():
        # The engine stands: the battery's own line, whose other two corners lie at 0 V.
        none, most = np.zeros(emf.shape), emf / rb
        voltage, current = np.stack([emf, none, none]), np.stack([none, most, most])
    else:
        voltage, current = _corners(vset, imax, emf, rb, rc, ra)
    current = current - other
    return SourceCurve(
        corner_current=current,
        corner_voltage=voltage,
        first_resistance=first_r,
        last_resistance=last_r,
        pieces=_pieces(current, voltage, first_r, last_r),
    )


def _corners(  # noqa: PLR0917 - one array each, as in source_curve
    vset: FloatArray,
    imax: FloatArray,
    emf: FloatArray,
    rb: FloatArray,
    rc: FloatArray,
    ra: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Give volts (falling) and amperes (rising) of the three corners, (3, worlds) each."""
    knee = vset - ra * imax

    def battery(voltage: FloatArray) -> FloatArray:
        return np.asarray(np.where(voltage < emf, (emf - voltage) / rb, (emf - voltage) / rc))

    at_emf = np.clip((vset - emf) / ra, 0.0, imax)
    corner_v = np.stack([vset, knee, emf])
    corner_i = np.stack([battery(vset), battery(knee) + imax, at_emf])
    # The emf's corner goes above, between or below the alternator's two; ties keep this order.
    order = np.argsort(-corner_v, axis=0, kind="stable")
    voltage = np.take_along_axis(corner_v, order, axis=0)
    current = np.take_along_axis(corner_i, order, axis=0)
    # Where two corners share a voltage the current must still rise.
    return voltage, np.sort(current, axis=0)


@dataclass(frozen=True, slots=True, kw_only=True)
class SolvedSource:
    """What the source does at one current, (worlds,).

    ``voltage`` V at the battery's posts, ``output_voltage`` V at the alternator's output,
    ``alternator_current`` A it gives, ``battery_current`` A the battery gives (negative:
    it is charged).
    """

    voltage: FloatArray
    output_voltage: FloatArray
    alternator_current: FloatArray
    battery_current: FloatArray


def solve_source(
    *,
    current: ArrayLike,
    set_point: ArrayLike,
    limit: ArrayLike,
    battery_emf: ArrayLike,
    battery_resistance: ArrayLike,
    charge_resistance: ArrayLike = 0.15,
    output_resistance: ArrayLike = 0.0,
    other_current: ArrayLike = 0.0,
) -> SolvedSource:
    """Find the source's voltage and how the current is shared, drawing ``current`` A, (worlds,).

    Arguments as in ``source_curve``. With a limit of 0 A the output rests at the battery's
    voltage. Raises ``GivenError`` for impossible inputs.
    """
    curve = source_curve(
        set_point=set_point, limit=limit, battery_emf=battery_emf,
        battery_resistance=battery_resistance, charge_resistance=charge_resistance,
        output_resistance=output_resistance, other_current=other_current,
    )  # fmt: skip
    voltage = curve.voltage_at(current)
    emf = np.asarray(battery_emf, dtype=np.float64)
    rb = np.maximum(np.asarray(battery_resistance, dtype=np.float64), _LEAST_BATTERY_OHM)
    rc = np.asarray(charge_resistance, dtype=np.float64)
    from_battery = np.where(voltage < emf, (emf - voltage) / rb, (emf - voltage) / rc)
    total = np.asarray(current, dtype=np.float64) + np.asarray(other_current, dtype=np.float64)
    # What the battery does not give the alternator gives; rounding may leave a trace below 0.
    alternator = np.clip(total - from_battery, 0.0, np.asarray(limit, dtype=np.float64))
    ra = np.asarray(output_resistance, dtype=np.float64)
    return SolvedSource(
        voltage=voltage,
        output_voltage=np.asarray(voltage + ra * alternator),
        alternator_current=np.asarray(alternator),
        battery_current=np.asarray(total - alternator),
    )
