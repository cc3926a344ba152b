"""A second battery at the amplifier, joined to the first by the main wire.

From the first battery the current goes through main fuse, charge relay (where there is one), wire
and second fuse to the second battery's plus post; a short lead takes it on to the amplifier. The
second battery has a ground wire of its own to the body. With a part of the link open the
amplifier lives on the second battery alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from assistant.electrics.battery import CHARGE_ACCEPTANCE_OHM, open_circuit_voltage
from assistant.electrics.joined import battery_current, current_through_link, joined_sources
from assistant.electrics.operating import operating_point_on_curve
from assistant.electrics.parts import OPEN_OHM, TAKEN_OUT_OHM, Parts, Situation

if TYPE_CHECKING:
    from assistant.electrics.arrays import BoolArray, FloatArray
    from assistant.electrics.charging import SourceCurve

__all__ = ["JoinedSupply", "Link", "link_of", "ripple_share", "settle_joined"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """Resistances in ohm around the second battery, each (worlds,), in the order of the current.

    ``post`` to ``second_fuse`` lead to the joint at the second battery's plus post and ``strap``
    back to the first battery; ``second_ground`` is the second battery's own way to the body;
    ``lead`` and ``ground`` are the amplifier's.
    """

    post: FloatArray
    fuse: FloatArray
    relay: FloatArray
    wire: FloatArray
    second_fuse: FloatArray
    lead: FloatArray
    ground: FloatArray
    strap: FloatArray
    second_ground: FloatArray

    @property
    def chain(self) -> tuple[FloatArray, ...]:
        """The steps from the first battery's plus post to the joint."""
        return (self.post, self.fuse, self.relay, self.wire, self.second_fuse)


@dataclass(frozen=True, slots=True, kw_only=True)
class JoinedSupply:
    """What settles, (worlds,): node volts against the first battery's minus post, and currents.

    ``front_v`` V at the first battery's posts, ``current`` A of the amplifier, ``link_a`` A
    through the link toward the joint, ``second_a`` A that the second battery gives.
    """

    nodes: dict[str, FloatArray]
    front_v: FloatArray
    current: FloatArray
    link_a: FloatArray
    second_a: FloatArray
    collapsed: BoolArray


def relay_closed(parts: Parts, situation: Situation) -> BoolArray:
    """Tell where first and second battery are joined as far as the relay goes, (worlds,).

    A charge relay closes with the engine running, some with the key; a stuck one always is
    closed. Without a relay the batteries are joined for good.
    """
    closed = ~parts.flag("joined_by_relay") | parts.flag("relay_stuck")
    if situation.vehicle == "running":
        closed |= np.ones(parts.count, dtype=np.bool_)
    elif situation.vehicle != "off":
        closed |= parts.flag("relay_with_key")
    return closed


def link_of(parts: Parts, situation: Situation) -> Link:
    """Give the resistances around the second battery in this situation."""
    wide = {name: parts[name].astype(np.float64) for name in _NAMES}
    relay = wide["relay_ohm"] + wide["relay_contact_ohm"]
    relay = np.where(parts.flag("joined_by_relay"), relay, wide["plain_joint_ohm"])
    fuse = wide["fuse_ohm"] + wide["fuse_contact_ohm"]
    ground = wide["second_ground_wire_ohm"] + wide["second_ground_contact_ohm"]
    out = np.full(parts.count, TAKEN_OUT_OHM)
    return Link(
        post=wide["post_ohm"],
        fuse=out if situation.has("remove:main_fuse") else fuse,
        relay=np.where(relay_closed(parts, situation), relay, out),
        wire=wide["wire_ohm"] * wide["wire_spread_ratio"] + wide["wire_contact_ohm"],
        second_fuse=wide["second_fuse_ohm"] + wide["second_fuse_contact_ohm"],
        lead=wide["second_lead_ohm"],
        ground=wide["ground_wire_ohm"] + wide["ground_contact_ohm"],
        strap=wide["strap_ohm"],
        second_ground=out if situation.has("disconnect:second_battery") else ground,
    )


_NAMES: Final = (
    "post_ohm", "fuse_ohm", "fuse_contact_ohm", "relay_ohm", "relay_contact_ohm",
    "plain_joint_ohm", "wire_ohm", "wire_spread_ratio", "wire_contact_ohm", "second_fuse_ohm",
    "second_fuse_contact_ohm", "second_lead_ohm", "ground_wire_ohm", "ground_contact_ohm",
    "strap_ohm", "second_ground_wire_ohm", "second_ground_contact_ohm",
)  # fmt: skip


def settle_joined(
    parts: Parts,
    situation: Situation,
    front: SourceCurve,
    power_w: FloatArray,
    idle_a: FloatArray,
) -> JoinedSupply:
    """Settle the amplifier's draw on both batteries and give every node's voltage, (worlds,).

    ``front`` is battery and alternator at the first battery's posts.
    """
    link = link_of(parts, situation)
    link_ohm = np.sum(link.chain, axis=0) + link.strap
    emf = open_circuit_voltage(parts["second_charge_ratio"], parts.ambient_c)
    emf = np.maximum(emf + parts["second_surface_v"], 0.0)
    inner = parts["second_battery_ohm"].astype(np.float64)
    give = inner + link.second_ground
    take = np.maximum(inner, CHARGE_ACCEPTANCE_OHM) + link.second_ground
    source = joined_sources(front, link_ohm, emf=emf, give_ohm=give, take_ohm=take)
    point = operating_point_on_curve(source, link.lead + link.ground, power_w, idle_a)
    current = point.current
    # With both sources open nothing is left at the joint but what the meter lets through.
    bare = (link_ohm > OPEN_OHM) & (give > OPEN_OHM)
    joint = np.where(bare, 0.0, np.maximum(point.source_v, 0.0))
    link_a, front_v = current_through_link(front, link_ohm, joint)
    second_a = battery_current(emf, give, take, joint)
    nodes = _link_nodes(link, np.maximum(front_v, 0.0), link_a, joint, bare)
    chassis = link.strap * link_a
    positive = joint + chassis
    within = np.where(second_a > 0.0, inner, np.maximum(inner, CHARGE_ACCEPTANCE_OHM))
    nodes["second_battery.positive"] = nodes["second_fuse.battery_side"] = positive
    nodes["second_battery.negative"] = positive - (emf - within * second_a)
    nodes["chassis"] = chassis
    power = np.maximum(positive - link.lead * current, 0.0)
    nodes["amp.power"] = np.where(bare, 0.0, power)
    nodes["amp.ground"] = np.where(bare, 0.0, chassis + link.ground * current)
    return JoinedSupply(
        nodes=nodes,
        front_v=np.maximum(front_v, 0.0),
        current=current,
        link_a=link_a,
        second_a=second_a,
        collapsed=point.collapsed,
    )


def _link_nodes(
    link: Link, front_v: FloatArray, link_a: FloatArray, joint: FloatArray, bare: BoolArray
) -> dict[str, FloatArray]:
    """Give the volts along the link; a node between two open places hangs free and reads 0 V."""
    chain = link.chain
    names = (
        "main_fuse.battery_side", "main_fuse.amp_side", "charge_relay.amp_side",
        "second_fuse.wire_side",
    )  # fmt: skip
    nodes = {"battery.negative": np.zeros_like(front_v), "battery.positive": front_v}
    for at, name in enumerate(names, start=1):
        before, after = np.sum(chain[:at], axis=0), np.sum(chain[at:], axis=0)
        from_front = front_v - before * link_a
        from_joint = joint + link.strap * link_a + after * link_a
        tied_back = (after < OPEN_OHM) & ~bare
        nodes[name] = np.where(before < OPEN_OHM, from_front, np.where(tied_back, from_joint, 0.0))
    nodes["charge_relay.battery_side"] = nodes["main_fuse.amp_side"]
    return nodes


def ripple_share(parts: Parts, situation: Situation) -> FloatArray:
    """Share of the ripple at the first battery that reaches the amplifier, 0 to 1, (worlds,).

    The second battery takes ripple in by its inner resistance: a divider with the link.
    """
    link = link_of(parts, situation)
    second = parts["second_battery_ohm"] + link.second_ground
    return np.asarray(second / (second + np.sum(link.chain, axis=0) + link.strap))
