"""What an installation, a complaint, a fault, a repair, a check and a caution are.

All models are frozen. Whatever is not known about an installation is None and gets a spread
in ``assistant.diagnosis``; keys that the schema does not know are kept apart and reported by
``Installation.unknown_keys`` rather than silently lost.
"""

from __future__ import annotations

import re
from typing import Annotated, Any, Final, Literal, TypeAlias

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from assistant.readings.reading import Quantity

__all__ = [
    "PAIRS",
    "POSITIONS",
    "Amplifier",
    "Audio",
    "Caution",
    "Check",
    "Complaint",
    "Do",
    "Fault",
    "Fuse",
    "Installation",
    "Pair",
    "Position",
    "Repair",
    "SecondBattery",
    "Source",
    "Speaker",
    "Supply",
    "Symptom",
    "VehicleState",
    "Wire",
    "parse_gauge",
]

Position: TypeAlias = Literal[
    "front_left", "front_right", "rear_left", "rear_right", "center", "sub", "sub_2"
]
Pair: TypeAlias = Literal["front", "rear", "sub"]
VehicleState: TypeAlias = Literal["off", "accessory", "cranking", "running"]
Audio: TypeAlias = Literal["off", "quiet", "loud"]
Symptom: TypeAlias = Literal[
    "protects",
    "will_not_turn_on",
    "no_sound",
    "silent_channel",
    "noise",
    "cuts_out",
    "too_hot",
]
When: TypeAlias = Literal[
    "always", "accessory", "running", "seconds_after_start", "loud", "warm", "bumps", "cranking"
]

POSITIONS: Final[tuple[Position, ...]] = (
    "front_left",
    "front_right",
    "rear_left",
    "rear_right",
    "center",
    "sub",
    "sub_2",
)
PAIRS: Final[tuple[Pair, ...]] = ("front", "rear", "sub")

_POS = "|".join(POSITIONS)
_PAIR = "|".join(PAIRS)
NODE_PATTERN: Final = re.compile(
    r"battery\.(positive|negative)|charging\.output|main_fuse\.(battery|amp)_side"
    r"|amp\.(power|ground|remote)|source\.remote|chassis|engine_block"
    r"|second_battery\.(positive|negative)|second_fuse\.(wire|battery)_side"
    r"|charge_relay\.(battery|amp)_side"
    rf"|speaker\.({_POS})\.(amp_positive|amp_negative|positive|negative)"
    rf"|signal\.({_PAIR})\.(center|shell)"
)
PLACE_PATTERN: Final = re.compile(
    rf"amp\.(power_light|protect_light|case)|sound\.({_POS})|noise\.whine"
)
SETUP_PATTERN: Final = re.compile(
    rf"disconnect:(speakers|speaker\.({_POS})|signal(\.({_PAIR}))?|remote|amp_power"
    r"|second_battery)"
    rf"|remove:main_fuse|jumper:remote|swap:signal\.({_PAIR})|substitute:source"
    r"|cycle_remote|cool_down"
)
_METERED: Final = frozenset({"dc_voltage", "ac_voltage", "resistance", "continuity", "dc_current"})


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class _Lenient(BaseModel):
    model_config = ConfigDict(frozen=True, extra="allow", populate_by_name=True)


_Positive: TypeAlias = Annotated[float, Field(gt=0, allow_inf_nan=False)]

_AWG: Final = re.compile(
    r"\s*#?\s*(\d{1,2}|[1-4]\s*/\s*0|0{1,4})\s*(?:awg|ga(?:uge)?)?\s*", re.IGNORECASE
)
_METRIC: Final = re.compile(r"\s*(\d+(?:[.,]\d+)?)\s*(?:mm2|mm²|mm\^2|sq\s*mm)\s*", re.IGNORECASE)


def parse_gauge(text: str) -> tuple[Literal["awg", "mm2"], float]:
    """Read "4 AWG", "1/0 AWG" or "16 mm2": the system and the number (1/0 is 0, 4/0 is -3)."""
    if metric := _METRIC.fullmatch(text):
        number = float(metric.group(1).replace(",", "."))
        if number > 0:
            return "mm2", number
    elif awg := _AWG.fullmatch(text):
        size = awg.group(1).replace(" ", "")
        if "/" in size:
            return "awg", 1.0 - int(size.split("/")[0])
        if set(size) == {"0"}:
            return "awg", 1.0 - len(size)
        if int(size) <= 40:
            return "awg", float(size)
    raise ValueError(f"gauge {text!r} is neither AWG nor mm2; write '4 AWG' or '16 mm2'")


class Wire(_Lenient):
    """A wire of the supply; the length is one way, in metres."""

    gauge: str | None = None
    material: Literal["copper", "copper_clad_aluminum"] | None = None
    length_m: _Positive | None = None

    @field_validator("gauge")
    @classmethod
    def _gauge(cls, gauge: str | None) -> str | None:
        if gauge is not None:
            parse_gauge(gauge)
        return gauge


class Fuse(_Lenient):
    """The main fuse by its rating in amperes and its body (anl, maxi, blade ...)."""

    amps: _Positive | None = None
    kind: str | None = None


class Amplifier(_Lenient):
    """The amplifier as its label gives it."""

    channels: Annotated[int, Field(ge=1, le=12)] | None = None
    watts_per_channel: _Positive | None = None
    amplifier_class: str | None = Field(default=None, alias="class")
    minimum_ohms: _Positive | None = None
    minimum_ohms_bridged: _Positive | None = None
    bridged: bool | None = None
    fuse_amps: tuple[_Positive, ...] | None = None
    latches: bool | None = None


class Speaker(_Lenient):
    """One speaker position: nominal impedance in ohm and where the speaker came from."""

    nominal_ohms: _Positive | None = None
    origin: str | None = None


class Source(_Lenient):
    """What feeds the amplifier's inputs."""

    kind: str | None = None


class SecondBattery(_Lenient):
    """A second battery at the amplifier, joined to the first by the power wire.

    ``joined`` says how: ``direct``, or by a ``charge_relay`` that closes with the engine running.
    ``fuse`` is the one at the second battery, ``ground`` its own wire to the body.
    """

    place: str | None = None
    joined: Literal["direct", "charge_relay"] | None = None
    fuse: Fuse | None = None
    ground: Wire | None = None


class Supply(_Lenient):
    """Power wire, ground wire, main fuse, where the battery sits, and a second battery.

    A second battery of which nothing more is known may be given as ``true`` or by its place.
    """

    wire: Wire | None = None
    ground: Wire | None = None
    main_fuse: Fuse | None = None
    battery: str | None = None
    second_battery: SecondBattery | None = None

    @field_validator("second_battery", mode="before")
    @classmethod
    def _second(cls, given: Any) -> Any:
        if isinstance(given, bool):
            return {} if given else None
        return {"place": given} if isinstance(given, str) else given


class Vehicle(_Lenient):
    """How the vehicle charges its battery."""

    charging: str | None = None


class Installation(_Lenient):
    """The installation at hand; everything is optional."""

    amplifier: Amplifier = Amplifier()
    speakers: dict[Position, Speaker] = Field(default_factory=dict)
    source: Source = Source()
    supply: Supply = Supply()
    vehicle: Vehicle = Vehicle()
    ambient_c: Annotated[float, Field(ge=-60, le=80)] | None = None

    def unknown_keys(self) -> tuple[str, ...]:
        """Name the keys that were given and that the schema does not know, dotted."""

        def walk(model: BaseModel, prefix: str) -> list[str]:
            found = [prefix + key for key in (model.model_extra or {})]
            for name in type(model).model_fields:
                child = getattr(model, name)
                if isinstance(child, BaseModel):
                    found += walk(child, f"{prefix}{name}.")
                elif isinstance(child, dict):
                    for key, entry in child.items():
                        found += walk(entry, f"{prefix}{name}.{key}.")
            return found

        return tuple(walk(self, ""))


class Complaint(_Frozen):
    """What the customer says: the symptom, when it comes, and which positions."""

    symptom: Symptom
    when: tuple[When, ...] = ()
    where: tuple[Position, ...] = ()


class Do(_Frozen):
    """What a check does, in the words of the machine interface."""

    quantity: Quantity
    red: str
    black: str | None = None
    vehicle: VehicleState
    audio: Audio
    setup: tuple[str, ...] = ()

    @model_validator(mode="after")
    def _nodes(self) -> Do:
        if self.quantity in _METERED:
            ends = (self.red, self.black)
            if not all(end is not None and NODE_PATTERN.fullmatch(end) for end in ends):
                raise ValueError(f"{self.quantity} between {ends}: not two nodes of the contract")
        elif self.black is not None or not PLACE_PATTERN.fullmatch(self.red):
            raise ValueError(f"{self.quantity} at {self.red!r}: not a place of the contract")
        for step in self.setup:
            if not SETUP_PATTERN.fullmatch(step):
                raise ValueError(f"set-up step {step!r} is not in the contract")
        if self.quantity in {"resistance", "continuity"} and self.vehicle != "off":
            raise ValueError("ohms are only measured on a dead circuit")
        return self


class Check(_Frozen):
    """One check, made concrete for a position or a pair.

    ``minutes`` is the time for the measurement itself; what must change first is counted by
    ``assistant.diagnosis.minutes``. ``place`` is where the probes go, ``grammar`` the name of
    the reading grammar that is open while the answer is awaited, ``clears`` what a good answer
    helps to rule out before the amplifier itself is suspected.
    """

    id: str
    do: Do
    minutes: Annotated[float, Field(gt=0)]
    place: Literal["battery", "engine_bay", "amplifier", "speaker", "source", "seat"]
    people: Literal[1, 2] = 1
    cautions: tuple[str, ...] = ()
    clears: tuple[Literal["supply", "remote", "load", "signal"], ...] = ()
    grammar: str
    spoken: str
    typed: str
    name: str
    position: Position | None = None
    pair: Pair | None = None


class Caution(_Frozen):
    """What could hurt: the sentence, and the source that asks for it."""

    id: str
    text: str
    short: str
    source: str


class Fault(_Frozen):
    """One fault: its id, the repair that ends it, its rate before any evidence, plain words."""

    id: str
    repair: str
    rate: Annotated[float, Field(gt=0, lt=1)]
    group: Literal["supply", "remote", "load", "signal", "noise", "amplifier"]
    words: str
    position: Position | None = None
    pair: Pair | None = None


class Repair(_Frozen):
    """One repair: minutes of work, whether it needs parts, and how it is told."""

    id: str
    minutes: Annotated[float, Field(gt=0)]
    parts: bool
    words: str
    customer: str
    beyond_user: str | None = None
    before: tuple[str, ...] = ()


def model_error(raw: Any) -> str:
    """Render a pydantic error as one sentence per field."""
    return "; ".join(
        f"{'.'.join(str(part) for part in item['loc']) or 'value'}: {item['msg']}"
        for item in raw.errors()
    )
