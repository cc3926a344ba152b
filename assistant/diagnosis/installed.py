"""Puts what an installation states in the place of the spreads, and weighs what follows from it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from assistant.electrics.conductors import gauge_resistance_per_m
from assistant.electrics.fuses import cold_resistance_ohm, fuse_kind
from assistant.electrics.loads import class_efficiency
from assistant.errors import GivenError
from assistant.knowledge import pairs_of, positions_of
from assistant.knowledge.templates import Spread

if TYPE_CHECKING:
    from assistant.knowledge.schema import Fuse, Installation, Wire
    from assistant.knowledge.templates import Spreads

__all__ = ["Stated", "installed_spreads"]

_DROP_LIMIT_V: Final = 0.5
"""Drop along the power wire at full draw above which the wire counts as thin: 3 % of 14 V is the
marine sizing limit for critical circuits, 0.42 V; rounded up."""
_FULL_DRAW_V: Final = 12.5
"""Supply at full draw: between a resting battery and a running engine, less the wires' drop."""
_LENGTH_M: Final = {"front": 5.5, "rear": 2.0, "trunk": 2.0, "boot": 2.0, "seat": 3.0}
_MATERIAL_IF_UNKNOWN: Final = (1.0, 1.55)
_CAR_RUN_M: Final = 7.0
"""The usual spread of wires holds for runs up to here; buses and boats have longer ones."""
_BACK_TO_BATTERY_M: Final = 3.0
"""A ground wire as long as this goes back to the battery: it counts like the power wire."""
_FLAT: Final = {
    "second_charge_ratio": Spread(uniform=(0.0, 0.8)),
    "second_surface_v": Spread(uniform=(-1.8, 0.15)),
    "second_battery_ohm": Spread(loguniform=(0.004, 0.08)),
}
"""A second battery that has not been charged for a while, as with the faults of its own link in
``faults.yaml``: common practice, no source."""
_NOT_CHARGED: Final = (
    "supply.main_fuse_open", "supply.main_fuse_loose", "supply.power_wire_resistive",
    "supply.charging_low",
)  # fmt: skip


@dataclass(slots=True, kw_only=True)
class Stated:
    """Spreads by parameter name, factors on fault rates, and effects that replace the usual."""

    spreads: dict[str, Spread]
    rate_factors: dict[str, float] = field(default_factory=dict)
    effects: dict[str, dict[str, Spread]] = field(default_factory=dict)


def _around(value: float, low: float = 1.0, high: float = 1.0) -> Spread:
    if low == high:
        return Spread(const=value * low)
    return Spread(loguniform=(value * low, value * high))


def _wire_ohm(wire: Wire, usual_m: float, temperature_c: float) -> Spread | None:
    """Resistance in ohm of a stated wire; None where the gauge is not known."""
    if wire.gauge is None:
        return None
    per_m = float(gauge_resistance_per_m(wire.gauge, wire.material or "copper", temperature_c))
    low, high = (1.0, 1.0) if wire.material else _MATERIAL_IF_UNKNOWN
    if wire.length_m is None:
        return _around(per_m * usual_m, 0.6 * low, 1.5 * high)
    return _around(per_m * wire.length_m, low, high)


def installed_spreads(installation: Installation, spreads: Spreads) -> Stated:
    """Build the spreads of every parameter of ``installation``, (names as in ``Parts``)."""
    made: dict[str, Spread] = dict(spreads.scalar)
    for position in positions_of(installation):
        for name, spread in spreads.position.items():
            made[f"{name}.{position}"] = spread
        speaker = installation.speakers.get(position)
        if speaker and speaker.nominal_ohms:
            made[f"nominal_ohm.{position}"] = Spread(const=speaker.nominal_ohms)
    for pair in pairs_of(installation):
        for name, spread in spreads.pair.items():
            made[f"{name}.{pair}"] = spread
    stated = Stated(spreads=made)
    _put_amplifier(installation, stated)
    _put_supply(installation, stated)
    _put_second_battery(installation, stated, spreads)
    _judge_wire(installation, stated)
    _judge_load(installation, stated)
    if installation.source.kind == "factory_with_converter":
        # The added part fails more often than the factory radio (common practice, no source).
        stated.rate_factors["signal.converter_faulty"] = 1.8
        stated.rate_factors["signal.source_faulty"] = 0.6
    return stated


def _efficiency(stated: Stated) -> float:
    return sum(stated.spreads["class_efficiency_ratio"].uniform or (0.5, 0.9)) / 2


def _rated_w(installation: Installation, efficiency: float) -> Spread | None:
    """Output of all channels in W as stated, or as the fuses tell it; None where neither is known.

    Makers choose an amplifier's fuses for the current of its full output, and whoever installs it
    a main fuse to suit (common practice, no source).
    """
    amplifier, main = installation.amplifier, installation.supply.main_fuse
    if amplifier.watts_per_channel:
        channels = amplifier.channels or len(positions_of(installation))
        watts = amplifier.watts_per_channel * channels
        # Of bridged channels some tell the watts of one, others those of two together.
        bridged = amplifier.bridged and channels > 1
        return _around(watts, 0.4 if bridged else 0.8, 1.2)
    if amplifier.fuse_amps:
        return _around(sum(amplifier.fuse_amps) * _FULL_DRAW_V * efficiency, 0.6, 1.3)
    if main and main.amps:
        return _around(main.amps * _FULL_DRAW_V * efficiency, 0.4, 1.3)
    return None


def _put_amplifier(installation: Installation, stated: Stated) -> None:
    amplifier = installation.amplifier
    if amplifier.amplifier_class:
        try:
            efficiency = class_efficiency(amplifier.amplifier_class)
        except GivenError:
            efficiency = None  # an unheard-of class keeps the wide spread
        if efficiency is not None:
            stated.spreads["class_efficiency_ratio"] = Spread(
                uniform=(0.88 * efficiency, min(0.95, 1.05 * efficiency))
            )
    rated = _rated_w(installation, _efficiency(stated))
    if rated:
        stated.spreads["rated_w"] = rated
    minimum = amplifier.minimum_ohms
    if amplifier.bridged:
        minimum = amplifier.minimum_ohms_bridged or (2 * minimum if minimum else None)
    if minimum:
        stated.spreads["minimum_ohm"] = Spread(const=minimum)
    if amplifier.latches is not None:
        stated.spreads["latches"] = Spread(chance=0.97 if amplifier.latches else 0.03)


def _put_supply(installation: Installation, stated: Stated) -> None:
    supply = installation.supply
    warm_c = 30.0 if installation.ambient_c is None else installation.ambient_c + 5.0
    if supply.wire:
        usual = _LENGTH_M.get((supply.battery or "front").lower(), 4.5)
        wire = _wire_ohm(supply.wire, usual, warm_c)
        if wire:
            stated.spreads["wire_ohm"] = wire
        elif supply.wire.length_m and supply.wire.length_m > _CAR_RUN_M:
            low, high = stated.spreads["wire_ohm"].loguniform or (0.0, 0.0)
            longer = supply.wire.length_m / _CAR_RUN_M
            stated.spreads["wire_ohm"] = Spread(loguniform=(low, high * longer))
    if supply.ground:
        ground = _wire_ohm(supply.ground, 0.6, warm_c)
        if ground:
            stated.spreads["ground_wire_ohm"] = ground
    _put_fuse(supply.main_fuse, "fuse_ohm", stated)


def _put_fuse(fuse: Fuse | None, name: str, stated: Stated) -> None:
    if fuse is None or not fuse.amps:
        return
    try:
        cold = float(cold_resistance_ohm(fuse.amps, fuse_kind(fuse.kind, fuse.amps)))
    except GivenError:
        return  # an unheard-of fuse keeps the wide spread
    stated.spreads[name] = _around(cold, 0.8, 2.0)


def _put_second_battery(installation: Installation, stated: Stated, spreads: Spreads) -> None:
    second = installation.supply.second_battery
    if second is None:
        return
    stated.spreads.update(spreads.second_battery)
    if second.joined:
        stated.spreads["joined_by_relay"] = Spread(const=float(second.joined == "charge_relay"))
    _put_fuse(second.fuse, "second_fuse_ohm", stated)
    if second.ground:
        warm_c = 30.0 if installation.ambient_c is None else installation.ambient_c + 5.0
        ground = _wire_ohm(second.ground, 0.6, warm_c)
        if ground:
            stated.spreads["second_ground_wire_ohm"] = ground
    for fault in _NOT_CHARGED:
        stated.effects[fault] = dict(_FLAT)


def _middle(spread: Spread) -> float:
    if spread.const is not None:
        return spread.const
    low, high = spread.loguniform or spread.uniform or (0.0, 0.0)
    return float((low * high) ** 0.5)


def _judge_wire(installation: Installation, stated: Stated) -> None:
    """Weigh a stated wire by the drop that it must have at full draw."""
    wire = installation.supply.wire
    efficiency = _efficiency(stated)
    if wire is None or wire.gauge is None or not _rated_w(installation, efficiency):
        return
    watts = _middle(stated.spreads["rated_w"])
    ohm = _middle(stated.spreads["wire_ohm"])
    ground = installation.supply.ground
    if ground is not None and (ground.length_m or 0.0) >= _BACK_TO_BATTERY_M:
        ohm += _middle(stated.spreads["ground_wire_ohm"])
    # Music at a third of full power is the heavy case of rating practice (FTC).
    drop = ohm * watts / 3 / efficiency / _FULL_DRAW_V
    if drop > _DROP_LIMIT_V:
        stated.rate_factors["supply.power_wire_undersized"] = 12.0
        # What is stated is too thin as it stands; wire is also sold thinner than it is marked.
        stated.effects["supply.power_wire_undersized"] = {
            "wire_spread_ratio": Spread(loguniform=(0.95, 2.5))
        }


def _judge_load(installation: Installation, stated: Stated) -> None:
    """Weigh a stated load that is below the amplifier's stated minimum."""
    minimum = stated.spreads["minimum_ohm"].const
    if minimum is None:
        return
    nominal = [s.nominal_ohms for s in installation.speakers.values() if s.nominal_ohms]
    if nominal and min(nominal) < 0.95 * minimum:
        stated.rate_factors["load.impedance_too_low"] = 8.0
        stated.effects["load.impedance_too_low"] = {"low_load_ratio": Spread(uniform=(0.45, 1.05))}
