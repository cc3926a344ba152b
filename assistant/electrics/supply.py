"""The supply from battery and alternator through fuse and wire to the amplifier and back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assistant.electrics.battery import open_circuit_voltage
from assistant.electrics.charging import SourceCurve, source_curve
from assistant.electrics.operating import operating_point_on_curve
from assistant.electrics.parts import OPEN_OHM, Parts, Situation

if TYPE_CHECKING:
    from assistant.electrics.arrays import BoolArray, FloatArray

__all__ = ["SupplyPath", "SupplyVolts", "source_of", "supply_path", "supply_volts"]

_FUSE_OUT_OHM = 1e9
_CHARGE_ACCEPTANCE_OHM = 0.15
"""A charged battery takes far less current than its inner resistance would let in."""


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


def supply_path(parts: Parts, situation: Situation) -> SupplyPath:
    """Give the resistances of the amplifier's supply in this situation."""
    fuse = parts["fuse_ohm"] + parts["fuse_contact_ohm"]
    if situation.has("remove:main_fuse"):
        fuse = np.full(parts.count, _FUSE_OUT_OHM)
    return SupplyPath(
        post=parts["post_ohm"],
        fuse=fuse,
        wire=parts["wire_ohm"] * parts["wire_spread_ratio"] + parts["wire_contact_ohm"],
        ground=parts["ground_wire_ohm"] + parts["ground_contact_ohm"],
        strap=parts["strap_ohm"],
    )


def source_of(parts: Parts, situation: Situation) -> SourceCurve:
    """Join battery and alternator as they are in this situation (engine running or not)."""
    running = situation.vehicle == "running"
    other = {
        "off": np.full(parts.count, 0.03),
        "accessory": parts["house_accessory_a"],
        "cranking": parts["crank_a"],
        "running": parts["house_running_a"],
    }[situation.vehicle]
    emf = open_circuit_voltage(parts["charge_ratio"], parts.ambient_c)
    emf = emf + parts["surface_charge_v"]
    set_point = parts["charge_v"] + parts["charge_slope_v_per_c"] * (parts.ambient_c - 25.0)
    return source_curve(
        set_point=set_point if running else np.zeros(parts.count),
        limit=parts["charge_limit_a"] if running else np.zeros(parts.count),
        battery_emf=emf,
        battery_resistance=parts["battery_ohm"],
        charge_resistance=_CHARGE_ACCEPTANCE_OHM,
        output_resistance=parts["charge_ohm"],
        other_current=other,
    )


def supply_volts(  # noqa: PLR0917 - one array each
    parts: Parts,
    situation: Situation,
    curve: SourceCurve,
    path: SupplyPath,
    power_w: FloatArray,
    idle_a: FloatArray,
) -> SupplyVolts:
    """Settle the amplifier's draw on the supply and give every node's voltage, (worlds,)."""
    point = operating_point_on_curve(curve, path.total, power_w, idle_a)
    current = point.current
    posts = np.maximum(curve.voltage_at(current), 0.0)
    is_open = path.total > OPEN_OHM
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
    charging = posts
    if situation.vehicle == "running":
        set_point = parts["charge_v"] + parts["charge_slope_v_per_c"] * (parts.ambient_c - 25.0)
        given = np.clip((set_point - posts) / parts["charge_ohm"], 0.0,
                        parts["charge_limit_a"])  # fmt: skip
        charging = posts + parts["charge_ohm"] * given
    nodes["charging.output"] = charging
    starter = parts["crank_a"] if situation.vehicle == "cranking" else np.zeros(parts.count)
    nodes["engine_block"] = parts["engine_strap_ohm"] * starter
    return SupplyVolts(
        nodes=nodes,
        current=current,
        load_v=nodes["amp.power"] - nodes["amp.ground"],
        collapsed=point.collapsed,
    )
