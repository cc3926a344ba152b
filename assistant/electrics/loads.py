"""Speakers as loads, and what an amplifier draws to drive them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from assistant.electrics.arrays import FloatArray, checked
from assistant.electrics.conductors import parallel
from assistant.errors import GivenError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import ArrayLike

__all__ = [
    "CLASS_EFFICIENCY",
    "COIL_SHARE_TYPICAL",
    "HEADROOM_DB",
    "bridged_side_load",
    "btl_power",
    "class_b_efficiency",
    "class_efficiency",
    "coil_resistance_band",
    "current_draw",
    "least_impedance",
    "parallel",
    "power_share",
    "series",
]

_BAND_NOMINAL: Final = np.array([4.0, 8.0, 16.0])
_BAND_LOW_SHARE: Final = np.array([2.1 / 4.0, 5.1 / 8.0, 11.0 / 16.0])
"""Speaker maker's list (Eminence): nominal 4 has 2.1-4, 8 has 5.1-8, 16 has 11-16 ohm."""

COIL_SHARE_TYPICAL: Final = (0.65, 0.85)
"""Coil DC resistance over nominal impedance: texts on Thiele and Small, from memory."""

HEADROOM_DB: Final[Mapping[str, float]] = {
    "eighth": 10.0 * float(np.log10(8.0)),
    "third": 10.0 * float(np.log10(3.0)),
    "music_dense": 12.0,
    "music_open": 15.0,
}
"""dB under full power. 1/8: IEC 60065; 1/3: FTC; music 12 to 15 dB: professional manuals."""

CLASS_EFFICIENCY: Final[Mapping[str, float]] = {
    "A": 0.25,
    "AB": 0.60,
    "B": 0.60,
    "G": 0.70,
    "H": 0.70,
    "D": 0.90,
}
"""At full power. A 25 %, B at most 78.5 % (Stereophile); AB and B 60 %, between practice (50 %)
and that limit; D 90 % (ST TDA7492P data sheet); G and H from memory."""


def series(*resistances_ohm: ArrayLike) -> FloatArray:
    """Resistances end to end in ohm, shapes broadcast (Kirchhoff); infinity is open.

    Raises ``GivenError`` when none is given or one is negative.
    """
    if not resistances_ohm:
        raise GivenError("No resistance was given.", next_step="Give at least one.")
    total = np.asarray(0.0)
    for given in resistances_ohm:
        total = total + checked("A resistance in ohm", given, low=0.0, allow_infinite=True)
    return np.asarray(total)


def bridged_side_load(load_ohm: ArrayLike) -> FloatArray:
    """Load in ohm that each side of a bridged pair sees: half, by symmetry."""
    return np.asarray(0.5 * checked("A load in ohm", load_ohm, low=0.0, allow_infinite=True))


def least_impedance(nominal_ohm: ArrayLike) -> FloatArray:
    """Least impedance in ohm that a nominal one allows: 80 % (IEC 60268-5, secondary source)."""
    return np.asarray(0.8 * checked("A nominal impedance in ohm", nominal_ohm, above=0.0))


def coil_resistance_band(nominal_ohm: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Lowest and highest DC resistance in ohm of a good coil, two arrays of that shape.

    A speaker maker's list for 4, 8 and 16 ohm (Eminence); between them the lowest share is
    interpolated over the logarithm of the nominal impedance, beyond them held. Leads add to what
    a meter shows: 4.2 ohm on a 4 ohm speaker is common practice. Raises ``GivenError`` for an
    impedance that is not positive.
    """
    nominal = checked("A nominal impedance in ohm", nominal_ohm, above=0.0)
    share = np.interp(np.log(nominal), np.log(_BAND_NOMINAL), _BAND_LOW_SHARE)
    return np.asarray(nominal * share), np.asarray(nominal + 0.0)


def class_efficiency(amplifier_class: str) -> float:
    """Efficiency at full power (0 to 1) by class letter. Raises ``GivenError`` if not known."""
    try:
        return CLASS_EFFICIENCY[amplifier_class.strip().upper()]
    except KeyError:
        raise GivenError(
            f"The amplifier class {amplifier_class!r} is not known.",
            next_step=f"Use one of {', '.join(CLASS_EFFICIENCY)}.",
        ) from None


def class_b_efficiency(output_share: ArrayLike) -> FloatArray:
    """Ideal class B efficiency at a share (0 to 1) of full power: pi/4 sqrt(share)."""
    share = checked("A share of full power", output_share, low=0.0, high=1.0)
    return np.asarray(np.pi / 4.0 * np.sqrt(share))


def current_draw(output_w: ArrayLike, supply_v: ArrayLike, efficiency: ArrayLike) -> FloatArray:
    """Supply current in A for ``output_w`` W out: power over efficiency and voltage.

    Shapes broadcast. Raises ``GivenError`` for negative power, or an efficiency or voltage that
    is not positive.
    """
    output = checked("An output power in W", output_w, low=0.0)
    supply = checked("A supply voltage in V", supply_v, above=0.0)
    share = checked("An efficiency", efficiency, above=0.0, high=1.0)
    return np.asarray(output / (share * supply))


def power_share(headroom_db: ArrayLike) -> FloatArray:
    """Mean over full power at ``headroom_db`` dB under it: 10^(-dB/10)."""
    return np.asarray(10.0 ** (-checked("A headroom in dB", headroom_db, low=0.0) / 10.0))


def btl_power(
    supply_v: ArrayLike,
    load_ohm: ArrayLike,
    *,
    switch_ohm: ArrayLike = 0.0,
    series_ohm: ArrayLike = 0.0,
    clipped: bool = False,
) -> FloatArray:
    """Power in W of a bridge output at 0.5 % distortion, or at 10 % where ``clipped``.

    [RL V / (RL + 2 (Rswitch + Rseries))]^2 / (2 RL), and 1.25 times that at 10 % (NXP TFA9810
    data sheet). Shapes broadcast. Raises ``GivenError`` for a load that is not positive.
    """
    supply = checked("A supply voltage in V", supply_v, low=0.0)
    load = checked("A load in ohm", load_ohm, above=0.0)
    lost = checked("A switch resistance in ohm", switch_ohm, low=0.0) + checked(
        "A series resistance in ohm", series_ohm, low=0.0
    )
    power = (load * supply / (load + 2.0 * lost)) ** 2 / (2.0 * load)
    return np.asarray(1.25 * power if clipped else power)
