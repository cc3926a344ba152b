"""The sorts of vehicles and systems that invented cars are of.

The spreads are this house's own guess (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

__all__ = ["ALL_KINDS", "KINDS", "LONG_KINDS", "SECOND_KINDS", "Kind"]


@dataclass(frozen=True, slots=True)
class Kind:
    """One sort of vehicle and system; spreads as (low, high).

    ``joined`` says how a second battery may be joined, none where it has none; with ``returns``
    the ground wire is as long as the power wire.
    """

    places: tuple[str, ...]
    channels: int
    watts: tuple[float, float]
    ohms: tuple[float, ...]
    minimum: tuple[float, ...]
    classes: tuple[str, ...]
    length: tuple[float, float]
    sources: tuple[str, ...]
    bridged: bool = False
    joined: tuple[str, ...] = ()
    returns: bool = False


KINDS: Final[dict[str, Kind]] = {
    "van_mono": Kind(
        ("sub", "sub_2"), 1, (400, 1500), (4, 8), (1, 2), ("D",), (3.0, 6.5), ("line_level",)
    ),
    "coupe_five": Kind(
        ("front_left", "front_right", "rear_left", "rear_right", "sub"),
        5,
        (50, 100),
        (4,),
        (2,),
        ("AB", "D"),
        (4.0, 6.5),
        ("line_level", "processor"),
    ),
    "hatch_four": Kind(
        ("front_left", "front_right", "rear_left", "rear_right"),
        4,
        (40, 120),
        (4,),
        (2, 4),
        ("AB", "D"),
        (3.0, 6.0),
        ("factory_with_converter", "speaker_level"),
    ),
    "wagon_bridged": Kind(
        ("sub", "sub_2"), 4, (60, 150), (4, 8), (4,), ("AB", "D"), (4.0, 7.0), ("line_level",),
        bridged=True,
    ),
    "pickup_two": Kind(
        ("front_left", "front_right"), 2, (50, 150), (4,), (2, 4), ("AB", "D"), (2.0, 4.0),
        ("line_level", "factory_with_converter"),
    ),
}  # fmt: skip

SECOND_KINDS: Final[dict[str, Kind]] = {
    "bus_mono": Kind(
        ("sub", "sub_2"), 1, (400, 1200), (4, 8), (1, 2), ("D",), (6.0, 9.0), ("line_level",),
        joined=("charge_relay", "direct"),
    ),
    "camper_five": Kind(
        ("front_left", "front_right", "rear_left", "rear_right", "sub"), 5, (50, 100), (4,), (2,),
        ("AB", "D"), (4.0, 7.0), ("line_level", "processor"), joined=("charge_relay", "direct"),
    ),
    "tow_truck_four": Kind(
        ("front_left", "front_right", "rear_left", "rear_right"), 4, (50, 120), (4,), (2, 4),
        ("AB", "D"), (3.0, 6.0), ("line_level", "factory_with_converter"),
        joined=("charge_relay", "charge_relay", "direct"),
    ),
}  # fmt: skip
"""Sorts with a second battery beside the amplifier."""
LONG_KINDS: Final[dict[str, Kind]] = {
    "coach_four": Kind(
        ("front_left", "front_right", "rear_left", "rear_right"), 4, (40, 100), (4,), (2, 4),
        ("AB", "D"), (6.0, 9.0), ("line_level",),
    ),
    "boat_two": Kind(
        ("front_left", "front_right"), 2, (50, 150), (4,), (2, 4), ("AB", "D"), (6.0, 9.0),
        ("line_level",), returns=True,
    ),
}  # fmt: skip
"""Sorts with runs longer than cars have; a boat's ground wire goes back to the battery."""
ALL_KINDS: Final[dict[str, Kind]] = KINDS | SECOND_KINDS | LONG_KINDS
