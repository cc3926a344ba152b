"""Numbers over all worlds: turned into float64 arrays and held to a possible range."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from assistant.errors import GivenError

__all__ = ["BoolArray", "FloatArray", "checked"]

FloatArray: TypeAlias = NDArray[np.float64]
"""Float64, of shape (worlds,) or () or whatever the arguments broadcast to."""
BoolArray: TypeAlias = NDArray[np.bool_]


def checked(
    name: str,
    value: ArrayLike,
    *,
    low: float | None = None,
    above: float | None = None,
    high: float | None = None,
    allow_infinite: bool = False,
) -> FloatArray:
    """Give ``value`` as a float64 array of its own shape.

    Raises ``GivenError`` when an entry is not a number, is below ``low``, at or below ``above``
    or over ``high``, or is infinite where that is not allowed. ``name`` says what it is, with
    its unit, for the message.
    """
    try:
        array = np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError) as cause:
        raise GivenError(
            f"{name} is not a number: {value!r}.", next_step="Give a number."
        ) from cause
    bad = np.isnan(array) if allow_infinite else ~np.isfinite(array)
    wanted = "a number" if allow_infinite else "a finite number"
    if low is not None:
        bad |= array < low
        wanted += f", {low:g} or more"
    if above is not None:
        bad |= array <= above
        wanted += f", over {above:g}"
    if high is not None:
        bad |= array > high
        wanted += f", {high:g} or less"
    if bad.any():
        first = array[bad].flat[0] if array.ndim else array[()]
        raise GivenError(f"{name} cannot be {first:g}.", next_step=f"Give {wanted}.")
    return array
