"""Counts the numbers of an unseen car that lie outside what the program assumes of its like.

The cars of ``assistant.practice`` have spreads of their own. Those of their numbers that the
program's worlds hold too, in the same sense, are compared with the program's spread for what it is
told of the car; the fault itself is left out.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from assistant.diagnosis.installed import installed_spreads
from assistant.knowledge import load
from assistant.knowledge.schema import Installation

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assistant.practice.parts import Parts
    from assistant.practice.scenario import Case

__all__ = ["numbers_beyond", "numbers_compared"]

_SAME: Final = {
    "battery.inner": "battery_ohm",
    "charging.limit": "charge_limit_a",
    "charging.ohms": "charge_ohm",
    "charging.ripple": "ripple_v",
    "house.accessory": "house_accessory_a",
    "house.running": "house_running_a",
    "house.starter": "crank_a",
    "house.engine_strap": "engine_strap_ohm",
    "supply.stub": "post_ohm",
    "supply.fuse": "fuse_ohm",
    "supply.fuse_contact": "fuse_contact_ohm",
    "supply.wire_contact": "wire_contact_ohm",
    "supply.ground_contact": "ground_contact_ohm",
    "amp.rated": "rated_w",
    "amp.idle": "idle_a",
    "amp.shut_down_amps": "standby_a",
    "amp.remote_threshold": "remote_threshold_v",
    "amp.under": "low_trip_v",
    "amp.over": "high_trip_v",
    "amp.burst": "burst_ratio",
    "amp.loud_share": "loud_ratio",
    "amp.quiet_share": "quiet_ratio",
    "amp.leak": "leak_trip_ohm",
    "amp.low_load_ratio": "low_load_margin_ratio",
    "remote.wire": "remote_lead_ohm",
}
"""By the car's number: the program's."""
_SECOND: Final = {
    "inner": "second_battery_ohm",
    "fuse": "second_fuse_ohm",
    "fuse_contact": "second_fuse_contact_ohm",
    "ground_contact": "second_ground_contact_ohm",
    "relay_ohms": "relay_ohm",
    "lead": "second_lead_ohm",
}


def _numbers(parts: Parts) -> Iterator[tuple[str, float]]:
    """Give the program's name and the car's value of each number that both have."""
    for path, name in _SAME.items():
        part, field = path.split(".")
        yield name, float(getattr(getattr(parts, part), field))
    if parts.second is not None:
        for field, name in _SECOND.items():
            yield name, float(getattr(parts.second, field))
    for place, line in parts.speakers.items():
        yield f"coil_ratio.{place}", line.coil / line.stated_ohms
        yield f"speaker_wire_ohm.{place}", line.plus_wire + line.minus_wire


def _compared(case: Case) -> Iterator[bool]:
    spreads = installed_spreads(Installation.model_validate(case.given), load().spreads).spreads
    for name, value in _numbers(case.car.sound):
        spread = spreads[name]
        limits = spread.uniform or spread.loguniform
        if limits is not None:
            yield not limits[0] <= value <= limits[1]


def numbers_beyond(case: Case) -> int:
    """Count the numbers of ``case`` that lie outside the program's spread."""
    return sum(_compared(case))


def numbers_compared(case: Case) -> int:
    """Count the numbers of ``case`` that can be compared."""
    return len(list(_compared(case)))
