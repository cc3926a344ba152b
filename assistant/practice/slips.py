"""Mistakes that a person makes with a meter: wrong range, swapped tips, wrong state, a slip."""

from __future__ import annotations

import copy
from typing import TYPE_CHECKING, Any, Final

from assistant.practice.words import ANSWERS

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy as np

    from assistant.practice.car import Car

__all__ = ["answer_with_slips"]

_SOUNDS_LIKE: Final[Mapping[int, int]] = {
    **{teen: (teen - 10) * 10 for teen in range(13, 20)},
    **{(teen - 10) * 10: teen for teen in range(13, 20)},
}


def answer_with_slips(
    car: Car,
    do: Mapping[str, Any],
    rng: np.random.Generator,
    *,
    minutes: float = 2.0,
    misread: float = 0.0,
) -> tuple[dict[str, Any], str]:
    """Give the car's reading, spoilt with probability ``misread``; also name the mistake, or "".

    A mistake that cannot change this sort of reading leaves it as it is.
    """
    if misread <= 0.0 or rng.random() >= misread:
        return car.answer(do, minutes=minutes), ""
    kind = str(rng.choice(["range", "sign", "state", "slip"]))
    if kind == "state":
        others = [v for v in ("off", "accessory", "running") if v != do["vehicle"]]
        return car.answer({**do, "vehicle": str(rng.choice(others))}, minutes=minutes), kind
    reading = copy.deepcopy(car.answer(do, minutes=minutes))
    spoilt = _spoilt(reading, do, rng, kind)
    return (spoilt, kind) if spoilt != reading else (reading, "")


def _spoilt(
    reading: dict[str, Any], do: Mapping[str, Any], rng: np.random.Generator, kind: str
) -> dict[str, Any]:
    if "seen" in reading:
        others = [a for a in ANSWERS[str(do["quantity"])] if a != reading["seen"]]
        return {"seen": str(rng.choice(others))}
    if "beep" in reading:
        return {"beep": not reading["beep"]}
    if "value" not in reading:
        return reading
    value = float(reading["value"])
    if kind == "range":
        value *= float(rng.choice([1e3, 1e-3]))
    elif kind == "sign" and do["quantity"] == "dc_voltage":
        value = -value
    else:
        value = _misheard(value, rng)
    return {**reading, "value": value}


def _misheard(value: float, rng: np.random.Generator) -> float:
    """Take fifteen for fifty, or one digit for another."""
    whole = round(value)
    if whole in _SOUNDS_LIKE and rng.random() < 0.5:
        return float(_SOUNDS_LIKE[whole])
    digits = list(f"{abs(value):.2f}")
    places = [at for at, digit in enumerate(digits) if digit.isdigit()]
    at = int(rng.choice(places[:3]))
    digits[at] = str((int(digits[at]) + int(rng.integers(1, 10))) % 10)
    return float("".join(digits)) * (-1 if value < 0 else 1)
