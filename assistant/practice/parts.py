"""Everything about one car that a meter could be made to show: plain numbers, part by part.

``Car`` parts are mutable and copied before a fault changes them. Volts, amperes, ohms, watts, °C.
"""

from __future__ import annotations

import copy
from dataclasses import dataclass, field
from typing import Any

__all__ = [
    "OPEN",
    "Amplifier",
    "Battery",
    "Charging",
    "House",
    "Parts",
    "Remote",
    "SecondBattery",
    "SignalLead",
    "SignalSource",
    "SpeakerLine",
    "Supply",
    "changed",
]

OPEN = 1e12
"""Ohms of a path that is not there."""


@dataclass(slots=True)
class Battery:
    """Open-circuit volts; inner ohms while it gives, ``accept`` ohms while it is charged."""

    ocv: float
    inner: float
    accept: float


@dataclass(slots=True)
class Charging:
    """The alternator with its regulator."""

    setpoint: float
    ohms: float
    limit: float
    cable: float
    ripple: float
    works: bool = True


@dataclass(slots=True)
class House:
    """What else the vehicle draws, in A, and its return paths, in ohm."""

    asleep: float
    accessory: float
    running: float
    starter: float
    body: float
    engine_strap: float
    engine_to_body: float


@dataclass(slots=True)
class Supply:
    """From the battery post to the amplifier's terminals and back."""

    stub: float
    fuse: float
    fuse_contact: float
    wire: float
    wire_contact: float
    ground_wire: float
    ground_contact: float
    fuse_open: bool = False
    fuse_jumps_to: float | None = None
    ground_jumps_to: float | None = None


@dataclass(slots=True)
class SecondBattery:
    """A second battery beside the amplifier; ``relay`` joins it while the engine runs, if any.

    ``lead`` goes from its plus post to the amplifier, ``ground`` and ``ground_contact`` from its
    minus post to the body, ``stub`` from its fuse to its plus post.
    """

    ocv: float
    inner: float
    accept: float
    stub: float
    lead: float
    ground: float
    ground_contact: float
    fuse: float
    fuse_contact: float
    relay: bool
    relay_ohms: float
    relay_with_key: bool
    relay_works: bool = True
    relay_stuck: bool = False
    fuse_open: bool = False
    fuse_jumps_to: float | None = None
    ground_jumps_to: float | None = None


@dataclass(slots=True)
class Remote:
    """The turn-on lead: a switched feed (volts below the battery) or a regulated one."""

    regulated: bool
    volts: float
    out: float
    wire: float
    running_volts: float | None = None
    cranking_volts: float | None = None
    dead: bool = False


@dataclass(slots=True)
class Amplifier:
    """The amplifier: how much it takes, when it trips and how it shows that."""

    channels: int
    rated: float
    efficiency: float
    idle: float
    shut_down_amps: float
    off_ohms: float
    fuse: float
    remote_threshold: float
    remote_input: float
    under: float
    over: float
    short: float
    leak: float
    low_load_ratio: float
    minimum_ohms: float
    latches: bool
    under_style: str
    lit_while_protecting: bool
    protect_blinks: bool
    quiet_share: float
    loud_share: float
    burst: float
    warms_by: float
    warms_in_minutes: float
    trip_celsius: float
    common_negative: bool
    output_off: float
    output_on: float
    input_ohms: float
    input_ground: float
    trips_on_shorted_signal: bool
    ripple_gets_through: bool
    ground_shift_whines: bool
    flutter_sounds_like: str
    fuse_open: bool = False
    gain_high: bool = False
    defect: str | None = None
    defect_place: str | None = None
    offset: float = 0.0


@dataclass(slots=True)
class SpeakerLine:
    """One speaker with its two wires; ``output`` is the amplifier output that feeds it."""

    output: str
    coil: float
    plus_wire: float
    minus_wire: float
    stated_ohms: float
    coil_jumps_to: tuple[float, float] | None = None
    rubs: bool = False
    leak_leg: str = "positive"
    leak: float = OPEN
    leak_at: float = 0.5
    leak_jumps: bool = False
    short: float = OPEN


@dataclass(slots=True)
class SignalLead:
    """One pair's lead from source to amplifier."""

    center: float
    shield: float
    source_dc: float
    short: float = OPEN
    share: float = 1.0


@dataclass(slots=True)
class SignalSource:
    """The source unit (with its converter, where there is one)."""

    kind: str
    out: float
    quiet: float
    loud: float
    ground: float
    amps: float
    shell_to_ground: float
    share: float = 1.0
    converter_share: float = 1.0
    distorts: bool = False


@dataclass(slots=True)
class Parts:
    """The whole car."""

    battery: Battery
    charging: Charging
    house: House
    supply: Supply
    remote: Remote
    amp: Amplifier
    source: SignalSource
    speakers: dict[str, SpeakerLine] = field(default_factory=dict)
    signals: dict[str, SignalLead] = field(default_factory=dict)
    ambient: float = 22.0
    second: SecondBattery | None = None


def changed(parts: Parts, changes: dict[str, Any]) -> Parts:
    """Copy ``parts`` with each ``"part.field"`` or ``"speakers.PLACE.field"`` set anew."""
    fresh = copy.deepcopy(parts)
    for path, value in changes.items():
        *way, last = path.split(".")
        target: Any = fresh
        for step in way:
            target = target[step] if isinstance(target, dict) else getattr(target, step)
        getattr(target, last)  # a misspelt field must not pass
        setattr(target, last, value)
    return fresh
