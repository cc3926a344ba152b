"""The amplifier: whether it is on, protects or goes dark, what it draws, what its lights show."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assistant.electrics.load import load_trips
from assistant.electrics.parts import Parts, Situation
from assistant.electrics.remote import Remote, remote_voltages, source_is_on
from assistant.electrics.signal import input_trips, pair_has_signal
from assistant.electrics.supply import BLEED_A

if TYPE_CHECKING:
    from assistant.electrics.arrays import BoolArray, FloatArray
    from assistant.electrics.supply import Supply, SupplyVolts

__all__ = ["AmplifierState", "solve_amplifier"]

LOGIC_V = 6.5
"""Below this the amplifier's own supply gives up: automute of an automotive amplifier chip at
about 6.5 to 7 V (data sheet of the ST TDA7850)."""
_PROTECTS, _DC, _CUTS_OUT, _DEAD = 2, 3, 5, 1
_DC_DETECTOR_V = 2.0
"""DC-offset detectors trip at 2 to 4 V (data sheet of the ST TDA7850)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AmplifierState:
    """What the amplifier does in one situation, each (worlds,).

    ``works`` means on and not protecting; ``protects`` that the protection shows; ``dark`` that
    nothing shows although the supply may be there; ``level`` is the music at the outputs;
    ``chops`` that it trips and comes back in time with loud music; ``pulling`` is the supply while
    it works, ``supply`` what is left of that after a trip.
    """

    works: BoolArray
    protects: BoolArray
    dark: BoolArray
    level: FloatArray
    chops: BoolArray
    pulling: SupplyVolts
    supply: SupplyVolts
    remote: Remote


def _level(parts: Parts, situation: Situation) -> FloatArray:
    """Music level at the outputs: that of the situation where any pair has a signal."""
    any_signal = np.zeros(parts.count, dtype=np.bool_)
    for pair in parts.pairs:
        any_signal |= pair_has_signal(parts, situation, pair)
    any_signal &= source_is_on(parts, situation)
    return np.where(any_signal, float(situation.level), 0.0)


def _demand(parts: Parts, situation: Situation, level: FloatArray) -> FloatArray:
    """Mean power drawn for the music in W, (worlds,): output over the class's efficiency."""
    share = np.select(
        [level >= 2, level >= 1], [parts["loud_ratio"], parts["quiet_ratio"]], default=0.0
    )
    connected = sum(situation.speaker_connected(p) for p in parts.positions)
    efficiency = np.clip(parts["class_efficiency_ratio"] * parts["efficiency_ratio"], 0.2, 0.97)
    return parts["rated_w"] * share / efficiency * (connected / len(parts.positions))


def _inner_trips(parts: Parts, situation: Situation, level: FloatArray) -> BoolArray:
    """Trips that come from the amplifier and its setting: heat, gain, a defect, (worlds,)."""
    kind = parts["internal_kind"]
    offset = (kind == _DC) & (parts["internal_dc_v"] > _DC_DETECTOR_V)
    defect = (kind == _PROTECTS) | offset | ((kind == _CUTS_OUT) & (level >= 2))
    return np.asarray(_overworked(parts, situation, level) | defect)


def _overworked(parts: Parts, situation: Situation, level: FloatArray) -> BoolArray:
    """Trips by heat, or by a gain set too high with loud music, (worlds,)."""
    hot = parts.flag("heat_trips") & parts.flag("hot_now") & (level >= parts["heat_needs"])
    if situation.has("cool_down"):
        hot = np.zeros_like(hot)
    return hot | (parts.flag("gain_high") & parts.flag("gain_trips") & (level >= 2))


def solve_amplifier(supply: Supply, situation: Situation) -> AmplifierState:
    """Solve supply, remote lead and amplifier together for one situation.

    The draw decides the voltage, the voltage whether the amplifier protects, and that the draw:
    solved once as if it worked, once for bursts, and once more with what then remains drawn.
    """
    parts = supply.parts
    level = _level(parts, situation)
    fuse_open = parts.flag("amp_fuse_open") | situation.has("disconnect:amp_power")
    resting = supply.resting(situation)
    remote = remote_voltages(
        parts, situation, resting.nodes["battery.positive"], resting.nodes["amp.power"]
    )
    wanted = (
        ~fuse_open
        & (parts["internal_kind"] != _DEAD)
        & (remote.at_amp >= parts["remote_threshold_v"])
    )
    demand = np.where(wanted, _demand(parts, situation, level), 0.0)
    idle = np.where(wanted, parts["idle_a"], BLEED_A)
    working = supply.settle(situation, demand, idle)
    if situation.level == 2:
        burst = supply.settle(situation, demand * parts["burst_ratio"], idle)
    else:
        burst = working
    low = wanted & ((burst.load_v < parts["low_trip_v"]) | burst.collapsed)
    high = working.load_v > parts["high_trip_v"]
    latched = _still_latched(supply, situation)
    other = (
        load_trips(parts, situation, level)
        | input_trips(parts, situation)
        | _inner_trips(parts, situation, level)
        | high
        | latched
    )
    tripped = wanted & (low | other)
    pulls_on = low & ~other & parts.flag("sag_stays")
    final_idle = np.where(tripped & ~pulls_on, parts["standby_a"], idle)
    final_demand = np.where(tripped & ~pulls_on, 0.0, demand)
    if np.any(tripped & ~pulls_on):
        left = supply.settle(situation, final_demand, final_idle)
    else:
        left = working
    starved = left.load_v < LOGIC_V
    goes_dark = ((low & ~other) | starved) & parts.flag("low_trip_dark")
    goes_dark |= _overworked(parts, situation, level) & parts.flag("inner_trip_dark")
    alive = wanted & (left.load_v > 0.6 * LOGIC_V)
    works = alive & ~tripped
    protects = alive & tripped & ~goes_dark
    return AmplifierState(
        works=works,
        protects=protects,
        dark=~works & ~protects,
        level=np.where(works, level, 0.0),
        pulling=working,
        chops=tripped & ~latched & (level >= 2) & parts.flag("trip_chops"),
        supply=left,
        remote=remote,
    )


def _still_latched(supply: Supply, situation: Situation) -> BoolArray:
    """Tell where cranking tripped a latching amplifier that the running engine finds tripped."""
    parts = supply.parts
    if situation.vehicle != "running" or situation.has("cycle_remote"):
        return np.zeros(parts.count, dtype=np.bool_)
    before = Situation("cranking", situation.audio, situation.setup)
    start = supply.idling(before)
    remote = remote_voltages(
        parts, before, start.nodes["battery.positive"], start.nodes["amp.power"]
    )
    stayed_on = remote.at_amp >= parts["remote_threshold_v"]
    return parts.flag("latches") & stayed_on & (start.load_v < parts["low_trip_v"])
