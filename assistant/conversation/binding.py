"""Which check a reading is for, and whether it is far from what was expected."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from assistant.conversation.events import Told
from assistant.readings.fusion import probe_readings
from assistant.readings.reading import Reading, Value

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assistant.diagnosis.records import Diagnosing, NextCheck
    from assistant.knowledge.schema import Check, VehicleState

__all__ = ["bind", "sibling", "surprising"]

_SURPRISE: Final = math.log(1e4)
"""How far below the likeliest reading a typed one must lie to be asked back; typed digits are
not misheard, so this is wider than for the ear (set by hand, no source)."""
_MOST_VOLTS: Final = 20.0
"""A load dump aside, no 12 V vehicle shows more: common practice, no source."""


def sibling(checks: Mapping[str, Check], check: Check, vehicle: VehicleState) -> Check | None:
    """Find the check between the same nodes in another vehicle state.

    Where several fit, the one with the same set-up and music is preferred.
    """
    do = check.do
    fitting = [
        other
        for other in checks.values()
        if (other.do.quantity, other.do.red, other.do.black, other.do.vehicle)
        == (do.quantity, do.red, do.black, vehicle)
    ]
    alike = [other for other in fitting if other.do.setup == do.setup] or fitting
    return next((o for o in alike if o.do.audio == do.audio), alike[0] if alike else None)


def bind(
    reading: Reading, vehicle: VehicleState | None, step: NextCheck, diagnosis: Diagnosing
) -> Told | None:
    """Give ``reading`` to the open check, or to the one for the vehicle state it was told with.

    None when no check of this case measures there in that state.
    """
    check = step.check
    if vehicle is not None and vehicle != check.do.vehicle:
        other = sibling(diagnosis.checks, check, vehicle)
        if other is None:
            return None
        check = other
    return Told(check=check.id, reading=reading)


def surprising(told: Told, diagnosis: Diagnosing) -> bool:
    """Tell whether a number lies far below the likeliest readings of its check.

    More volts than a 12 V vehicle has are surprising whatever the belief is.
    """
    if not isinstance(told.reading, Value):
        return False
    quantity = diagnosis.checks[told.check].do.quantity
    if quantity == "dc_voltage" and abs(told.reading.si) > _MOST_VOLTS:
        return True
    probes = probe_readings(quantity)
    density, *others = diagnosis.weigh(told.check, [told.reading, *probes])
    peak = max(others, default=0.0)
    if not (peak > 0 and density > 0):
        return peak > 0
    return math.log(peak) - math.log(density) > _SURPRISE
