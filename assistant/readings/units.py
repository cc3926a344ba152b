"""Units as they are said and written, and exact conversion to the units of a reading."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Final

from assistant.readings.reading import UNIT_FACTORS, BaseUnit, Unit, Value

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["SPOKEN_UNITS", "UNIT_IDS", "as_decimal", "in_unit", "si_decimal", "value_of"]

_ONE: Final = Decimal(1)
_MILLI: Final = Decimal("0.001")

UNIT_IDS: Final[Mapping[str, tuple[tuple[Unit, Decimal], ...]]] = {
    "V": (("V", _ONE),),
    "mV": (("mV", _ONE),),
    "uV": (("mV", _MILLI),),
    "kV": (("V", Decimal(1000)),),
    "A": (("A", _ONE),),
    "mA": (("mA", _ONE),),
    "uA": (("mA", _MILLI),),
    "ohm": (("ohm", _ONE),),
    "kohm": (("kohm", _ONE),),
    "Mohm": (("Mohm", _ONE),),
    "milliohm": (("ohm", _MILLI),),
    # "1.2m" on ohms: the shift key was missed, or milliohms are meant
    "lone_m": (("Mohm", _ONE), ("ohm", _MILLI)),
}
"""Each unit id of ``grammars/units.yaml``: the units it may mean and the exact factor to each."""

SPOKEN_UNITS: Final[Mapping[Unit, tuple[str, str]]] = {
    "V": ("volt", "volts"),
    "mV": ("millivolt", "millivolts"),
    "A": ("amp", "amps"),
    "mA": ("milliamp", "milliamps"),
    "ohm": ("ohm", "ohms"),
    "kohm": ("kilohm", "kilohms"),
    "Mohm": ("megohm", "megohms"),
}
"""Each unit said of one, and of any other number."""

_FACTORS: Final[Mapping[Unit, Decimal]] = {
    unit: Decimal(str(factor)) for unit, (_, factor) in UNIT_FACTORS.items()
}


def value_of(number: Decimal, unit: Unit, factor: Decimal = _ONE) -> Value:
    """Give the reading of ``number`` times ``factor``, with as many decimals as were said."""
    # a shift by powers of ten, so that the digits stay the ones that were said
    exact = number.scaleb(factor.adjusted())
    exponent = exact.as_tuple().exponent
    places = max(-exponent, 0) if isinstance(exponent, int) else 0
    # minus nothing is nothing
    return Value(value=float(exact) if exact else 0.0, unit=unit, places=places)


def as_decimal(value: Value) -> Decimal:
    """Give the number of a reading as a meter would show it, with the decimals that were said.

    Computed numbers are rounded to six significant digits, more than a handheld meter shows.
    """
    exact = Decimal(repr(value.value))
    if not exact.is_finite():
        return exact
    if exact and len(exact.as_tuple().digits) > 6:
        exact = Decimal(f"{exact:.6g}")
    plain = Decimal(format(exact.normalize(), "f"))
    exponent = plain.as_tuple().exponent
    if value.places is not None and isinstance(exponent, int) and value.places > -exponent:
        plain = plain.quantize(Decimal(1).scaleb(-min(value.places, 9)))
    return plain


def si_decimal(value: Value) -> Decimal:
    """Give the exact number in V, A or ohm."""
    return Decimal(repr(value.value)) * _FACTORS[value.unit]


def in_unit(value: Value, base: BaseUnit) -> bool:
    """Tell whether ``value`` is measured in ``base`` or a multiple of it."""
    return UNIT_FACTORS[value.unit][0] == base
