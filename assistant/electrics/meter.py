"""What a hand-held multimeter shows: accuracy, last digit, leads, loading, beep."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal, TypeAlias

import numpy as np
from scipy.special import ndtr

from assistant.electrics.arrays import BoolArray, FloatArray, checked
from assistant.errors import GivenError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from assistant.readings.reading import Quantity

__all__ = [
    "BEEP_THRESHOLDS_OHM",
    "INPUT_OHM",
    "LEAD_OHM",
    "TYPICAL_METER",
    "Function",
    "Meter",
    "accuracy",
    "beep_probability",
    "display",
    "loaded_voltage",
    "open_line",
    "reading_sigma",
    "resolution",
    "through_leads",
]

BEEP_THRESHOLDS_OHM: Final = (30.0, 50.0, 50.0, 70.0, 100.0)
"""Below these the beepers of five meters sound, by their manuals."""
_BEEP_LOG_MEDIAN: Final = float(np.mean(np.log(BEEP_THRESHOLDS_OHM)))
_BEEP_LOG_SIGMA: Final = float(np.std(np.log(BEEP_THRESHOLDS_OHM), ddof=1))

LEAD_OHM: Final = (0.1, 0.5)
"""Both leads together: 0.1-0.2 ohm (Fluke 187/189), typically 0.2-0.5 (a meter guide)."""
INPUT_OHM: Final = 10e6
"""Direct voltage input, over 10 Mohm (Fluke 11x)."""

Function: TypeAlias = Literal["dc_voltage", "ac_voltage", "resistance", "dc_current"]


def accuracy(
    value: ArrayLike, percent: ArrayLike, counts: ArrayLike, digit: ArrayLike
) -> FloatArray:
    """Half-width of the accuracy band: percent of reading plus counts times the last digit.

    In the unit of ``value`` and ``digit``; shapes broadcast. Definition in meter makers' guides.
    Raises ``GivenError`` for a negative percent or count, or a digit that is not positive.
    """
    reading = np.abs(checked("A reading", value))
    share = checked("An accuracy in percent", percent, low=0.0) / 100.0
    last = checked("A last digit", digit, above=0.0)
    return np.asarray(share * reading + checked("A count", counts, low=0.0) * last)


@dataclass(frozen=True, slots=True, kw_only=True)
class Meter:
    """An auto-ranging meter: highest count, and per function percent of reading and counts.

    ``lowest_digit`` is the last digit of the most sensitive range in V or ohm or A.
    ``lead_ohm`` and ``lead_sigma_ohm`` are the leads' resistance and what is not known of it.
    """

    full_count: int = 6000
    dc_voltage: tuple[float, float] = (0.5, 2.0)
    ac_voltage: tuple[float, float] = (1.0, 3.0)
    resistance: tuple[float, float] = (0.9, 2.0)
    dc_current: tuple[float, float] = (1.5, 3.0)
    lowest_digit_v: float = 1e-4
    lowest_digit_ohm: float = 0.1
    lowest_digit_a: float = 1e-5
    highest_ohm: float = 40e6
    input_ohm: float = INPUT_OHM
    lead_ohm: float = 0.2
    lead_sigma_ohm: float = 0.1

    def terms(self, function: str) -> tuple[float, float, float]:
        """Percent, counts and lowest digit of ``function``; ``GivenError`` if it has none."""
        match function:
            case "dc_voltage":
                return (*self.dc_voltage, self.lowest_digit_v)
            case "ac_voltage":
                return (*self.ac_voltage, self.lowest_digit_v)
            case "resistance":
                return (*self.resistance, self.lowest_digit_ohm)
            case "dc_current":
                return (*self.dc_current, self.lowest_digit_a)
            case _:
                raise GivenError(
                    f"A meter does not show {function!r} as a number.",
                    next_step="Use dc_voltage, ac_voltage, resistance or dc_current.",
                )


TYPICAL_METER: Final = Meter()
"""A common 6000-count hand-held meter; its figures are typical, no one maker's."""


def resolution(value: ArrayLike, function: str, meter: Meter = TYPICAL_METER) -> FloatArray:
    """Last digit shown at ``value`` (V, ohm or A) when the range is found automatically.

    The smallest decade step from the lowest digit up whose full count holds the value.
    """
    size = np.abs(checked("A value", value))
    lowest = meter.terms(function)[2]
    with np.errstate(divide="ignore"):
        decades = np.ceil(np.log10(np.maximum(size / (lowest * meter.full_count), 1e-300)))
    return np.asarray(lowest * 10.0 ** np.maximum(decades, 0.0))


def display(value: ArrayLike, function: str, meter: Meter = TYPICAL_METER) -> FloatArray:
    """Round ``value`` (V, ohm or A) to what the display shows."""
    digit = resolution(value, function, meter)
    return np.asarray(np.round(np.asarray(value, dtype=np.float64) / digit) * digit)


def through_leads(resistance_ohm: ArrayLike, lead_ohm: ArrayLike) -> FloatArray:
    """Resistance in ohm that the meter sees: the leads are in series; infinity stays."""
    seen = checked("A resistance in ohm", resistance_ohm, low=0.0, allow_infinite=True)
    return np.asarray(seen + checked("A lead resistance in ohm", lead_ohm, low=0.0))


def open_line(resistance_ohm: ArrayLike, meter: Meter = TYPICAL_METER) -> BoolArray:
    """Tell where the meter shows open line: over its highest range, in ohm."""
    seen = checked("A resistance in ohm", resistance_ohm, low=0.0, allow_infinite=True)
    return np.asarray(seen > meter.highest_ohm)


def loaded_voltage(
    emf: ArrayLike, source_ohm: ArrayLike, input_ohm: ArrayLike = INPUT_OHM
) -> FloatArray:
    """Voltage in V that a meter of ``input_ohm`` shows behind ``source_ohm``: a divider.

    An infinite source resistance reads 0 V. Shapes broadcast.
    """
    source = checked("A source resistance in ohm", source_ohm, low=0.0, allow_infinite=True)
    taken = checked("An input resistance in ohm", input_ohm, above=0.0)
    return np.asarray(checked("An emf in V", emf) * taken / (taken + source))


def reading_sigma(
    value: ArrayLike, quantity: Quantity | Function, meter: Meter = TYPICAL_METER
) -> FloatArray:
    """Give the standard deviation in V, ohm or A of a reading whose true value is ``value``.

    The accuracy band counts as two standard deviations (most meters are well within theirs),
    the last digit as a uniform step, digit/sqrt(12), and on ohms what is not known of the leads;
    independent, so squares add (JCGM 100). Any shape; infinite values give infinity.
    """
    given = checked("A value", value, allow_infinite=True)
    percent, counts, _ = meter.terms(quantity)
    finite = np.where(np.isfinite(given), given, 0.0)
    digit = resolution(finite, quantity, meter)
    variance = (0.5 * accuracy(finite, percent, counts, digit)) ** 2 + digit**2 / 12.0
    if quantity == "resistance":
        variance = variance + meter.lead_sigma_ohm**2
    return np.asarray(np.where(np.isfinite(given), np.sqrt(variance), np.inf))


def beep_probability(resistance_ohm: ArrayLike) -> FloatArray:
    """Chance (0 to 1) that a meter picked at random beeps at ``resistance_ohm``.

    Log-normal thresholds fitted to five meters' manuals (30 to 100 ohm). A beep therefore does
    not prove a good power wire. Any shape; 1 at 0 ohm, 0 at infinity.
    """
    seen = checked("A resistance in ohm", resistance_ohm, low=0.0, allow_infinite=True)
    with np.errstate(divide="ignore"):
        return np.asarray(ndtr((_BEEP_LOG_MEDIAN - np.log(seen)) / _BEEP_LOG_SIGMA))
