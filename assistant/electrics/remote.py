"""The remote lead: what the source gives and what reaches the amplifier's terminal."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from assistant.electrics.arrays import BoolArray, FloatArray
    from assistant.electrics.parts import Parts, Situation

__all__ = ["Remote", "remote_voltages", "source_is_on"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Remote:
    """Volts against battery minus at the source's output and at the amplifier, (worlds,)."""

    at_source: FloatArray
    at_amp: FloatArray


def source_is_on(parts: Parts, situation: Situation) -> BoolArray:
    """Tell where the source is switched on, (worlds,).

    Many vehicles cut the accessory feed while cranking, and no music may mean that the source
    is off: both are drawn per world.
    """
    on = np.full(parts.count, situation.vehicle != "off")
    if situation.vehicle == "cranking":
        on &= ~parts.flag("cranking_cuts_accessory")
    if situation.level == 0:
        on &= ~parts.flag("silence_switches_off")
    return on


def remote_voltages(
    parts: Parts, situation: Situation, battery_v: FloatArray, amp_power_v: FloatArray
) -> Remote:
    """Compute both ends of the remote lead from the battery's volts, (worlds,)."""
    feed = np.where(
        source_is_on(parts, situation),
        np.minimum(battery_v - parts["source_remote_drop_v"], parts["remote_limit_v"]),
        0.0,
    )
    feed = np.where(parts.flag("source_remote_dead"), 0.0, feed)
    low = parts["remote_low_v"]
    is_low = low > 0.0
    low_at_source = parts.flag("remote_low_at_source")
    dropped = np.zeros(parts.count, dtype=np.bool_)
    if situation.vehicle == "cranking":
        dropped = parts["remote_start_drop"] >= 1
    elif situation.vehicle == "running":
        dropped = parts["remote_start_drop"] >= 2
    drop_v = parts["remote_start_drop_v"]
    drop_at_source = parts.flag("remote_start_drop_at_source")
    at_source = np.where(is_low & low_at_source, np.minimum(feed, low), feed)
    at_source = np.where(dropped & drop_at_source, np.minimum(at_source, drop_v), at_source)
    at_amp = np.maximum(at_source - parts["remote_lead_drop_v"], 0.0)
    at_amp = np.where(is_low & ~low_at_source, np.minimum(at_amp, low), at_amp)
    at_amp = np.where(dropped & ~drop_at_source, np.minimum(at_amp, drop_v), at_amp)
    at_amp = np.where(parts.flag("remote_open"), 0.0, at_amp)
    if situation.has("disconnect:remote"):
        at_amp = np.zeros(parts.count)
    if situation.has("jumper:remote"):
        at_amp = amp_power_v
    return Remote(at_source=at_source, at_amp=at_amp)
