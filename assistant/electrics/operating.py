"""Where a constant-power load settles on a supply path, in closed form, for all worlds at once.

The load draws ``idle + power / V``. With source emf E and resistance R the voltage V solves
``V^2 - (E - R idle) V + R power = 0``; the upper root is the stable one. With no real root the
path cannot carry the power: the world is *collapsed*, which is a state and no error.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assistant.electrics.arrays import BoolArray, FloatArray, checked
from assistant.electrics.charging import Piece, SourceCurve, source_curve, voltage_on

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

__all__ = [
    "OperatingPoint",
    "constant_power_operating_point",
    "operating_point_on_curve",
    "operating_point_two_source",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class OperatingPoint:
    """Voltage at the load in V, current in A and whether it collapsed, each (worlds,).

    Where collapsed, voltage and current are those of the most power that the path can give
    (half the emf for a plain source), 0 V where it cannot even carry the idle current, and
    0 V, 0 A behind an open path. ``source_v`` is the voltage in V at the source's own posts.
    """

    voltage: FloatArray
    current: FloatArray
    collapsed: BoolArray
    source_v: FloatArray


def constant_power_operating_point(
    emf: ArrayLike, resistance: ArrayLike, power: ArrayLike, idle_current: ArrayLike = 0.0
) -> OperatingPoint:
    """Settle ``power`` W and ``idle_current`` A on ``emf`` V behind ``resistance`` ohm.

    Shapes broadcast to (worlds,). An infinite resistance is an open path. Raises ``GivenError``
    for negative or non-finite inputs. Upper root of the quadratic in the module's docstring.
    """
    e, r, p, idle = np.broadcast_arrays(
        checked("An emf in V", emf, low=0.0),
        checked("A resistance in ohm", resistance, low=0.0, allow_infinite=True),
        checked("A power in W", power, low=0.0),
        checked("An idle current in A", idle_current, low=0.0),
    )
    is_open = np.isinf(r)
    r = np.where(is_open, 0.0, r)
    inner = e - r * idle
    discriminant = inner * inner - 4.0 * r * p
    wants = (p > 0.0) | (idle > 0.0)
    # With no emf there is nothing to settle on, whatever the resistance.
    collapsed = wants & (is_open | (discriminant < 0.0) | (inner <= 0.0))
    upper = 0.5 * (inner + np.sqrt(np.maximum(discriminant, 0.0)))
    voltage = np.where(collapsed, 0.5 * np.maximum(inner, 0.0), upper)
    with np.errstate(divide="ignore", invalid="ignore"):
        settled = idle + np.where(p > 0.0, p / voltage, 0.0)
        gives_most = np.where(r > 0.0, (e - voltage) / r, 0.0)
    current = np.where(collapsed, gives_most, settled)
    voltage = np.where(is_open, np.where(wants, 0.0, e), voltage)
    current = np.where(is_open, 0.0, current)
    return OperatingPoint(
        voltage=voltage,
        current=current,
        collapsed=np.asarray(collapsed),
        source_v=np.where(is_open, e, voltage + r * current),
    )


def operating_point_on_curve(
    curve: SourceCurve, resistance: ArrayLike, power: ArrayLike, idle_current: ArrayLike = 0.0
) -> OperatingPoint:
    """Settle the load on a piecewise linear source behind ``resistance`` ohm, (worlds,).

    Pieces are tried from the lowest current up: the first crossing of power drawn and power
    given is the stable one. Raises ``GivenError`` for negative or non-finite inputs.
    """
    shape = np.broadcast_shapes(
        curve.shape, np.shape(resistance), np.shape(power), np.shape(idle_current)
    )
    r = _flat(checked("A resistance in ohm", resistance, low=0.0, allow_infinite=True), shape)
    p = _flat(checked("A power in W", power, low=0.0), shape)
    idle = _flat(checked("An idle current in A", idle_current, low=0.0), shape)
    pieces = [_flat_piece(piece, shape) for piece in curve.pieces]
    is_open = np.isinf(r)
    load = _Load(resistance=np.where(is_open, 0.0, r), power=p, idle=idle)
    current = np.zeros(r.shape)
    source_v = np.zeros(r.shape)
    left: NDArray[np.intp] | None = None  # every world
    for low, high, emf, source_r in pieces:
        # The load draws nothing below its idle current: most pieces are out of its reach.
        if left is None:
            if not np.any(high >= idle):
                continue
            fits, drawn = load.crossing(low, high, emf, source_r)
            current = np.where(fits, drawn, 0.0)
            source_v = np.where(fits, emf - source_r * drawn, 0.0)
            left = np.flatnonzero(~fits)
        else:
            here = load.at(left)
            fits, drawn = here.crossing(low[left], high[left], emf[left], source_r[left])
            hit = left[fits]
            current[hit] = drawn[fits]
            source_v[hit] = emf[hit] - source_r[hit] * drawn[fits]
            left = left[~fits]
        if not left.size:
            break
    wants = (p > 0.0) | (idle > 0.0)
    collapsed = is_open & wants
    unsettled = is_open.copy()
    unsettled[... if left is None else left] = True
    if (rest := np.flatnonzero(unsettled)).size:
        collapsed[rest] |= wants[rest]
        ends = [(a[rest], b[rest], emf[rest], ohm[rest]) for a, b, emf, ohm in pieces]
        gives = wants[rest] & ~is_open[rest]
        current[rest] = np.where(gives, load.at(rest).most(ends), 0.0)
        source_v[rest] = voltage_on(ends, current[rest])
    voltage = np.where(is_open & wants, 0.0, source_v - load.resistance * current)
    return OperatingPoint(
        voltage=np.maximum(voltage, 0.0).reshape(shape),
        current=current.reshape(shape),
        collapsed=collapsed.reshape(shape),
        source_v=source_v.reshape(shape),
    )


def _flat(value: FloatArray, shape: tuple[int, ...]) -> FloatArray:
    if value.shape == shape and value.ndim == 1:
        return value
    return np.broadcast_to(value, shape).reshape(-1)


def _flat_piece(piece: Piece, shape: tuple[int, ...]) -> Piece:
    low, high, emf, source_r = piece
    return _flat(low, shape), _flat(high, shape), _flat(emf, shape), _flat(source_r, shape)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Load:
    """A load of ``power`` W and ``idle`` A behind ``resistance`` ohm, each (worlds,)."""

    resistance: FloatArray
    power: FloatArray
    idle: FloatArray

    def at(self, index: NDArray[np.intp]) -> _Load:
        return _Load(
            resistance=self.resistance[index], power=self.power[index], idle=self.idle[index]
        )

    def crossing(
        self, low: FloatArray, high: FloatArray, emf: FloatArray, source_r: FloatArray
    ) -> tuple[BoolArray, FloatArray]:
        """Tell where the load settles on this piece, and its current in A there, (worlds,)."""
        total_r = source_r + self.resistance
        inner = emf - total_r * self.idle
        if np.any(self.power):
            discriminant = inner * inner - 4.0 * total_r * self.power
            root = 0.5 * (inner + np.sqrt(np.maximum(discriminant, 0.0)))
            with np.errstate(divide="ignore", invalid="ignore"):
                drawn = self.idle + np.where(self.power > 0.0, self.power / root, 0.0)
            settles = (discriminant >= 0.0) & (root > 0.0)
        else:
            drawn, settles = self.idle, inner > 0.0
        slack = 1e-9 * (1.0 + np.abs(drawn))
        fits = settles & (drawn >= np.maximum(low, self.idle) - slack) & (drawn <= high + slack)
        return np.asarray(fits), np.asarray(drawn)

    def most(self, pieces: list[Piece]) -> FloatArray:
        """Give the current in A at which the path gives the load the most power, (worlds,)."""
        best_power = np.full(self.idle.shape, -np.inf)
        best_current = np.zeros(self.idle.shape)
        shorted = np.full(self.idle.shape, np.nan)
        for low, high, emf, source_r in pieces:
            total_r = source_r + self.resistance
            start = np.maximum(low, self.idle)
            with np.errstate(divide="ignore", invalid="ignore"):
                # Most of (I - idle)(emf - R I) lies half way between its zeros.
                vertex = np.where(total_r > 0.0, 0.5 * (self.idle + emf / total_r), np.inf)
                # The current at which nothing is left at the load.
                zero = np.where(total_r > 0.0, emf / total_r, np.inf)
            shorted = np.where(np.isnan(shorted) & (zero <= high), zero, shorted)
            top = np.minimum(np.maximum(vertex, start), np.maximum(high, start))
            top = np.where(np.isfinite(top), top, start)
            given = np.where(high >= start, (top - self.idle) * (emf - total_r * top), -np.inf)
            better = given > best_power
            best_power = np.where(better, given, best_power)
            best_current = np.where(better, top, best_current)
        # A path that cannot even carry the idle current has nothing left at the load.
        return np.where(best_power > 0.0, best_current, shorted)


def operating_point_two_source(
    *,
    set_point: ArrayLike,
    limit: ArrayLike,
    battery_emf: ArrayLike,
    battery_resistance: ArrayLike,
    resistance: ArrayLike,
    power: ArrayLike,
    idle_current: ArrayLike = 0.0,
    other_current: ArrayLike = 0.0,
    charge_resistance: ArrayLike = 0.15,
    output_resistance: ArrayLike = 0.0,
) -> OperatingPoint:
    """Settle the load on alternator (up to ``limit`` A) and battery behind ``resistance`` ohm.

    All in V, A, ohm, W, broadcast to (worlds,); ``limit`` 0 is a standing engine. The source is
    that of ``assistant.electrics.charging.source_curve``, ``resistance`` the path from the
    battery's posts to the load and back. Raises ``GivenError`` for impossible inputs.
    """
    curve = source_curve(
        set_point=set_point,
        limit=limit,
        battery_emf=battery_emf,
        battery_resistance=battery_resistance,
        charge_resistance=charge_resistance,
        output_resistance=output_resistance,
        other_current=other_current,
    )
    return operating_point_on_curve(curve, resistance, power, idle_current)
