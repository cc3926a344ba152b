"""What hangs on the amplifier's outputs: coils, wires, shorts and leaks, per position."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assistant.electrics.parts import OPEN_OHM, Parts, Situation

if TYPE_CHECKING:
    from assistant.electrics.arrays import BoolArray, FloatArray
    from assistant.knowledge.schema import Position

__all__ = [
    "coil_ohm",
    "coil_share",
    "leak_ohm",
    "line_ohm",
    "load_trips",
    "music_ohm",
    "past_short",
]

_MIDDLE_COIL_RATIO = 0.8
_SHORTED_COIL_RATIO = 0.5
_SHORT_OF_MINIMUM = 0.6


def _low_load(parts: Parts, position: Position) -> FloatArray:
    """Share that is left of the impedance where the load is wired too low, else 1, (worlds,)."""
    places = len(parts.positions)
    # The last slot stands for all positions at once.
    drawn = np.minimum((parts["low_load_at"] * (places + 1)).astype(int), places)
    here = (drawn == parts.positions.index(position)) | (drawn == places)
    low = parts.flag("low_load") & here
    return np.where(low, parts["low_load_ratio"], 1.0)


def coil_share(parts: Parts, position: Position) -> FloatArray:
    """Coil's DC resistance over its nominal impedance, (worlds,).

    Turns of a rubbing coil touch now and then: it stands at the lower end of its jumps here.
    """
    touches = parts.flag(f"coil_rubs.{position}") & parts.flag(f"rub_jumps.{position}")
    touches &= ~parts.flag(f"rub_opens.{position}")
    ratio = parts[f"coil_ratio.{position}"]
    return np.where(touches, ratio * parts[f"rub_low_ratio.{position}"], ratio)


def coil_ohm(parts: Parts, position: Position) -> FloatArray:
    """DC resistance of what hangs on the position, without its wires, ohm; open is infinite."""
    coil = (
        parts[f"nominal_ohm.{position}"] * coil_share(parts, position) * _low_load(parts, position)
    )
    return np.where(parts.flag(f"coil_open.{position}"), np.inf, coil)


def line_ohm(parts: Parts, position: Position) -> FloatArray:
    """DC resistance of wires and coil seen from the amplifier's end, ohm (Kirchhoff).

    A short between the wires sits half way along them.
    """
    half = 0.5 * parts[f"speaker_wire_ohm.{position}"]
    beyond = half + coil_ohm(parts, position)
    short = parts[f"wires_short_ohm.{position}"]
    with np.errstate(invalid="ignore"):
        joined = np.where(np.isinf(beyond), short, short * beyond / (short + beyond))
    total = half + joined
    return np.where(total > OPEN_OHM, np.inf, total)


def past_short(parts: Parts, position: Position) -> FloatArray:
    """Share of the amplifier's voltage that a short between the wires leaves the speaker, 0 to 1.

    A divider of half the wire and the short (Kirchhoff); 1 where the wires are sound.
    """
    short = parts[f"wires_short_ohm.{position}"]
    half = 0.5 * parts[f"speaker_wire_ohm.{position}"]
    return np.where(short < OPEN_OHM, short / (short + half), 1.0)


def leak_ohm(parts: Parts, position: Position, *, from_negative: bool) -> FloatArray:
    """Resistance from one wire of the position to the chassis, ohm; infinite when insulated."""
    leak = parts[f"leak_ohm.{position}"]
    other_side = parts.flag(f"leak_on_negative.{position}") != from_negative
    path = leak + np.where(other_side, line_ohm(parts, position), 0.0)
    return np.where(path > OPEN_OHM, np.inf, path)


def music_ohm(parts: Parts, position: Position) -> FloatArray:
    """Impedance that the music sees at the position, ohm: about nominal for a good coil."""
    ratio = coil_share(parts, position)
    sound = np.where(ratio < _SHORTED_COIL_RATIO, ratio / _MIDDLE_COIL_RATIO, 1.0)
    impedance = parts[f"nominal_ohm.{position}"] * sound * _low_load(parts, position)
    impedance = np.where(parts.flag(f"coil_open.{position}"), np.inf, impedance)
    wire = parts[f"speaker_wire_ohm.{position}"]
    short = parts[f"wires_short_ohm.{position}"]
    return np.minimum(impedance + wire, short + 0.5 * wire)


def load_trips(parts: Parts, situation: Situation, level: FloatArray) -> BoolArray:
    """Tell where the connected load trips the amplifier, (worlds,).

    ``level`` is the music that reaches the outputs: 0 none, 1 quiet, 2 loud, (worlds,). A short
    or a leak trips from the level that the amplifier's detector needs, a load below its limit
    only when loud.
    """
    trips = np.zeros(parts.count, dtype=np.bool_)
    enough = level >= parts["short_needs"]
    for position in parts.positions:
        if not situation.speaker_connected(position):
            continue
        # A load within the rating is no short, whatever the detector's spread.
        short = np.minimum(parts["short_trip_ohm"], _SHORT_OF_MINIMUM * parts["minimum_ohm"])
        shorted = line_ohm(parts, position) < short
        # Where neither is stated, speakers and amplifier were once chosen to go together.
        rated = np.where(
            parts.flag("low_load"),
            parts["minimum_ohm"],
            np.minimum(parts["minimum_ohm"], parts[f"nominal_ohm.{position}"]),
        )
        limit = rated * parts["low_load_margin_ratio"]
        leaking = parts[f"leak_ohm.{position}"] < parts["leak_trip_ohm"]
        trips |= (shorted | leaking) & enough
        trips |= (music_ohm(parts, position) < limit) & (level >= 2)
    return trips
