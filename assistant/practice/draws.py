"""Invented installations and the sound cars they are built into, from one seeded generator.

The spreads are wider than a careful person would assume; each is this house's own guess (common
practice, no source) unless its line says otherwise.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final, TypeVar

from assistant.practice.kinds import ALL_KINDS
from assistant.practice.parts import (
    Amplifier,
    Battery,
    Charging,
    House,
    Parts,
    Remote,
    SecondBattery,
    SignalLead,
    SignalSource,
    SpeakerLine,
    Supply,
)
from assistant.practice.wire import wire_ohms
from assistant.practice.words import pairs_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np

__all__ = [
    "draw_installation",
    "draw_parts",
    "forget_some",
    "log_uniform",
    "needed_ohms",
]

Item = TypeVar("Item")
GAUGES: Final = (
    "12 AWG",
    "10 AWG",
    "10 mm2",
    "8 AWG",
    "16 mm2",
    "6 AWG",
    "25 mm2",
    "4 AWG",
    "35 mm2",
    "2 AWG",
    "50 mm2",
    "1/0 AWG",
)
_FUSES: Final = (30, 40, 50, 60, 80, 100, 125, 150, 200, 250, 300)


def log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    """Draw between ``low`` and ``high``, every decade alike."""
    return float(math.exp(rng.uniform(math.log(low), math.log(high))))


def _pick(rng: np.random.Generator, items: Sequence[Item]) -> Item:
    return items[int(rng.integers(len(items)))]


def _efficiency(amp_class: str) -> float:
    return {"D": 0.85, "AB": 0.58}[amp_class]


def _total_watts(amplifier: dict[str, Any]) -> float:
    return float(amplifier["watts_per_channel"] * amplifier["channels"])


def needed_ohms(installation: dict[str, Any]) -> float:
    """Give the power wire's ohms that lose 0.4 V at full output and 13 V."""
    amplifier = installation["amplifier"]
    amperes = _total_watts(amplifier) / _efficiency(amplifier["class"]) / 13.0
    return 0.4 / amperes


def draw_installation(rng: np.random.Generator, kind: str) -> dict[str, Any]:
    """Draw a true, complete installation of one of ``ALL_KINDS``."""
    made = ALL_KINDS[kind]
    ohms = float(_pick(rng, made.ohms))
    minimum = float(_pick(rng, made.minimum))
    if kind == "van_mono":
        minimum = min(minimum, ohms / 2)
    if made.bridged:
        ohms = max(ohms, minimum)
    amplifier: dict[str, Any] = {
        "channels": made.channels,
        "watts_per_channel": int(round(rng.uniform(*made.watts) / 5) * 5),
        "class": _pick(rng, made.classes),
        "minimum_ohms": minimum if not made.bridged else 2.0,
        "minimum_ohms_bridged": 4.0 if not made.bridged else minimum,
        "bridged": made.bridged,
        "latches": bool(rng.random() < 0.6),
    }
    amperes = _total_watts(amplifier) / _efficiency(amplifier["class"]) / 13.0
    blades = max(1, math.ceil(amperes / 40))
    each = min((f for f in (20, 25, 30, 35, 40) if f * blades >= amperes * 0.8), default=40)
    amplifier["fuse_amps"] = [each] * blades
    length = round(float(rng.uniform(*made.length)), 1)
    wanted = 0.4 / amperes * rng.uniform(0.7, 1.3)
    clad = bool(rng.random() < 0.2)
    material = "copper_clad_aluminum" if clad else "copper"
    gauge = next(
        (g for g in GAUGES if wire_ohms(g, length, material=material) <= wanted), GAUGES[-1]
    )
    fuse = next((f for f in _FUSES if f >= sum(amplifier["fuse_amps"]) * 0.9), _FUSES[-1])
    factory = rng.random() < 0.3
    drawn: dict[str, Any] = {
        "amplifier": amplifier,
        "speakers": {
            place: {"nominal_ohms": ohms, "origin": "factory" if factory else "aftermarket"}
            for place in made.places
        },
        "source": {"kind": _pick(rng, made.sources)},
        "supply": {
            "wire": {"gauge": gauge, "material": material, "length_m": length},
            "ground": {
                "gauge": gauge,
                "material": material,
                "length_m": round(float(rng.uniform(0.3, 1.2)), 1),
            },
            "main_fuse": {"amps": fuse, "kind": "anl" if fuse >= 60 else "maxi"},
            "battery": "front",
        },
        "vehicle": {"charging": "alternator"},
        "ambient_c": round(float(rng.uniform(-5, 35))),
    }
    if made.returns:
        drawn["supply"]["ground"]["length_m"] = length
    if made.joined:
        drawn["supply"]["second_battery"] = {
            "place": _pick(rng, ("trunk", "rear", "under_seat")),
            "joined": _pick(rng, made.joined),
            "fuse": dict(drawn["supply"]["main_fuse"]),
            "ground": {**drawn["supply"]["ground"], "length_m": round(rng.uniform(0.2, 1.0), 1)},
        }
    return drawn


def forget_some(
    rng: np.random.Generator, installation: dict[str, Any], *, chance: float = 0.2
) -> dict[str, Any]:
    """Leave out a random part of what is known, as a customer would; speakers stay named."""
    kept: dict[str, Any] = {}
    for key, value in installation.items():
        if key == "speakers":
            kept[key] = {
                place: {k: v for k, v in about.items() if rng.random() >= chance}
                for place, about in value.items()
            }
        elif isinstance(value, dict):
            inner = forget_some(rng, {**value, "speakers": {}}, chance=chance)
            inner.pop("speakers")
            kept[key] = inner
        elif key in {"channels", "bridged"} or rng.random() >= chance:
            kept[key] = value
    return kept


def draw_parts(rng: np.random.Generator, installation: dict[str, Any]) -> Parts:
    """Draw every hidden number of a car without a fault."""
    ambient = float(installation["ambient_c"])
    places = list(installation["speakers"])
    parts = Parts(
        battery=Battery(
            ocv=float(rng.uniform(12.15, 12.9)),
            inner=log_uniform(rng, 3e-3, 20e-3),
            accept=log_uniform(rng, 0.05, 0.25),
        ),
        charging=Charging(
            setpoint=float(rng.uniform(13.6, 14.9)),
            ohms=log_uniform(rng, 3e-3, 15e-3),
            limit=float(rng.uniform(70, 180)),
            cable=log_uniform(rng, 0.5e-3, 4e-3),
            ripple=log_uniform(rng, 0.01, 0.2),
        ),
        house=House(
            asleep=log_uniform(rng, 0.01, 0.08),
            accessory=float(rng.uniform(2, 14)),
            running=float(rng.uniform(12, 45)),
            starter=float(rng.uniform(80, 300)),
            body=log_uniform(rng, 0.3e-3, 5e-3),
            engine_strap=log_uniform(rng, 0.2e-3, 2e-3),
            engine_to_body=log_uniform(rng, 1e-3, 20e-3),
        ),
        supply=_draw_supply(rng, installation, ambient),
        remote=_draw_remote(rng),
        amp=_draw_amplifier(rng, installation),
        source=_draw_source(rng, installation["source"]["kind"]),
        speakers={place: _draw_line(rng, installation, place, ambient) for place in places},
        signals={
            pair: SignalLead(
                center=log_uniform(rng, 0.03, 0.6),
                shield=log_uniform(rng, 0.01, 0.4),
                source_dc=log_uniform(rng, 50, 1000)
                if rng.random() < 0.5
                else log_uniform(rng, 5e3, 2e5),
            )
            for pair in pairs_of(places)
        },
        ambient=ambient,
    )
    if "second_battery" in installation["supply"]:
        parts.second = _draw_second(rng, installation["supply"]["second_battery"], ambient)
    return parts


def _draw_second(rng: np.random.Generator, given: dict[str, Any], ambient: float) -> SecondBattery:
    """Draw a sound second battery: of another size and age than the first, as often as not."""
    ground = given["ground"]
    return SecondBattery(
        ocv=float(rng.uniform(12.2, 12.9)),
        inner=log_uniform(rng, 2.5e-3, 18e-3),
        accept=log_uniform(rng, 0.05, 0.3),
        stub=log_uniform(rng, 0.1e-3, 0.5e-3),
        lead=log_uniform(rng, 0.3e-3, 3e-3),
        ground=wire_ohms(
            ground["gauge"], ground["length_m"], material=ground["material"],
            celsius=ambient + float(rng.uniform(0, 20)),
        ),
        ground_contact=float(rng.uniform(0, 3e-3)),
        fuse=float(rng.uniform(0.04, 0.1)) / given["fuse"]["amps"],
        fuse_contact=float(rng.uniform(0, 2e-3)),
        relay=given["joined"] == "charge_relay",
        relay_ohms=log_uniform(rng, 0.2e-3, 2e-3),
        relay_with_key=bool(rng.random() < 0.15),
    )  # fmt: skip


def _draw_supply(rng: np.random.Generator, installation: dict[str, Any], ambient: float) -> Supply:
    supply = installation["supply"]
    warm = ambient + float(rng.uniform(0, 25))

    def run(which: dict[str, Any]) -> float:
        return wire_ohms(
            which["gauge"], which["length_m"], material=which["material"], celsius=warm
        ) * float(rng.uniform(0.95, 1.15))

    return Supply(
        stub=float(rng.uniform(0.2e-3, 1.5e-3)),
        # Cold blade fuses lose about 70 to 100 mV at rated current (a 15 A blade has 4.8 mohm,
        # a maker's sheet quoted on a forum); bolted ones less.
        fuse=float(rng.uniform(0.04, 0.1)) / supply["main_fuse"]["amps"],
        fuse_contact=float(rng.uniform(0, 2e-3)),
        wire=run(supply["wire"]),
        wire_contact=float(rng.uniform(0, 3e-3)),
        ground_wire=run(supply["ground"]),
        ground_contact=float(rng.uniform(0, 4e-3)),
    )


def _draw_remote(rng: np.random.Generator) -> Remote:
    regulated = bool(rng.random() < 0.35)
    return Remote(
        regulated=regulated,
        volts=float(rng.uniform(8.5, 12.2) if regulated else rng.uniform(0.1, 1.5)),
        out=log_uniform(rng, 1, 60),
        wire=float(rng.uniform(0.1, 1.5)),
        # Some vehicles switch the accessory circuit off while the starter turns.
        cranking_volts=0.0 if rng.random() < 0.1 else None,
    )


def _draw_amplifier(rng: np.random.Generator, installation: dict[str, Any]) -> Amplifier:
    given = installation["amplifier"]
    watts = _total_watts(given)
    bridged = bool(given["bridged"])
    return Amplifier(
        channels=given["channels"],
        rated=watts * float(rng.uniform(0.7, 1.1)),
        efficiency=float(
            rng.uniform(0.72, 0.92) if given["class"] == "D" else rng.uniform(0.4, 0.65)
        ),
        idle=min(log_uniform(rng, 0.3, 2.5), max(0.3, watts / 200)),
        shut_down_amps=log_uniform(rng, 0.08, 0.8),
        off_ohms=log_uniform(rng, 400, 3e4),
        fuse=float(rng.uniform(0.07, 0.12)) / sum(given["fuse_amps"]),
        remote_threshold=float(rng.uniform(2.5, 7.5)),
        remote_input=log_uniform(rng, 1e3, 3e4),
        under=float(rng.uniform(8.5, 11.0)),
        over=float(rng.uniform(15.5, 17.5)),
        short=float(rng.uniform(0.5, 1.2)) * min(1.0, _load_floor(given) / 2),
        leak=log_uniform(rng, 1, 50),
        low_load_ratio=float(rng.uniform(0.55, 0.8)),
        minimum_ohms=_load_floor(given),
        latches=bool(given["latches"]),
        under_style=str(rng.choice(["protects", "goes_off", "flutters"], p=[0.45, 0.35, 0.2])),
        lit_while_protecting=bool(rng.random() < 0.5),
        protect_blinks=bool(rng.random() < 0.3),
        quiet_share=log_uniform(rng, 5e-4, 5e-3),
        loud_share=float(rng.uniform(0.10, 0.35)),
        burst=float(rng.uniform(2.0, 3.0)),
        warms_by=float(rng.uniform(12, 35)),
        warms_in_minutes=float(rng.uniform(6, 15)),
        trip_celsius=float(rng.uniform(75, 95)),
        common_negative=bool(rng.random() < 0.6) and not bridged,
        output_off=log_uniform(rng, 1e3, 5e4),
        output_on=log_uniform(rng, 0.01, 0.08),
        input_ohms=log_uniform(rng, 8e3, 5e4),
        input_ground=log_uniform(rng, 50, 5e3),
        trips_on_shorted_signal=bool(rng.random() < 0.3),
        ripple_gets_through=bool(rng.random() < 0.6),
        ground_shift_whines=bool(rng.random() < 0.4),
        # Sound that comes and goes is called gone by some and broken up by others.
        flutter_sounds_like=str(rng.choice(["no", "distorted"], p=[0.6, 0.4])),
    )


def _load_floor(amplifier: dict[str, Any]) -> float:
    return float(amplifier["minimum_ohms_bridged" if amplifier["bridged"] else "minimum_ohms"])


def _draw_source(rng: np.random.Generator, kind: str) -> SignalSource:
    at_speaker_level = kind == "speaker_level"
    return SignalSource(
        kind=kind,
        out=log_uniform(rng, 0.1, 2) if at_speaker_level else log_uniform(rng, 50, 1000),
        quiet=float(rng.uniform(0.3, 1.0) if at_speaker_level else rng.uniform(0.04, 0.3)),
        loud=float(rng.uniform(3, 8) if at_speaker_level else rng.uniform(0.8, 4)),
        ground=log_uniform(rng, 1e-3, 8e-3),
        amps=float(rng.uniform(0.8, 3)),
        # A line-level shell is tied to the source's ground; a bridged radio output is not.
        shell_to_ground=log_uniform(rng, 1e3, 2e4)
        if at_speaker_level
        else log_uniform(rng, 0.01, 0.5),
    )


def _draw_line(
    rng: np.random.Generator, installation: dict[str, Any], place: str, ambient: float
) -> SpeakerLine:
    nominal = float(installation["speakers"][place]["nominal_ohms"])
    single = installation["amplifier"]["channels"] == 1
    warm = 1 + 0.00393 * (ambient - 20)
    return SpeakerLine(
        output="main" if single else place,
        coil=nominal * float(rng.uniform(0.65, 0.9)) * warm,
        plus_wire=float(rng.uniform(0.025, 0.15)),
        minus_wire=float(rng.uniform(0.025, 0.15)),
        stated_ohms=nominal,
    )
