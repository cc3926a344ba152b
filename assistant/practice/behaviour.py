"""What the amplifier does in one situation: off, on, protecting or shut down, and why.

Each trip is decided from the solved network, never from the fault's name.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from assistant.practice.circuit import (
    AmpState,
    Situation,
    build,
    input_level,
    output_nodes,
    signal_route,
)
from assistant.practice.parts import OPEN, Parts, changed
from assistant.practice.solver import NodalSolver, Solver
from assistant.practice.words import PAIR_OF

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["Conduct", "conduct", "end_celsius", "heard", "network_ohms", "variants", "whine"]

_SUPPLY: Final = frozenset({"supply"})
_SPEAKERS: Final = frozenset({"speakers"})
_SIGNALS: Final = frozenset({"signals"})
_NEEDED_SHARE = 0.05
"""Below this share of its proper level a channel counts as silent."""
_WHINE_VOLTS = 0.05
_RIPPLE_VOLTS = 0.4
_IMPEDANCE_OVER_DC = 1.25
"""A voice coil's least impedance over its DC resistance: common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Conduct:
    """The amplifier's state with its two lights; ``flutters`` when it keeps coming and going."""

    state: AmpState
    power_light: str
    protect_light: str
    flutters: bool = False


def variants(parts: Parts) -> Iterator[Parts]:
    """Give the car as it stands and, where a contact or coil jumps, with each jump's other end."""
    yield parts
    supply = parts.supply
    if supply.fuse_jumps_to is not None:
        yield changed(parts, {"supply.fuse_contact": supply.fuse_jumps_to})
    if supply.ground_jumps_to is not None:
        yield changed(parts, {"supply.ground_contact": supply.ground_jumps_to})
    if parts.second is not None and parts.second.fuse_jumps_to is not None:
        yield changed(parts, {"second.fuse_contact": parts.second.fuse_jumps_to})
    if parts.second is not None and parts.second.ground_jumps_to is not None:
        yield changed(parts, {"second.ground_contact": parts.second.ground_jumps_to})
    for place, line in parts.speakers.items():
        if line.coil_jumps_to is not None:
            for coil in line.coil_jumps_to:
                yield changed(parts, {f"speakers.{place}.coil": coil})
        if line.leak_jumps:
            yield changed(parts, {f"speakers.{place}.leak": OPEN})


def network_ohms(solver: Solver, parts: Parts, situation: Situation, one: str, other: str) -> float:
    """Give the resistance that an output works into between two nodes.

    The output stage is taken away, but for the tie of a common negative to the amplifier's ground.
    """
    network = build(parts, situation, AmpState(), sections=_SPEAKERS)
    tied = parts.amp.common_negative
    keep = [r for r in network.resistors if not _is_stage(r, tied=tied)]
    network.resistors[:] = keep
    network.sources.clear()
    network.chargers.clear()
    network.currents.clear()
    network.current(other, one, 1.0)
    volts = solver.solve(network)
    return volts[one] - volts[other]


def _is_stage(resistor: tuple[str, str, float], *, tied: bool) -> bool:
    one, other, _ = resistor
    stage = one.startswith("out.") and other == "amp.ground"
    return stage and not (tied and one.endswith(".negative"))


def conduct(
    parts: Parts,
    situation: Situation,
    *,
    solver: Solver | None = None,
    celsius: float | None = None,
    latched: bool = False,
) -> Conduct:
    """Decide what the amplifier does; ``celsius`` is its case now, ``latched`` an earlier trip."""
    solver = solver or NodalSolver()
    amp = parts.amp
    idle = AmpState(mode="off")
    volts = solver.solve(build(parts, situation, idle, sections=_SUPPLY))
    rail = volts["amp.rail"] - volts["amp.ground"] if "amp.rail" in volts else 0.0
    remote = volts["amp.remote"] - volts["amp.ground"]
    powered = not amp.fuse_open and rail > 5.0
    if not powered or remote < amp.remote_threshold or amp.defect == "dead":
        return _shown(amp_off=True, parts=parts, state=idle)
    reason = "latched" if latched else _trip(parts, situation, solver, celsius)
    if reason in {"", "under"}:
        state = _playing(parts, situation, solver)
        under = reason == "under" or _too_low(parts, situation, state, solver)
        if not under and _too_high(parts, situation, state, solver):
            reason = "over"
        elif under:
            return _undervoltage(parts, state)
        else:
            return _shown(amp_off=False, parts=parts, state=state)
    return _shown(amp_off=False, parts=parts, state=AmpState(mode="protect", reason=reason))


def _trip(parts: Parts, situation: Situation, solver: Solver, celsius: float | None) -> str:
    """Name the protection that acts before or while playing, supply apart; "" for none."""
    amp = parts.amp
    if amp.defect == "protects":
        return "defect"
    if amp.defect == "dc_offset" and abs(amp.offset) > 2.0:
        return "offset"
    if celsius is not None and celsius > amp.trip_celsius:
        return "heat"
    if amp.trips_on_shorted_signal:
        for pair in (pair for pair in parts.signals if not situation.unplugged(pair)):
            if parts.signals[signal_route(parts, situation, pair)].short < 10.0:
                return "signal"
    outputs = sorted({line.output for line in parts.speakers.values()})
    trips = (_output_trip(parts, situation, output, solver) for output in outputs)
    return next((trip for trip in trips if trip), "")


def _plugged(parts: Parts, situation: Situation) -> list[str]:
    """Give the pairs whose inputs hear the car's own source."""
    if "substitute:source" in situation.setup:
        return []
    return [pair for pair in parts.signals if not situation.unplugged(pair)]


def _output_trip(parts: Parts, situation: Situation, output: str, solver: Solver) -> str:
    amp = parts.amp
    # A common negative is the amplifier's own ground: there a leak only adds to the load.
    if not amp.common_negative and _to_body(parts, situation, output, solver) < amp.leak:
        return "leak"
    load = network_ohms(solver, parts, situation, *output_nodes(output))
    if load < amp.short:
        return "short"
    if situation.audio != "loud" or _muted(parts, situation, output, solver):
        return ""
    rubs = any(line.rubs for line in parts.speakers.values() if line.output == output)
    least = max(amp.low_load_ratio, 0.8 if rubs else 0.0) * amp.minimum_ohms
    return "load" if load * _IMPEDANCE_OVER_DC < least else ""


def _to_body(parts: Parts, situation: Situation, output: str, solver: Solver) -> float:
    return min(
        network_ohms(solver, parts, situation, leg, "amp.ground") for leg in output_nodes(output)
    )


def _muted(parts: Parts, situation: Situation, output: str, solver: Solver) -> bool:
    place = next(p for p, line in parts.speakers.items() if line.output == output)
    return _signal_share(parts, situation, PAIR_OF[place], solver) < _NEEDED_SHARE


def _signal_share(parts: Parts, situation: Situation, pair: str, solver: Solver) -> float:
    """Give the AC level at the inputs of ``pair`` over the source's proper level."""
    if situation.audio == "off":
        return 0.0
    if situation.unplugged(pair):
        return 0.0
    network = build(parts, situation, AmpState(), kind="audio", sections=_SIGNALS)
    volts = solver.solve(network)
    seen = volts[f"input.{pair}.center"] - volts[f"input.{pair}.shell"]
    whole = replace(parts.source, share=1.0, converter_share=1.0)
    level = input_level(replace(parts, source=whole), situation, 1.0)
    return abs(seen) / level if level > 0 else 0.0


def _playing(parts: Parts, situation: Situation, solver: Solver) -> AmpState:
    """Give the amplifier's output and input power when nothing trips it."""
    amp = parts.amp
    outputs: dict[str, list[str]] = {}
    for place, line in parts.speakers.items():
        outputs.setdefault(line.output, []).append(place)
    share = {"off": 0.0, "quiet": amp.quiet_share, "loud": amp.loud_share}[situation.audio]
    if amp.gain_high and situation.audio == "loud":
        share = min(0.75, share * 2.5)
    volts: dict[str, float] = {}
    watts = 0.0
    for output, places in outputs.items():
        stated = 1 / sum(1 / parts.speakers[place].stated_ohms for place in places)
        level = _signal_share(parts, situation, PAIR_OF[places[0]], solver)
        if amp.defect == "channel_dead" and amp.defect_place in places:
            level = 0.0
        swing = math.sqrt(share * amp.rated / len(outputs) * stated) * min(level, 1.1)
        volts[output] = swing
        if swing > 0:
            load = network_ohms(solver, parts, situation, *output_nodes(output))
            watts += swing**2 / max(load * _IMPEDANCE_OVER_DC, 0.3) / amp.efficiency
    return AmpState(mode="on", watts=watts, volts=volts)


def _rail(parts: Parts, situation: Situation, state: AmpState, solver: Solver) -> float:
    volts = solver.solve(build(parts, situation, state, sections=_SUPPLY))
    return volts["amp.power"] - volts["amp.ground"]


def _too_low(parts: Parts, situation: Situation, state: AmpState, solver: Solver) -> bool:
    amp = parts.amp
    most = max(state.watts, amp.rated / amp.efficiency)
    burst = replace(state, watts=min(state.watts * amp.burst, most))
    return _rail(parts, situation, burst, solver) < parts.amp.under


def _too_high(parts: Parts, situation: Situation, state: AmpState, solver: Solver) -> bool:
    return _rail(parts, situation, state, solver) > parts.amp.over


def _undervoltage(parts: Parts, playing: AmpState) -> Conduct:
    """Show an undervoltage as this amplifier does: protecting, going off, or to and fro."""
    amp = parts.amp
    style = amp.under_style
    down = AmpState(mode="protect", reason="under")
    if style == "flutters":
        return Conduct(
            state=replace(playing, reason="under"),
            power_light="blinking" if not amp.lit_while_protecting else "lit",
            protect_light="blinking" if amp.protect_blinks else "off",
            flutters=True,
        )
    shown = _shown(amp_off=False, parts=parts, state=down)
    if style == "goes_off":
        return replace(shown, power_light="off", protect_light="off")
    return shown


def _shown(*, amp_off: bool, parts: Parts, state: AmpState) -> Conduct:
    amp = parts.amp
    if amp_off:
        return Conduct(state=state, power_light="off", protect_light="off")
    if state.mode == "on":
        return Conduct(state=state, power_light="lit", protect_light="off")
    return Conduct(
        state=state,
        power_light="lit" if amp.lit_while_protecting else "off",
        protect_light="blinking" if amp.protect_blinks else "lit",
    )


def heard(parts: Parts, situation: Situation, now: Conduct, place: str, solver: Solver) -> str:
    """Say what the speaker at ``place`` gives: yes, no or distorted."""
    line = parts.speakers.get(place)
    if line is None or now.state.mode != "on" or situation.audio == "off":
        return "no"
    network = build(
        parts, situation, now.state, kind="audio", sections=frozenset({"supply", "speakers"})
    )
    volts = solver.solve(network)
    across = abs(volts[f"coil.{place}.positive"] - volts[f"coil.{place}.negative"])
    share = {"quiet": parts.amp.quiet_share, "loud": parts.amp.loud_share}[situation.audio]
    outputs = {each.output for each in parts.speakers.values()}
    proper = math.sqrt(share * parts.amp.rated / len(outputs) * line.stated_ohms)
    if across < 0.12 * proper or line.coil > 1e6:
        return "no"
    if now.flutters:
        return parts.amp.flutter_sounds_like
    loud = situation.audio == "loud"
    clipped = loud and parts.amp.gain_high
    source_bad = parts.source.distorts and "substitute:source" not in situation.setup
    return "distorted" if line.rubs or clipped or source_bad else "yes"


def whine(parts: Parts, situation: Situation, now: Conduct, solver: Solver) -> bool:
    """Say whether the alternator can be heard through the speakers."""
    if now.state.mode != "on" or situation.vehicle != "running":
        return False
    if set(parts.speakers) <= {p for p in parts.speakers if situation.lifted(p, "amp")}:
        return False
    ripple = parts.charging.ripple > _RIPPLE_VOLTS
    plugged = _plugged(parts, situation)
    if not plugged:
        return ripple and parts.amp.ripple_gets_through
    leads = [parts.signals[signal_route(parts, situation, pair)] for pair in plugged]
    if ripple or any(lead.shield > 100.0 for lead in leads):
        return True
    volts = solver.solve(build(parts, situation, now.state, sections=_SUPPLY))
    shift = abs(volts["source.ground"] - volts["chassis"])
    ground = abs(volts["amp.ground"] - volts["chassis"])
    floats = parts.source.shell_to_ground > 100.0  # no loop to close
    return (shift > _WHINE_VOLTS and not floats) or (parts.amp.ground_shift_whines and ground > 0.3)


def end_celsius(parts: Parts, situation: Situation, now: Conduct) -> float:
    """Give the case temperature that this state would end at, in °C."""
    amp = parts.amp
    if now.state.mode != "on":
        return parts.ambient
    share = {"off": 0.15, "quiet": 0.3, "loud": 1.0}[situation.audio]
    if amp.gain_high and situation.audio == "loud":
        share *= 2.2
    return parts.ambient + amp.warms_by * share
