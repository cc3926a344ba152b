"""Readings: what a meter or a person's senses gave for one check.

Five kinds, each frozen, each with the JSON form that the machine interface fixes:
``{"value":12.6,"unit":"V"}``, ``{"open_line":true}``, ``{"beep":true}``,
``{"unstable":true,"low":1.2,"high":9.0,"unit":"ohm"}`` and ``{"seen":"lit"}``.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final, Literal, TypeAlias, get_args

from assistant.errors import GivenError

__all__ = [
    "SEEN_ANSWERS",
    "UNIT_FACTORS",
    "BaseUnit",
    "Beep",
    "OpenLine",
    "Quantity",
    "Reading",
    "Seen",
    "Unit",
    "Unstable",
    "Value",
    "base_unit",
    "reading_from_json",
    "reading_to_json",
]

Unit: TypeAlias = Literal["V", "mV", "A", "mA", "ohm", "kohm", "Mohm"]
BaseUnit: TypeAlias = Literal["V", "A", "ohm"]
Quantity: TypeAlias = Literal[
    "dc_voltage",
    "ac_voltage",
    "resistance",
    "continuity",
    "dc_current",
    "light",
    "sound",
    "noise",
    "warmth",
]

UNIT_FACTORS: Final[Mapping[Unit, tuple[BaseUnit, float]]] = {
    "V": ("V", 1.0),
    "mV": ("V", 1e-3),
    "A": ("A", 1.0),
    "mA": ("A", 1e-3),
    "ohm": ("ohm", 1.0),
    "kohm": ("ohm", 1e3),
    "Mohm": ("ohm", 1e6),
}
"""Each unit's SI unit and the factor that converts to it (SI prefixes, exact)."""

SEEN_ANSWERS: Final[Mapping[Quantity, tuple[str, ...]]] = {
    "light": ("off", "lit", "blinking"),
    "sound": ("yes", "no", "distorted"),
    "noise": ("yes", "no"),
    "warmth": ("cool", "warm", "too_hot"),
}
"""The answers a person may give for each quantity that needs no meter."""


def base_unit(quantity: Quantity) -> BaseUnit | None:
    """Give the SI unit that ``quantity`` is measured in, None where no number is read."""
    if quantity in {"dc_voltage", "ac_voltage"}:
        return "V"
    if quantity in {"resistance", "continuity"}:
        return "ohm"
    return "A" if quantity == "dc_current" else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """A steady number on the meter, in the unit in which it was given.

    ``places`` is how many decimals were said or typed, for reading back "twelve point six zero"
    as it was given; it takes no part in comparisons or in the JSON form.
    """

    value: float
    unit: Unit
    places: int | None = field(default=None, compare=False)

    @property
    def si(self) -> float:
        """The value in V, A or ohm."""
        return self.value * UNIT_FACTORS[self.unit][1]


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenLine:
    """The meter shows open line (overload) on ohms or continuity."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Beep:
    """The continuity beeper sounded, or it did not."""

    heard: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Unstable:
    """A reading that jumps about; ``low`` and ``high`` may be unknown."""

    low: float | None = None
    high: float | None = None
    unit: Unit | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What was seen, heard or felt without a meter: an entry of ``SEEN_ANSWERS``."""

    state: str


Reading: TypeAlias = Value | OpenLine | Beep | Unstable | Seen


def _finite(raw: object, field: str) -> float:
    # A whole number beyond any float would overflow before it could be found infinite.
    whole = isinstance(raw, int) and not isinstance(raw, bool) and abs(raw) < 10**300
    if isinstance(raw, float | int) and (whole or isinstance(raw, float)) and math.isfinite(raw):
        return float(raw)
    raise GivenError(
        f"A reading's {field} must be a finite number, not {str(raw)[:40]!r}.",
        next_step="Send a JSON number.",
    )


def _unit(raw: object) -> Unit:
    if raw not in get_args(Unit):
        raise GivenError(
            f"The unit {raw!r} is not known.",
            next_step=f"Use one of {', '.join(get_args(Unit))}.",
        )
    return raw  # type: ignore[return-value]


def reading_from_json(raw: object) -> Reading:
    """Build a reading from its JSON form; raise ``GivenError`` when it is none of the five."""
    if not isinstance(raw, Mapping):
        raise GivenError(
            "A reading must be a JSON object.", next_step='As in {"value":12.6,"unit":"V"}.'
        )
    if raw.get("unstable") is True:
        low, high, unit = raw.get("low"), raw.get("high"), raw.get("unit")
        return Unstable(
            low=None if low is None else _finite(low, "low"),
            high=None if high is None else _finite(high, "high"),
            unit=None if unit is None else _unit(unit),
        )
    if "value" in raw:
        return Value(value=_finite(raw["value"], "value"), unit=_unit(raw.get("unit")))
    if raw.get("open_line") is True:
        return OpenLine()
    if isinstance(raw.get("beep"), bool):
        return Beep(heard=raw["beep"])
    if isinstance(raw.get("seen"), str):
        return Seen(state=raw["seen"])
    raise GivenError(
        f"{dict(raw)!r} is not a reading.",
        next_step="Send value and unit, open_line, beep, unstable, or seen.",
    )


def reading_to_json(reading: Reading) -> dict[str, Any]:
    """Give the JSON form of ``reading``; ``reading_from_json`` takes it back unchanged."""
    match reading:
        case Value(value=value, unit=unit):
            return {"value": value, "unit": unit}
        case OpenLine():
            return {"open_line": True}
        case Beep(heard=heard):
            return {"beep": heard}
        case Unstable(low=low, high=high, unit=unit):
            given = {"low": low, "high": high, "unit": unit}
            return {"unstable": True, **{k: v for k, v in given.items() if v is not None}}
        case Seen(state=state):
            return {"seen": state}
