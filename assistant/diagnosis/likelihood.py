"""How well each world predicted a reading, and the scale on which predictions are compared.

A reading is right but for meter and model tolerance with probability 1 - slip; else it is a
slip (wrong probe, wrong range, misheard) and could have been anything on the scale.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from assistant.electrics.meter import beep_probability
from assistant.errors import GivenError, MisuseError
from assistant.readings.reading import (
    SEEN_ANSWERS,
    UNIT_FACTORS,
    Beep,
    OpenLine,
    Quantity,
    Reading,
    Seen,
    Unstable,
    Value,
    base_unit,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from assistant.electrics.responses import Predicted

__all__ = [
    "SLIP",
    "Fit",
    "check_reading",
    "edges_of",
    "fit",
    "jump_chance",
    "on_scale",
    "sigma_on_scale",
]

SLIP: Final = 0.02
"""Chance that an answer is a slip: common practice, no source."""
_OPEN_FROM_OHM: Final = 2e7
_OHM_FLOOR: Final = 0.3
_AC_FLOOR_V: Final = 0.01
_FLOOR_V: Final = 0.012
_MILLIVOLT_FLOOR_V: Final = 0.003
_MILLIVOLTS_BELOW_V: Final = 0.4
"""What a small voltage may be off by, in V: as most say it, to two digits; and read off a range
that shows millivolts."""
_JUMP_SHOWS: Final = 0.4
_JUMP_BY_CHANCE: Final = 0.012
_JUMP_SLIP: Final = 0.05
_ENDS_FIT: Final = 0.65
_GAP_SHARE: Final = 0.15
"""Of jumping readings, how many name the two states, and how far off in share of their gap."""
_RANGE: Final = {"V": 19.0, "A": 60.0, "ohm": 18.0, "ac": 9.0}
"""Width of the scale over which a slip may fall."""
_CONFUSED: Final[dict[Quantity, NDArray[np.float64]]] = {
    # rows: what is so; columns: what is answered, in the order of SEEN_ANSWERS
    "light": np.array([[0.97, 0.02, 0.01], [0.02, 0.90, 0.08], [0.02, 0.12, 0.86]]),
    "sound": np.array([[0.92, 0.02, 0.06], [0.02, 0.93, 0.05], [0.12, 0.18, 0.70]]),
    "noise": np.array([[0.93, 0.07], [0.05, 0.95]]),
    "warmth": np.array([[0.75, 0.22, 0.03], [0.25, 0.65, 0.10], [0.03, 0.25, 0.72]]),
}
"""How a person's answer strays from what is so: common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """Density of a reading in each world, (worlds,): as a true answer, and as a slip (one number).

    ``mixed`` joins both by the chance of a slip.
    """

    true: NDArray[np.float64]
    slip: float

    def mixed(self, chance: float) -> NDArray[np.float64]:
        """Density when the answer is a slip with ``chance``."""
        return np.asarray((1.0 - chance) * self.true + chance * self.slip)


def check_reading(quantity: Quantity, reading: Reading) -> None:
    """Raise ``GivenError`` where ``reading`` is of the wrong kind or unit for ``quantity``."""
    answers = SEEN_ANSWERS.get(quantity)
    if answers is not None:
        if not isinstance(reading, Seen) or reading.state not in answers:
            raise GivenError(
                f"{reading!r} is no answer to a question about {quantity}.",
                next_step=f"Answer {', '.join(answers)}.",
            )
        return
    unit = base_unit(quantity)
    if isinstance(reading, Value) and not np.isfinite(reading.value):
        raise GivenError(
            f"A reading must be a finite number, not {reading.value}.",
            next_step="Say open line where the meter shows OL.",
        )
    match reading:
        case Value(unit=given):
            fits = UNIT_FACTORS[given][0] == unit
        case Unstable(unit=given):
            fits = given is None or UNIT_FACTORS[given][0] == unit
        case OpenLine() | Beep():
            fits = unit == "ohm"
        case Seen():
            fits = False
    if not fits:
        raise GivenError(
            f"That reading does not fit: {quantity.replace('_', ' ')} is measured in {unit}.",
            next_step=f"Give a reading in {unit}"
            + (", open line or beep." if unit == "ohm" else "."),
        )


def on_scale(quantity: Quantity, value: NDArray[np.float64]) -> NDArray[np.float64]:
    """Bring SI values to the scale on which they are compared: logarithmic for ohms and AC."""
    if quantity in {"resistance", "continuity"}:
        return np.log(np.maximum(value, 0.0) + _OHM_FLOOR)
    if quantity == "ac_voltage":
        return np.log(np.abs(value) + _AC_FLOOR_V)
    return value


def sigma_on_scale(
    quantity: Quantity, value: NDArray[np.float64], *, floor_v: float = _FLOOR_V
) -> NDArray[np.float64]:
    """Tolerance of meter and model on the scale of ``on_scale``, (worlds,).

    Wider than a meter's own figure: what the model leaves out counts as noise too. ``floor_v``
    is what a small voltage may be off by, in V.
    """
    size = np.abs(value)
    if quantity in {"resistance", "continuity"}:
        finite = np.where(np.isfinite(size), size, 1e9)
        return _joined(0.06, 0.13 / (finite + _OHM_FLOOR))
    if quantity == "ac_voltage":
        return np.full(size.shape, 0.30)
    if quantity == "dc_current":
        return _joined(0.15, 0.04 * size)
    return _joined(floor_v, 0.015 * size)


def _joined(floor: float, part: NDArray[np.float64]) -> NDArray[np.float64]:
    """Root of the sum of squares; nothing here is large or small enough to need ``hypot``."""
    return np.sqrt(floor * floor + part * part)


def _scale_width(quantity: Quantity) -> float:
    if quantity == "ac_voltage":
        return _RANGE["ac"]
    return _RANGE[base_unit(quantity) or "V"]


def fit(quantity: Quantity, reading: Reading, predicted: Predicted) -> Fit:
    """Weigh ``reading`` in every world; the kind was checked by ``check_reading``."""
    if isinstance(reading, Unstable):
        return _unstable_fit(quantity, reading, predicted)
    found = _steady_fit(quantity, reading, np.asarray(predicted.value, dtype=np.float64))
    if predicted.jumps is None or predicted.other is None:
        return found
    other = _steady_fit(quantity, reading, np.asarray(predicted.other, dtype=np.float64))
    shows = jump_chance(quantity, predicted)
    either = (1.0 - shows) * 0.5 * (found.true + other.true)
    return Fit(true=np.where(predicted.jumps, either, found.true), slip=found.slip)


def jump_chance(quantity: Quantity, predicted: Predicted) -> NDArray[np.float64]:
    """Chance that the reading is told as jumping, (worlds,): more where the states lie apart.

    What is seen or heard has no answer for jumping: it is one of the two states.
    """
    value = np.asarray(predicted.value, dtype=np.float64)
    if predicted.jumps is None or predicted.other is None or quantity in SEEN_ANSWERS:
        return np.zeros(value.shape)
    with np.errstate(invalid="ignore"):
        gap = np.abs(predicted.other - value) / (0.05 + 0.03 * np.abs(predicted.other))
    share = np.where(np.isfinite(gap), np.minimum(gap, 1.0), 1.0)
    jumps = predicted.jumps if predicted.lasts is None else predicted.jumps & ~predicted.lasts
    return np.where(jumps, _JUMP_SHOWS * share, 0.0)


def _steady_fit(quantity: Quantity, reading: Reading, value: NDArray[np.float64]) -> Fit:
    match reading:
        case Seen(state=state):
            answers = SEEN_ANSWERS[quantity]
            table = _CONFUSED[quantity]
            return Fit(true=table[value.astype(np.intp), answers.index(state)],
                       slip=1.0 / len(answers))  # fmt: skip
        case OpenLine():
            return Fit(true=_open_chance(value), slip=0.3)
        case Beep(heard=heard):
            beeps = np.asarray(beep_probability(np.maximum(value, 0.0)))
            return Fit(true=beeps if heard else 1.0 - beeps, slip=0.5)
        case Value() if base_unit(quantity) == "ohm" and reading.si >= _OPEN_FROM_OHM:
            return Fit(true=_open_chance(value), slip=0.3)
        case Value():
            return _value_fit(quantity, reading, value)
        case Unstable():
            raise MisuseError(
                "A jumping reading has no steady fit.", next_step="Weigh it by its two states."
            )


def _unstable_fit(quantity: Quantity, reading: Unstable, predicted: Predicted) -> Fit:
    """Weigh a reading that jumps: by whether a world jumps, and between which two values."""
    value = np.asarray(predicted.value, dtype=np.float64)
    jumps, other = predicted.jumps, predicted.other
    if jumps is None or other is None:
        jumps, other = np.zeros(value.shape, dtype=np.bool_), value
    shown = np.maximum(jump_chance(quantity, predicted), _JUMP_BY_CHANCE)
    if reading.low is None or reading.high is None:
        return Fit(true=shown, slip=_JUMP_SLIP)
    factor = 1.0 if reading.unit is None else UNIT_FACTORS[reading.unit][1]
    said = sorted((reading.low * factor, reading.high * factor))
    broad = 1.0 / _scale_width(quantity)
    for end, hat in zip(said, (np.minimum(value, other), np.maximum(value, other)), strict=True):
        finite = np.isfinite(hat)
        safe = np.where(finite, hat, 0.0)
        gap = np.abs(on_scale(quantity, np.where(np.isfinite(other), other, safe))
                     - on_scale(quantity, np.where(np.isfinite(value), value, safe)))  # fmt: skip
        sigma = 1.5 * sigma_on_scale(quantity, safe) + _GAP_SHARE * gap
        point = on_scale(quantity, np.asarray([end]))[0]
        near = np.where(finite, _student(point, on_scale(quantity, safe), sigma), broad)
        shown = shown * (_ENDS_FIT * near + (1.0 - _ENDS_FIT) * broad)
    return Fit(true=shown, slip=_JUMP_SLIP * broad * broad)


def _student(
    point: float, middle: NDArray[np.float64], sigma: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Student's density with 4 degrees of freedom: the model's tolerance is itself a guess."""
    z = (point - middle) / sigma
    spread = 1.0 + z * z / 4.0
    return np.asarray(0.375 / (sigma * spread * spread * np.sqrt(spread)))


def _open_chance(value: NDArray[np.float64]) -> NDArray[np.float64]:
    """Chance that ``value`` ohm shows as open line; a wrong range adds a little from 100 k up."""
    with np.errstate(divide="ignore"):
        size = np.log10(np.maximum(value, 1e-3))
    return np.clip(0.5 * (1.0 + np.tanh(1.6 * (size - 6.9))), 1e-4, 0.995)


def _floor_v(reading: Value) -> float:
    """Give what a small voltage may be off by, in V, by how finely it was said."""
    step = 1e-2 if reading.unit == "V" else 1e-3
    if reading.places is not None:
        step = 10.0**-reading.places * UNIT_FACTORS[reading.unit][1]
    if step < 2e-3 and abs(reading.si) < _MILLIVOLTS_BELOW_V:
        return _MILLIVOLT_FLOOR_V
    return max(_FLOOR_V, 0.4 * step)


def _value_fit(
    quantity: Quantity,
    reading: Value,
    value: NDArray[np.float64],
) -> Fit:
    given = reading.si
    finite = np.isfinite(value)
    safe = np.where(finite, value, 0.0)
    middle = on_scale(quantity, safe)
    sigma = sigma_on_scale(quantity, safe, floor_v=_floor_v(reading))
    point = on_scale(quantity, np.asarray([given]))[0]
    if quantity == "ac_voltage" or (quantity != "dc_voltage" and given < 0):
        point = on_scale(quantity, np.asarray([abs(given)]))[0]
    density = np.where(finite, _student(float(point), middle, sigma), 0.0)
    slip = 1.0 / _scale_width(quantity)
    return Fit(true=density, slip=slip)


def edges_of(quantity: Quantity) -> NDArray[np.float64]:
    """Bin edges on the scale of ``on_scale`` for counting outcomes of a check."""
    if quantity in {"resistance", "continuity"}:
        ohms = [0.4, 0.8, 1.2, 1.6, 2.1, 2.7, 3.4, 4.2, 5.5, 7, 10, 20, 60, 200, 1e3, 1e4, 1e5, 1e6]
        return np.log(np.asarray(ohms) + _OHM_FLOOR)
    if quantity == "ac_voltage":
        volts = [0.003, 0.01, 0.03, 0.06, 0.1, 0.16, 0.25, 0.4, 0.6, 1, 1.6, 2.5, 4, 6.5, 10, 16]
        return np.log(np.asarray(volts) + _AC_FLOOR_V)
    if quantity == "dc_current":
        return np.asarray([0.05, 0.2, 0.5, 1, 2, 4, 8, 16, 32, 64])
    return np.asarray([
        -0.5, 0.012, 0.03, 0.07, 0.13, 0.22, 0.35, 0.6, 1, 2, 3.5, 5.5, 7.5, 9, 10, 10.8, 11.4,
        11.8, 12.1, 12.35, 12.7, 13.2, 13.6, 14, 14.4, 14.8, 15.2, 15.8, 16.6,
    ])  # fmt: skip
