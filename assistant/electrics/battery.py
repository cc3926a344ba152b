"""A 12 V lead-acid battery: rest voltage, charge, inner resistance, load test."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from assistant.electrics.arrays import FloatArray, checked

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

__all__ = [
    "CCA_TEST_C",
    "CHARGE_ACCEPTANCE_OHM",
    "HEALTHY_RESISTANCE",
    "REST_VOLTAGE_C",
    "WEAK_RESISTANCE",
    "LogSpread",
    "charge_factor",
    "inner_resistance_from_cca",
    "load_test_limit_v",
    "load_test_voltage",
    "open_circuit_voltage",
    "state_of_charge",
    "temperature_resistance_factor",
]

_CHARGE: Final = np.array([0.0, 0.25, 0.50, 0.75, 1.0])
_REST_V: Final = np.array([11.89, 12.06, 12.24, 12.45, 12.65])
"""Rest voltage by charge at 80 degF: table credited to the Battery Council International."""
REST_VOLTAGE_C: Final = (80.0 - 32.0) / 1.8
"""Temperature of that table, 80 degF in degC."""
_V_PER_C: Final = 0.024 / 10.0 * 1.8
"""0.024 V per 10 degF from 80 degF: a battery maker's page."""

CHARGE_ACCEPTANCE_OHM: Final = 0.15
"""A charged battery takes far less current than its inner resistance would let in: common
practice, no source."""

CCA_TEST_C: Final = -32.0 / 1.8
"""0 degF in degC, where cold-cranking amperes are taken (SAE J537)."""
_CCA_END_V: Final = 7.2
_DOUBLING_C: Final = 42.0
"""Inner resistance doubles from 25 degC to about -17 degC: from memory, low sureness."""

_LOAD_TEST_C: Final = np.array([-18.0, -12.0, -7.0, -1.0, 4.0, 10.0, 16.0, 20.0])
_LOAD_TEST_V: Final = np.array([8.5, 8.7, 8.9, 9.1, 9.3, 9.4, 9.5, 9.6])
"""Least voltage after 15 s at half the CCA: service manuals of Kia and Hyundai."""


def open_circuit_voltage(
    state_of_charge: ArrayLike, temperature_c: ArrayLike = REST_VOLTAGE_C
) -> FloatArray:
    """Rest voltage in V by charge (0 to 1) and temperature in degC; shapes broadcast.

    Linear between the rows of the BCI table, plus 0.024 V per 10 degF from 80 degF. Raises
    ``GivenError`` for a charge outside 0 to 1 or a temperature outside -60 to 80 degC.
    """
    charge = checked("A state of charge", state_of_charge, low=0.0, high=1.0)
    temperature = checked("A battery temperature in degC", temperature_c, low=-60.0, high=80.0)
    return np.asarray(
        np.interp(charge, _CHARGE, _REST_V) + _V_PER_C * (temperature - REST_VOLTAGE_C)
    )


def state_of_charge(voltage: ArrayLike, temperature_c: ArrayLike = REST_VOLTAGE_C) -> FloatArray:
    """Charge (0 to 1) that a rest voltage in V shows; shapes broadcast, ends held.

    Inverse of ``open_circuit_voltage``: below the table it is 0, above (surface charge) 1.
    Raises ``GivenError`` for a negative voltage or a temperature outside -60 to 80 degC.
    """
    volts = checked("A rest voltage in V", voltage, low=0.0)
    temperature = checked("A battery temperature in degC", temperature_c, low=-60.0, high=80.0)
    at_80f = volts - _V_PER_C * (temperature - REST_VOLTAGE_C)
    return np.asarray(np.interp(at_80f, _REST_V, _CHARGE))


@dataclass(frozen=True, slots=True, kw_only=True)
class LogSpread:
    """A log-normal spread: its median and the standard deviation of its natural logarithm."""

    median: float
    log_sigma: float

    def from_normal(self, z: ArrayLike) -> FloatArray:
        """Turn standard normal draws ``z`` (any shape) into values of this spread."""
        draws = checked("A normal draw", z)
        return np.asarray(self.median * np.exp(self.log_sigma * draws))


HEALTHY_RESISTANCE: Final = LogSpread(median=0.005, log_sigma=0.3)
"""Inner resistance in ohm of a good car battery, warm and charged: common practice, no source."""
WEAK_RESISTANCE: Final = LogSpread(median=0.025, log_sigma=0.5)
"""Of a worn one: common practice, no source."""


def temperature_resistance_factor(temperature_c: ArrayLike) -> FloatArray:
    """Inner resistance over that at 25 degC: 2^((25 - t)/42), from memory; 1 above 25 degC."""
    temperature = checked("A battery temperature in degC", temperature_c, low=-60.0, high=80.0)
    return np.asarray(2.0 ** (np.maximum(25.0 - temperature, 0.0) / _DOUBLING_C))


def charge_factor(state_of_charge: ArrayLike) -> FloatArray:
    """Inner resistance over that when charged: 1 to 2.5 as the acid thins, own guess."""
    charge = checked("A state of charge", state_of_charge, low=0.0, high=1.0)
    return np.asarray(1.0 + 1.5 * (1.0 - charge) ** 2)


def inner_resistance_from_cca(cca_a: ArrayLike, temperature_c: ArrayLike = 25.0) -> FloatArray:
    """Highest inner resistance in ohm of a battery that holds its CCA; shapes broadcast.

    From the definition: full, at 0 degF, 7.2 V or more after 30 s at ``cca_a`` (SAE J537), so
    R = (rest voltage - 7.2 V)/CCA, carried to ``temperature_c`` by
    ``temperature_resistance_factor``. Raises ``GivenError`` for a CCA that is not positive.
    """
    cca = checked("Cold-cranking amperes", cca_a, above=0.0)
    cold = (open_circuit_voltage(1.0, CCA_TEST_C) - _CCA_END_V) / cca
    factor = temperature_resistance_factor(temperature_c)
    return np.asarray(cold * factor / temperature_resistance_factor(CCA_TEST_C))


def load_test_limit_v(temperature_c: ArrayLike) -> FloatArray:
    """Least voltage in V after 15 s at half the CCA, by battery temperature in degC.

    Table of the Kia and Hyundai manuals, linear between rows, 9.6 V above 20 degC and 8.5 V
    below -18 degC. Raises ``GivenError`` outside -60 to 80 degC.
    """
    temperature = checked("A battery temperature in degC", temperature_c, low=-60.0, high=80.0)
    return np.asarray(np.interp(temperature, _LOAD_TEST_C, _LOAD_TEST_V))


def load_test_voltage(
    cca_a: ArrayLike,
    inner_resistance_ohm: ArrayLike,
    state_of_charge: ArrayLike = 1.0,
    temperature_c: ArrayLike = 25.0,
) -> FloatArray:
    """Voltage in V at half the CCA, never below 0 (emf less Ohm's drop); shapes broadcast.

    ``inner_resistance_ohm`` is the one at ``temperature_c``. Raises ``GivenError`` on
    impossible inputs.
    """
    half = 0.5 * checked("Cold-cranking amperes", cca_a, above=0.0)
    inner = checked("An inner resistance in ohm", inner_resistance_ohm, low=0.0)
    emf = open_circuit_voltage(state_of_charge, temperature_c)
    return np.asarray(np.maximum(emf - half * inner, 0.0))
