"""What each fault of the design changes in a sound car; magnitudes even over the decades."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from assistant.errors import GivenError
from assistant.practice.draws import log_uniform, needed_ohms
from assistant.practice.parts import OPEN, Parts, SecondBattery

if TYPE_CHECKING:
    import numpy as np

__all__ = ["draw_changes"]

Changes = dict[str, Any]


def draw_changes(
    rng: np.random.Generator, parts: Parts, installation: dict[str, Any], fault: str
) -> Changes:
    """Draw the changes (path to value) that ``fault`` makes; raise ``GivenError`` if unknown."""
    head, *rest = fault.split(".")
    match [head, *rest]:
        case ["supply", kind]:
            changes = _beside(rng, parts, kind, _supply(rng, parts, installation, kind))
        case ["remote", kind]:
            changes = _remote(rng, parts, kind)
        case ["speaker", place, kind] if place in parts.speakers:
            changes = _speaker(rng, parts, place, kind)
        case ["load", "impedance_too_low"]:
            changes = _low_load(rng, parts)
        case ["signal", *kind]:
            changes = _signal(rng, parts, kind)
        case ["charging", "ripple"]:
            changes = {"charging.ripple": log_uniform(rng, 0.55, 2.5)}
            if rng.random() < 0.5:
                changes["charging.setpoint"] = parts.charging.setpoint - float(rng.uniform(0, 0.6))
        case ["amp", kind]:
            changes = _amp(rng, parts, kind)
        case _:
            changes = None
    if changes is None:
        raise GivenError(
            f"The fault {fault!r} cannot be in this car.", next_step="Take one of every_fault()."
        )
    return changes


def _supply(  # noqa: PLR0911 - one arm a fault
    rng: np.random.Generator, parts: Parts, installation: dict[str, Any], kind: str
) -> Changes | None:
    wire = parts.supply.wire
    match kind:
        case "battery_weak":
            low = rng.random() < 0.5
            return {
                "battery.ocv": float(rng.uniform(11.5, 12.05) if low else rng.uniform(12.0, 12.7)),
                "battery.inner": log_uniform(rng, 10e-3, 40e-3)
                if low
                else log_uniform(rng, 30e-3, 0.15),
            }
        case "charging_low":
            # What is not charged sinks: the battery has given some of its charge by now.
            drained = {"battery.ocv": float(rng.uniform(11.6, 12.4))}
            if rng.random() < 0.6:
                return {"charging.works": False, **drained}
            return {"charging.setpoint": float(rng.uniform(12.3, 13.2)), **drained}
        case "charging_high":
            return {"charging.setpoint": float(rng.uniform(15.6, 18.0))}
        case "main_fuse_open":
            return {"supply.fuse_open": True}
        case "main_fuse_loose":
            return _poor_contact(rng, "supply.fuse", (0.05, 8.0), loose=0.4, holds=0.3)
        case "power_wire_resistive":
            return {"supply.wire_contact": log_uniform(rng, 0.03, 5.0)}
        case "power_wire_undersized":
            return {"supply.wire": max(wire, needed_ohms(installation)) * float(rng.uniform(3, 8))}
        case "ground_resistive":
            return _poor_contact(rng, "supply.ground", (0.02, 5.0), loose=0.2)
    return None


def _poor_contact(
    rng: np.random.Generator,
    name: str,
    ohms: tuple[float, float],
    *,
    loose: float,
    holds: float = 0.2,
) -> Changes:
    """Give a contact ``ohms`` (low, high) bad; at the chance ``loose`` it holds now and then.

    Then it has at most ``holds`` ohms.
    """
    bad = log_uniform(rng, *ohms)
    if rng.random() < loose:
        return {f"{name}_contact": log_uniform(rng, 0.01, holds), f"{name}_jumps_to": bad}
    return {f"{name}_contact": bad}


_STARVES: Final = frozenset(
    {"main_fuse_open", "main_fuse_loose", "power_wire_resistive", "charging_low",
     "second_fuse_open", "second_fuse_loose", "charge_relay_open", "charge_relay_burnt"}
)  # fmt: skip
"""Faults that keep the charge from the second battery."""


def _starved(rng: np.random.Generator, second: SecondBattery) -> Changes:
    """Give a second battery that has fed the amplifier and was hardly charged since."""
    depth = float(rng.random())
    return {
        "second.ocv": second.ocv - depth * float(rng.uniform(0.3, 1.9)),
        "second.inner": second.inner * float(1 + depth * rng.uniform(0.3, 5.0)),
    }


def _beside(
    rng: np.random.Generator, parts: Parts, kind: str, changes: Changes | None
) -> Changes | None:
    """Give ``changes`` of the supply in a car with a second battery, where it has faults too."""
    second = parts.second
    if second is None:
        return changes
    if changes is None:
        return _second(rng, second, kind)
    return {**changes, **_starved(rng, second)} if kind in _STARVES else changes


def _second(rng: np.random.Generator, second: SecondBattery, kind: str) -> Changes | None:
    changes: Changes
    match kind:
        case "second_battery_weak":
            sulphated = rng.random() < 0.6
            changes = {
                "second.ocv": float(
                    rng.uniform(11.4, 12.6) if sulphated else rng.uniform(10.4, 11.9)
                ),
                "second.inner": log_uniform(rng, 0.025, 0.2)
                if sulphated
                else log_uniform(rng, 0.012, 0.06),
                "second.accept": log_uniform(rng, 0.1, 0.6),
            }
        case "second_fuse_open":
            changes = {"second.fuse_open": True}
        case "second_fuse_loose":
            changes = _poor_contact(rng, "second.fuse", (0.04, 8.0), loose=0.35)
        case "second_ground_resistive":
            changes = _poor_contact(rng, "second.ground", (0.02, 5.0), loose=0.2)
        case "charge_relay_open" if second.relay:
            changes = {"second.relay_works": False}
        case "charge_relay_burnt" if second.relay:
            changes = {"second.relay_ohms": log_uniform(rng, 0.03, 5.0)}
        case "charge_relay_stuck" if second.relay:
            changes = {"second.relay_stuck": True}
        case _:
            return None
    return {**changes, **_starved(rng, second)} if kind in _STARVES else changes


def _remote(rng: np.random.Generator, parts: Parts, kind: str) -> Changes | None:
    match kind:
        case "missing":
            return {"remote.dead": True} if rng.random() < 0.35 else {"remote.wire": OPEN}
        case "low":
            volts = float(rng.uniform(3, 7))
            threshold = {"amp.remote_threshold": float(rng.uniform(max(volts, 4.0), 7.6))}
            if rng.random() < 0.6:
                return {"remote.regulated": True, "remote.volts": volts, **threshold}
            # A bad joint on the way: most of the voltage is lost before the amplifier.
            share = volts / 12.0
            return {"remote.wire": parts.amp.remote_input * (1 - share) / share, **threshold}
        case "drops_on_start":
            volts = float(rng.uniform(0, 6))
            both = rng.random() < 0.8
            return {"remote.cranking_volts": volts} | (
                {"remote.running_volts": volts} if both else {}
            )
    return None


def _speaker(rng: np.random.Generator, parts: Parts, place: str, kind: str) -> Changes | None:
    line = parts.speakers[place]
    at = f"speakers.{place}."
    match kind:
        case "coil_shorted":
            return {at + "coil": log_uniform(rng, 0.05, 0.5)}
        case "coil_open":
            return {at + "coil": OPEN / 100}
        case "coil_rubbing":
            low, high = rng.uniform(0.3, 0.75), rng.uniform(1.3, 3.5)
            return {
                at + "coil_jumps_to": (line.coil * float(low), line.coil * float(high)),
                at + "rubs": True,
            }
        case "wire_to_chassis":
            return {
                at + "leak": max(0.02, float(rng.uniform(0, 20)) * float(rng.random() ** 2)),
                at + "leak_leg": str(rng.choice(["positive", "negative"])),
                at + "leak_at": float(rng.uniform(0.05, 0.95)),
                at + "leak_jumps": bool(rng.random() < 0.15),
            }
        case "wires_shorted":
            return {
                at + "short": log_uniform(rng, 0.02, 1.0),
                at + "leak_at": float(rng.uniform(0.05, 0.95)),
            }
    return None


def _low_load(rng: np.random.Generator, parts: Parts) -> Changes:
    """Speakers that are half of what is stated, or less where half would still be allowed."""
    outputs: dict[str, float] = {}
    for line in parts.speakers.values():
        outputs[line.output] = outputs.get(line.output, 0.0) + 1 / line.stated_ohms
    lightest = min(1 / siemens for siemens in outputs.values())
    part = min(1.0, parts.amp.minimum_ohms / lightest) * float(rng.uniform(0.42, 0.58))
    return {f"speakers.{place}.coil": line.coil * part for place, line in parts.speakers.items()}


def _signal(rng: np.random.Generator, parts: Parts, kind: list[str]) -> Changes | None:  # noqa: PLR0911 - one arm a fault
    match kind:
        case [pair, "shorted"] if pair in parts.signals:
            return {f"signals.{pair}.short": log_uniform(rng, 0.05, 5.0)}
        case [pair, "shield_open"] if pair in parts.signals:
            broken = rng.random() < 0.75
            return {f"signals.{pair}.shield": OPEN if broken else log_uniform(rng, 3e3, 1e8)}
        case ["converter_faulty"]:
            if rng.random() < 0.75:
                return {"source.converter_share": float(rng.uniform(0, 0.04))}
            return {
                "source.converter_share": float(rng.uniform(0.0, 0.03)),
                "source.out": log_uniform(rng, 2e3, 5e4),
            }
        case ["source_faulty"]:
            pairs = list(parts.signals)
            if len(pairs) > 1 and rng.random() < 0.4:
                pair = pairs[int(rng.integers(len(pairs)))]
                return {f"signals.{pair}.share": float(rng.uniform(0, 0.04))}
            return {"source.share": float(rng.uniform(0, 0.04))}
        case ["ground_loop"]:
            return {"source.ground": log_uniform(rng, 0.05, 1.5)}
    return None


def _amp(rng: np.random.Generator, parts: Parts, kind: str) -> Changes | None:
    places = list(parts.speakers)
    match kind:
        case "fuse_open":
            return {"amp.fuse_open": True}
        case "overheats":
            return {
                "amp.warms_by": float(rng.uniform(65, 130)),
                "amp.warms_in_minutes": float(rng.uniform(3, 8)),
            }
        case "gain_too_high":
            return {"amp.gain_high": True}
        case "internal":
            how = str(rng.choice(["dead", "protects", "dc_offset", "channel_dead"]))
            if how == "channel_dead" and len({s.output for s in parts.speakers.values()}) == 1:
                how = "dead"
            place = places[int(rng.integers(len(places)))]
            changes: Changes = {"amp.defect": how}
            if how in {"dc_offset", "channel_dead"}:
                changes["amp.defect_place"] = place
            if how == "dc_offset":
                changes["amp.offset"] = float(rng.choice([-1, 1])) * log_uniform(rng, 2.1, 11)
            return changes
    return None
