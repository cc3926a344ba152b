"""The words of the machine interface, as this house reads them from the design."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from assistant.errors import GivenError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

__all__ = [
    "ANSWERS",
    "AUDIO",
    "PAIR_OF",
    "PLACES_SEEN",
    "QUANTITIES",
    "SYMPTOMS",
    "UNITS",
    "VEHICLE",
    "WHENS",
    "every_fault",
    "is_node",
    "is_setup",
    "pairs_of",
    "same_repair",
]

POSITIONS: Final = (
    "front_left",
    "front_right",
    "rear_left",
    "rear_right",
    "center",
    "sub",
    "sub_2",
)
PAIRS: Final = ("front", "rear", "sub")
PAIR_OF: Final[Mapping[str, str]] = {
    "front_left": "front",
    "front_right": "front",
    "center": "front",
    "rear_left": "rear",
    "rear_right": "rear",
    "sub": "sub",
    "sub_2": "sub",
}
QUANTITIES: Final = (
    "dc_voltage",
    "ac_voltage",
    "resistance",
    "continuity",
    "dc_current",
    "light",
    "sound",
    "noise",
    "warmth",
)
UNITS: Final[Mapping[str, tuple[str, ...]]] = {
    "dc_voltage": ("V", "mV"),
    "ac_voltage": ("V", "mV"),
    "resistance": ("ohm", "kohm", "Mohm"),
    "continuity": ("ohm", "kohm", "Mohm"),
    "dc_current": ("A", "mA"),
}
ANSWERS: Final[Mapping[str, tuple[str, ...]]] = {
    "light": ("off", "lit", "blinking"),
    "sound": ("yes", "no", "distorted"),
    "noise": ("yes", "no"),
    "warmth": ("cool", "warm", "too_hot"),
}
PLACES_SEEN: Final[Mapping[str, tuple[str, ...]]] = {
    "light": ("amp.power_light", "amp.protect_light"),
    "sound": tuple(f"sound.{position}" for position in POSITIONS),
    "noise": ("noise.whine",),
    "warmth": ("amp.case",),
}
VEHICLE: Final = ("off", "accessory", "cranking", "running")
AUDIO: Final = ("off", "quiet", "loud")
SYMPTOMS: Final = (
    "protects",
    "will_not_turn_on",
    "no_sound",
    "silent_channel",
    "noise",
    "cuts_out",
    "too_hot",
)
WHENS: Final = (
    "always",
    "accessory",
    "running",
    "seconds_after_start",
    "loud",
    "warm",
    "bumps",
    "cranking",
)
_PLAIN_NODES: Final = (
    "battery.positive",
    "battery.negative",
    "charging.output",
    "main_fuse.battery_side",
    "main_fuse.amp_side",
    "amp.power",
    "amp.ground",
    "amp.remote",
    "source.remote",
    "chassis",
    "engine_block",
    "second_battery.positive",
    "second_battery.negative",
    "second_fuse.wire_side",
    "second_fuse.battery_side",
    "charge_relay.battery_side",
    "charge_relay.amp_side",
)
_PLAIN_SETUPS: Final = (
    "disconnect:speakers",
    "disconnect:signal",
    "disconnect:remote",
    "disconnect:amp_power",
    "disconnect:second_battery",
    "remove:main_fuse",
    "jumper:remote",
    "substitute:source",
    "cycle_remote",
    "cool_down",
)
_SUPPLY_FAULTS: Final = (
    "supply.battery_weak",
    "supply.charging_low",
    "supply.charging_high",
    "supply.main_fuse_open",
    "supply.main_fuse_loose",
    "supply.power_wire_resistive",
    "supply.power_wire_undersized",
    "supply.ground_resistive",
    "amp.fuse_open",
    "remote.missing",
    "remote.low",
    "remote.drops_on_start",
)
_SECOND_FAULTS: Final = (
    "supply.second_battery_weak",
    "supply.second_fuse_open",
    "supply.second_fuse_loose",
    "supply.second_ground_resistive",
)
_RELAY_FAULTS: Final = (
    "supply.charge_relay_open",
    "supply.charge_relay_burnt",
    "supply.charge_relay_stuck",
)
_SPEAKER_FAULTS: Final = (
    "coil_shorted",
    "coil_open",
    "coil_rubbing",
    "wire_to_chassis",
    "wires_shorted",
)
_LAST_FAULTS: Final = (
    "signal.source_faulty",
    "signal.ground_loop",
    "charging.ripple",
    "amp.overheats",
    "amp.gain_too_high",
    "amp.internal",
)
_SHARED_REPAIRS: Final = (
    ("supply.main_fuse_open", "supply.main_fuse_loose"),
    ("supply.second_fuse_open", "supply.second_fuse_loose"),
    _RELAY_FAULTS,
    ("supply.power_wire_resistive", "supply.power_wire_undersized"),
    ("supply.charging_low", "supply.charging_high", "charging.ripple"),
    ("remote.missing", "remote.low", "remote.drops_on_start"),
    ("coil_shorted", "coil_open", "coil_rubbing"),
    ("wire_to_chassis", "wires_shorted"),
    ("shorted", "shield_open"),
)
"""Faults of one part that one piece of work mends: common practice, no source."""


def is_node(name: object) -> bool:
    """Say whether ``name`` is an electrical node of the contract."""
    if not isinstance(name, str):
        return False
    if name in _PLAIN_NODES:
        return True
    match name.split("."):
        case ["speaker", place, ("amp_positive" | "amp_negative" | "positive" | "negative")]:
            return place in POSITIONS
        case ["signal", pair, ("center" | "shell")]:
            return pair in PAIRS
        case _:
            return False


def is_setup(name: object) -> bool:
    """Say whether ``name`` is a set-up step of the contract."""
    if not isinstance(name, str):
        return False
    if name in _PLAIN_SETUPS:
        return True
    head, _, place = name.partition(":")
    part, _, which = place.partition(".")
    if head == "disconnect" and part == "speaker":
        return which in POSITIONS
    return head in {"disconnect", "swap"} and part == "signal" and which in PAIRS


def pairs_of(speakers: Sequence[str]) -> list[str]:
    """Give the signal pairs that feed ``speakers``, in the contract's order."""
    used = {PAIR_OF[place] for place in speakers}
    return [pair for pair in PAIRS if pair in used]


def every_fault(installation: Mapping[str, Any]) -> list[str]:
    """Give each fault id that can exist in the true ``installation``; raise ``GivenError``."""
    speakers = list(installation.get("speakers", {}))
    if not speakers or not set(speakers) <= set(POSITIONS):
        raise GivenError(
            "A true installation names its speakers.", next_step="Use the positions of the design."
        )
    faults = list(_SUPPLY_FAULTS)
    second = installation.get("supply", {}).get("second_battery")
    if second is not None:
        faults += _SECOND_FAULTS
        faults += _RELAY_FAULTS if second.get("joined") == "charge_relay" else ()
    faults += [f"speaker.{place}.{kind}" for place in speakers for kind in _SPEAKER_FAULTS]
    faults.append("load.impedance_too_low")
    for pair in pairs_of(speakers):
        faults += [f"signal.{pair}.shorted", f"signal.{pair}.shield_open"]
    if installation.get("source", {}).get("kind") == "factory_with_converter":
        faults.append("signal.converter_faulty")
    return faults + list(_LAST_FAULTS)


def same_repair(one: str, other: str) -> bool:
    """Say whether one piece of work mends both faults (the same part is put right)."""
    if one == other:
        return True
    *place, kind = one.split(".")
    *other_place, other_kind = other.split(".")
    for group in _SHARED_REPAIRS:
        if one in group and other in group:
            return True
        if place == other_place and kind in group and other_kind in group:
            return True
    return False
