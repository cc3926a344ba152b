"""Source, converter and signal leads: what reaches each pair of the amplifier's inputs."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assistant.electrics.meter import INPUT_OHM
from assistant.electrics.parts import OPEN_OHM, Parts, Situation

if TYPE_CHECKING:
    from assistant.electrics.arrays import BoolArray, FloatArray
    from assistant.knowledge.schema import Pair

__all__ = [
    "center_to_shell_ohm",
    "distorted_signal",
    "input_trips",
    "lead_voltage",
    "pair_has_signal",
    "shell_to_chassis_ohm",
    "source_gives",
]

_LINE_LEVEL_V = 1.0
_SPEAKER_LEVEL_V = 4.0
_WEAK_SHARE = 0.05


def source_gives(parts: Parts, situation: Situation, pair: Pair) -> BoolArray:
    """Tell where source and converter give a signal for ``pair``, (worlds,)."""
    if situation.has("substitute:source"):
        return np.asarray((parts["converter_dead"] != 1) | ~parts.flag("converter_stays"))
    kind = parts["source_dead"]
    pairs = len(parts.pairs)
    at = np.minimum((parts["source_dead_at"] * pairs).astype(int), pairs - 1)
    silent = (kind == 1) | ((kind == 2) & (at == parts.pairs.index(pair)))
    return np.asarray(~silent & (parts["converter_dead"] != 1))


def _lead_passes(parts: Parts, pair: Pair) -> BoolArray:
    return parts[f"signal_short_ohm.{pair}"] > OPEN_OHM


def _feeding(parts: Parts, situation: Situation, pair: Pair) -> Pair:
    """Name the pair whose lead feeds ``pair``'s input: another one after a swap."""
    if situation.has(f"swap:signal.{pair}") and len(parts.pairs) > 1:
        return parts.pairs[(parts.pairs.index(pair) + 1) % len(parts.pairs)]
    return pair


def pair_has_signal(parts: Parts, situation: Situation, pair: Pair) -> BoolArray:
    """Tell where the input of ``pair`` gets a signal, (worlds,)."""
    if not situation.signal_connected(pair) or situation.level == 0:
        return np.zeros(parts.count, dtype=np.bool_)
    feeding = _feeding(parts, situation, pair)
    return source_gives(parts, situation, feeding) & _lead_passes(parts, feeding)


def distorted_signal(parts: Parts, situation: Situation, pair: Pair) -> BoolArray:
    """Tell where the signal of ``pair`` is there but spoilt, (worlds,)."""
    feeding = _feeding(parts, situation, pair)
    hums = parts.flag(f"shell_open.{feeding}") & parts.flag("shield_hums")
    if situation.has("substitute:source"):
        stays = (parts["converter_dead"] == 2) & parts.flag("converter_stays")
        return np.asarray(hums | stays)
    return np.asarray(hums | (parts["source_dead"] == 3) | (parts["converter_dead"] == 2))


def input_trips(parts: Parts, situation: Situation) -> BoolArray:
    """Tell where a shorted lead on the inputs trips the amplifier, (worlds,)."""
    shorted = np.zeros(parts.count, dtype=np.bool_)
    for pair in parts.pairs:
        if situation.signal_connected(pair):
            shorted |= ~_lead_passes(parts, _feeding(parts, situation, pair))
    return shorted & parts.flag("shorted_input_trips")


def _shell_break_ohm(parts: Parts, pair: Pair) -> FloatArray:
    """Resistance where the lead's shell is broken, ohm: none in a sound one, infinite if parted."""
    left = np.where(parts.flag(f"shell_parted.{pair}"), np.inf, parts[f"shell_open_ohm.{pair}"])
    return np.where(parts.flag(f"shell_open.{pair}"), left, 0.0)


def center_to_shell_ohm(parts: Parts, pair: Pair) -> FloatArray:
    """Resistance from center to shell of the lead unplugged at the amplifier, ohm."""
    source = np.where(
        parts.flag(f"source_out_open.{pair}"), np.inf, parts[f"source_out_ohm.{pair}"]
    )
    source = source + _shell_break_ohm(parts, pair)
    return np.where(_lead_passes(parts, pair), source, parts[f"signal_short_ohm.{pair}"])


def shell_to_chassis_ohm(parts: Parts, pair: Pair) -> FloatArray:
    """Resistance from the lead's shell, through the source's ground, to the chassis, ohm."""
    grounded = np.where(
        parts.flag(f"shell_floats.{pair}") & ~parts.flag("ground_loop"),
        parts[f"shell_float_ohm.{pair}"],
        parts[f"shell_ohm.{pair}"],
    )
    return grounded + _shell_break_ohm(parts, pair)


def lead_voltage(parts: Parts, situation: Situation, pair: Pair) -> FloatArray:
    """AC volts between center and shell of the lead unplugged at the amplifier, music loud."""
    level = _SPEAKER_LEVEL_V if parts.speaker_level else _LINE_LEVEL_V
    volts = level * parts["signal_v_ratio"]
    volts = np.where(parts["converter_dead"] == 3, _WEAK_SHARE * volts, volts)
    # What is left of a broken shell is in series with the meter, which hardly draws.
    volts = volts * INPUT_OHM / (INPUT_OHM + _shell_break_ohm(parts, pair))
    passes = source_gives(parts, situation, pair) & _lead_passes(parts, pair)
    return np.where(passes, volts, parts["off_ac_v"])
