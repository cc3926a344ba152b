"""The supply from battery and alternator through fuse and wire to the amplifier and back."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from assistant.electrics.battery import CHARGE_ACCEPTANCE_OHM, open_circuit_voltage
from assistant.electrics.charging import SourceCurve, source_curve
from assistant.electrics.operating import operating_point_on_curve
from assistant.electrics.parts import OPEN_OHM, TAKEN_OUT_OHM, Parts, Situation
from assistant.electrics.second_battery import settle_joined

if TYPE_CHECKING:
    from assistant.electrics.arrays import BoolArray, FloatArray
    from assistant.knowledge.schema import VehicleState

__all__ = ["BLEED_A", "Supply", "SupplyPath", "SupplyVolts"]

BLEED_A = 5e-4
"""Current in A that an amplifier draws while it is off."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyPath:
    """Resistances in ohm from post to post, in the order of the current, each (worlds,)."""

    post: FloatArray
    fuse: FloatArray
    wire: FloatArray
    ground: FloatArray
    strap: FloatArray

    @property
    def total(self) -> FloatArray:
        """Whole path without the source, ohm."""
        return self.post + self.fuse + self.wire + self.ground + self.strap


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyVolts:
    """Node voltages in V against battery minus, and the amplifier's current in A, (worlds,)."""

    nodes: dict[str, FloatArray]
    current: FloatArray
    load_v: FloatArray
    collapsed: BoolArray


@dataclass(slots=True)
class Supply:
    """The supply of one set of worlds; keeps what several situations have in common."""

    parts: Parts
    _sources: dict[VehicleState, SourceCurve] = field(default_factory=dict)
    _paths: dict[bool, SupplyPath] = field(default_factory=dict)
    _resting: dict[_Feeds, SupplyVolts] = field(default_factory=dict)
    _idling: dict[_Feeds, SupplyVolts] = field(default_factory=dict)

    def path(self, situation: Situation) -> SupplyPath:
        """Give the resistances of the amplifier's supply in this situation."""
        out = situation.has("remove:main_fuse")
        if out not in self._paths:
            parts = self.parts
            fuse = parts["fuse_ohm"] + parts["fuse_contact_ohm"]
            self._paths[out] = SupplyPath(
                post=parts["post_ohm"],
                fuse=np.full(parts.count, TAKEN_OUT_OHM) if out else fuse,
                wire=parts["wire_ohm"] * parts["wire_spread_ratio"] + parts["wire_contact_ohm"],
                ground=parts["ground_wire_ohm"] + parts["ground_contact_ohm"],
                strap=parts["strap_ohm"],
            )
        return self._paths[out]

    def source(self, vehicle: VehicleState) -> SourceCurve:
        """Join battery and alternator as they are with the engine running or not."""
        if vehicle not in self._sources:
            self._sources[vehicle] = _source(self.parts, vehicle)
        return self._sources[vehicle]

    def resting(self, situation: Situation) -> SupplyVolts:
        """Give the volts while the amplifier is off, (worlds,)."""
        key = _feeds(situation)
        if key not in self._resting:
            count = self.parts.count
            self._resting[key] = self.settle(situation, np.zeros(count), np.full(count, BLEED_A))
        return self._resting[key]

    def idling(self, situation: Situation) -> SupplyVolts:
        """Give the volts while every amplifier with whole fuses is on without music, (worlds,)."""
        key = _feeds(situation)
        if key not in self._idling:
            parts = self.parts
            idle = np.where(parts.flag("amp_fuse_open"), BLEED_A, parts["idle_a"])
            self._idling[key] = self.settle(situation, np.zeros(parts.count), idle)
        return self._idling[key]

    def settle(self, situation: Situation, power_w: FloatArray, idle_a: FloatArray) -> SupplyVolts:
        """Settle the amplifier's draw on the supply and give every node's voltage, (worlds,)."""
        if self.parts.second_battery:
            return self._settle_joined(situation, power_w, idle_a)
        parts, path = self.parts, self.path(situation)
        total = path.total
        point = operating_point_on_curve(self.source(situation.vehicle), total, power_w, idle_a)
        current = point.current
        posts = np.maximum(point.source_v, 0.0)
        is_open = total > OPEN_OHM
        nodes = {"battery.negative": np.zeros(parts.count), "battery.positive": posts}
        nodes["main_fuse.battery_side"] = posts - path.post * current
        nodes["main_fuse.amp_side"] = nodes["main_fuse.battery_side"] - path.fuse * current
        nodes["amp.power"] = nodes["main_fuse.amp_side"] - path.wire * current
        nodes["chassis"] = path.strap * current
        nodes["amp.ground"] = nodes["chassis"] + path.ground * current
        # Behind an open fuse nothing is left but what the meter itself lets through.
        for name in ("main_fuse.amp_side", "amp.power"):
            nodes[name] = np.where(is_open, 0.0, np.maximum(nodes[name], 0.0))
        nodes["amp.ground"] = np.where(is_open, 0.0, nodes["amp.ground"])
        self._put_engine_side(nodes, situation, posts)
        return SupplyVolts(
            nodes=nodes,
            current=current,
            load_v=nodes["amp.power"] - nodes["amp.ground"],
            collapsed=point.collapsed,
        )

    def _settle_joined(
        self, situation: Situation, power_w: FloatArray, idle_a: FloatArray
    ) -> SupplyVolts:
        """Settle the draw where a second battery stands at the amplifier, (worlds,)."""
        front = self.source(situation.vehicle)
        settled = settle_joined(self.parts, situation, front, power_w, idle_a)
        nodes = settled.nodes
        self._put_engine_side(nodes, situation, settled.front_v)
        return SupplyVolts(
            nodes=nodes,
            current=settled.current,
            load_v=nodes["amp.power"] - nodes["amp.ground"],
            collapsed=settled.collapsed,
        )

    def _put_engine_side(
        self, nodes: dict[str, FloatArray], situation: Situation, posts: FloatArray
    ) -> None:
        """Add the volts of the alternator's output and of the engine block to ``nodes``."""
        parts = self.parts
        charging = posts
        if situation.vehicle == "running":
            given = np.clip((_set_point(parts) - posts) / parts["charge_ohm"], 0.0,
                            parts["charge_limit_a"])  # fmt: skip
            charging = posts + parts["charge_ohm"] * given
        nodes["charging.output"] = charging
        starter = parts["crank_a"] if situation.vehicle == "cranking" else np.zeros(parts.count)
        nodes["engine_block"] = parts["engine_strap_ohm"] * starter


_Feeds = tuple["VehicleState", bool, bool]


def _feeds(situation: Situation) -> _Feeds:
    """Name what of a situation the supply at rest depends on."""
    return (
        situation.vehicle,
        situation.has("remove:main_fuse"),
        situation.has("disconnect:second_battery"),
    )


def _set_point(parts: Parts) -> FloatArray:
    return parts["charge_v"] + parts["charge_slope_v_per_c"] * (parts.ambient_c - 25.0)


def _source(parts: Parts, vehicle: VehicleState) -> SourceCurve:
    running = vehicle == "running"
    other = {
        "off": np.full(parts.count, 0.03),
        "accessory": parts["house_accessory_a"],
        "cranking": parts["crank_a"],
        "running": parts["house_running_a"],
    }[vehicle]
    emf = open_circuit_voltage(parts["charge_ratio"], parts.ambient_c)
    return source_curve(
        set_point=_set_point(parts) if running else 0.0,
        limit=parts["charge_limit_a"] if running else 0.0,
        battery_emf=emf + parts["surface_charge_v"],
        battery_resistance=parts["battery_ohm"],
        charge_resistance=CHARGE_ACCEPTANCE_OHM,
        output_resistance=parts["charge_ohm"],
        other_current=other,
    )
