"""From the hidden numbers of a car and what was set up, to one network to solve."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from assistant.practice.parts import OPEN, Battery, Parts, SecondBattery
from assistant.practice.solver import Charger, Network, PowerLoad

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = [
    "AmpState",
    "Situation",
    "build",
    "input_level",
    "output_nodes",
    "signal_route",
]

Mode = Literal["off", "on", "protect"]
Current = Literal["dc", "audio", "ripple"]

JOINT = 2e-3
"""Ohms of a plug, a set screw or a crimp that is sound."""
_JUMPER = 0.15
_SENSE = 2e4
_NO_LIMIT = 1e6
_KNEE_V = 6.0
_NOMINAL_V = 13.0
_RAIL = "amp.rail"
_SOURCE_GROUND = "source.ground"
_AFLOAT = 1e7


@dataclass(frozen=True, slots=True, kw_only=True)
class Situation:
    """What the vehicle and the audio do, and what was taken apart first.

    ``ends``: for each speaker that is lifted, at which ends ("amp", "speaker").
    """

    vehicle: str = "accessory"
    audio: str = "quiet"
    setup: frozenset[str] = frozenset()
    ends: Mapping[str, frozenset[str]] = field(default_factory=dict)

    def lifted(self, place: str, end: str) -> bool:
        """Say whether the wires of the speaker at ``place`` are off at ``end``."""
        return end in self.ends.get(place, frozenset())

    def unplugged(self, pair: str) -> bool:
        """Say whether the signal plugs of ``pair`` are out of the amplifier."""
        return bool({"disconnect:signal", f"disconnect:signal.{pair}"} & self.setup)


@dataclass(frozen=True, slots=True, kw_only=True)
class AmpState:
    """What the amplifier does; ``watts`` into it beyond idling, ``volts`` AC at each output."""

    mode: Mode = "off"
    reason: str = ""
    watts: float = 0.0
    volts: Mapping[str, float] = field(default_factory=dict)


def output_nodes(output: str) -> tuple[str, str]:
    """Name the amplifier's own terminals of one output."""
    return f"out.{output}.positive", f"out.{output}.negative"


def build(
    parts: Parts,
    situation: Situation,
    state: AmpState,
    *,
    kind: Current = "dc",
    sections: frozenset[str] = frozenset({"supply", "speakers", "signals"}),
) -> Network:
    """Draw the network of one situation; ``sections`` leaves out what is not asked for."""
    network = Network("chassis")
    _battery(network, parts, situation, kind)
    if "supply" in sections:
        _supply(network, parts, situation, kind)
        _remote(network, parts, situation, kind)
        _amplifier(network, parts, state, kind)
    else:
        network.resistor(
            "amp.ground", "chassis", parts.supply.ground_wire + parts.supply.ground_contact
        )
    if "speakers" in sections:
        for output in sorted({line.output for line in parts.speakers.values()}):
            _output(network, parts, state, kind, output)
        for place in parts.speakers:
            _speaker(network, parts, situation, place)
    if "signals" in sections:
        for pair in parts.signals:
            _signal(network, parts, situation, pair, kind)
    return network


def _battery(network: Network, parts: Parts, situation: Situation, kind: Current) -> None:
    battery, house, charging = parts.battery, parts.house, parts.charging
    dc = kind == "dc"
    _cells(network, "battery", battery, kind)
    network.resistor("battery.negative", "chassis", house.body)
    network.resistor("battery.negative", "engine_block", house.engine_strap)
    network.resistor("engine_block", "chassis", house.engine_to_body)
    network.resistor("charging.output", "battery.positive", charging.cable)
    if situation.vehicle == "running":
        if dc and charging.works:
            network.chargers.append(
                Charger(
                    "charging.output",
                    "engine_block",
                    charging.setpoint,
                    charging.ohms,
                    charging.limit,
                )
            )
        elif kind == "ripple":
            network.source("charging.output", "engine_block", 1.0, charging.ohms)
    if situation.vehicle == "cranking":
        network.resistor("battery.positive", "engine_block", 10.0 / house.starter)
    draw = {
        "off": house.asleep,
        "accessory": house.accessory,
        "cranking": house.accessory / 2,
        "running": house.running,
    }[situation.vehicle]
    network.resistor("battery.positive", "chassis", _NOMINAL_V / draw)
    network.resistor(_SOURCE_GROUND, "chassis", parts.source.ground)
    if dc and situation.vehicle != "off":
        network.current("battery.positive", _SOURCE_GROUND, parts.source.amps)


def _cells(network: Network, name: str, battery: Battery | SecondBattery, kind: Current) -> None:
    """Put a battery between its posts."""
    post = f"{name}.positive", f"{name}.negative"
    if kind != "dc":
        network.source(*post, 0.0, battery.inner)
        return
    # A battery takes charge far less readily than it gives: a one-way part does the giving.
    accept = max(battery.accept, 2 * battery.inner)
    network.source(*post, battery.ocv, accept)
    giving = 1 / (1 / battery.inner - 1 / accept)
    network.chargers.append(Charger(*post, battery.ocv, giving, _NO_LIMIT))


def _second_battery(
    network: Network, parts: Parts, second: SecondBattery, situation: Situation, kind: Current
) -> None:
    """Draw the way from the main fuse over relay, wire and second fuse to the second battery."""
    supply = parts.supply
    network.resistor("main_fuse.amp_side", "charge_relay.battery_side", JOINT / 10)
    pulled_in = second.relay_works and (
        situation.vehicle == "running" or (second.relay_with_key and situation.vehicle != "off")
    )
    if not second.relay:
        network.resistor("charge_relay.battery_side", "charge_relay.amp_side", JOINT / 20)
    elif pulled_in or second.relay_stuck:
        network.resistor("charge_relay.battery_side", "charge_relay.amp_side", second.relay_ohms)
    if second.relay:
        # What senses the voltage on either stud takes a little.
        for stud in ("charge_relay.battery_side", "charge_relay.amp_side"):
            network.resistor(stud, "chassis", _SENSE)
    wire = supply.wire + supply.wire_contact
    network.resistor("charge_relay.amp_side", "second_fuse.wire_side", wire)
    fuse = 5e7 if second.fuse_open else second.fuse + second.fuse_contact
    network.resistor("second_fuse.wire_side", "second_fuse.battery_side", fuse)
    network.resistor("second_fuse.battery_side", "second_battery.positive", second.stub)
    network.resistor("second_battery.positive", "lead.power", second.lead)
    _cells(network, "second_battery", second, kind)
    if "disconnect:second_battery" not in situation.setup:
        network.resistor(
            "second_battery.negative", "chassis", second.ground + second.ground_contact
        )


def _supply(network: Network, parts: Parts, situation: Situation, kind: Current) -> None:
    supply = parts.supply
    network.resistor("battery.positive", "main_fuse.battery_side", supply.stub)
    # The fuse itself stands between nodes of its own, so that it can be measured when pulled.
    fuse = 5e7 if supply.fuse_open else supply.fuse
    network.resistor("fuse.one", "fuse.other", fuse)
    if "remove:main_fuse" not in situation.setup:
        network.resistor("main_fuse.battery_side", "fuse.one", supply.fuse_contact)
        network.resistor("fuse.other", "main_fuse.amp_side", JOINT / 10)
    if parts.second is not None:
        _second_battery(network, parts, parts.second, situation, kind)
        at_amp = JOINT / 10
    else:
        network.resistor("main_fuse.amp_side", "lead.power", supply.wire)
        at_amp = supply.wire_contact
    if "disconnect:amp_power" not in situation.setup:
        network.resistor("lead.power", "amp.power", at_amp)
    network.resistor("amp.ground", "chassis", supply.ground_wire + supply.ground_contact)


def _remote(network: Network, parts: Parts, situation: Situation, kind: Current) -> None:
    remote = parts.remote
    volts, regulated = remote.volts, remote.regulated
    if situation.vehicle == "running" and remote.running_volts is not None:
        volts, regulated = remote.running_volts, True
    if situation.vehicle == "cranking" and remote.cranking_volts is not None:
        volts, regulated = remote.cranking_volts, True
    network.resistor("source.remote", _SOURCE_GROUND, 5e4)
    if situation.vehicle != "off" and not remote.dead:
        dc = kind == "dc"
        if regulated:
            network.source("source.remote", _SOURCE_GROUND, volts if dc else 0.0, remote.out)
        else:
            network.source("source.remote", "battery.positive", -volts if dc else 0.0, remote.out)
    network.resistor("source.remote", "lead.remote", remote.wire)
    if not {"disconnect:remote", "jumper:remote"} & situation.setup:
        network.resistor("lead.remote", "amp.remote", JOINT)
    if "jumper:remote" in situation.setup:
        network.resistor("amp.power", "amp.remote", _JUMPER)
    network.resistor("amp.remote", "amp.ground", parts.amp.remote_input)


def _amplifier(network: Network, parts: Parts, state: AmpState, kind: Current) -> None:
    amp = parts.amp
    network.resistor("amp.power", _RAIL, OPEN if amp.fuse_open else amp.fuse)
    network.resistor(_RAIL, "amp.ground", amp.off_ohms)
    if kind != "dc" or amp.fuse_open:
        return
    watts = {
        "off": 0.0,
        "protect": amp.shut_down_amps * _NOMINAL_V,
        "on": amp.idle * _NOMINAL_V + state.watts,
    }[state.mode]
    if watts > 0:
        network.loads.append(PowerLoad(_RAIL, "amp.ground", watts, _KNEE_V))


def _output(network: Network, parts: Parts, state: AmpState, kind: Current, output: str) -> None:
    amp = parts.amp
    plus, minus = output_nodes(output)
    if state.mode == "on":
        offset = amp.offset if kind == "dc" and _has_offset(parts, output) else 0.0
        swing = state.volts.get(output, 0.0) if kind == "audio" else 0.0
        if amp.common_negative:
            network.source(plus, "amp.ground", offset + swing, amp.output_on)
            network.resistor(minus, "amp.ground", 0.02)
        else:
            network.source(plus, "amp.ground", (offset + swing) / 2, amp.output_on / 2)
            network.source(minus, "amp.ground", -(offset + swing) / 2, amp.output_on / 2)
        return
    network.resistor(plus, "amp.ground", amp.output_off)
    network.resistor(minus, "amp.ground", 0.02 if amp.common_negative else amp.output_off)


def _has_offset(parts: Parts, output: str) -> bool:
    place = parts.amp.defect_place
    return place is not None and parts.speakers[place].output == output


def _speaker(network: Network, parts: Parts, situation: Situation, place: str) -> None:
    line = parts.speakers[place]
    plus, minus = output_nodes(line.output)
    at_amp = {
        "positive": f"speaker.{place}.amp_positive",
        "negative": f"speaker.{place}.amp_negative",
    }
    at_speaker = {"positive": f"speaker.{place}.positive", "negative": f"speaker.{place}.negative"}
    if not situation.lifted(place, "amp"):
        network.resistor(plus, at_amp["positive"], JOINT)
        network.resistor(minus, at_amp["negative"], JOINT)
    middle = {leg: f"line.{place}.{leg}" for leg in at_amp}
    for leg, ohms in (("positive", line.plus_wire), ("negative", line.minus_wire)):
        network.resistor(at_amp[leg], middle[leg], ohms * line.leak_at)
        network.resistor(middle[leg], at_speaker[leg], ohms * (1 - line.leak_at))
    network.resistor(middle["positive"], middle["negative"], line.short)
    network.resistor(middle[line.leak_leg], "chassis", line.leak)
    coil = f"coil.{place}.positive", f"coil.{place}.negative"
    network.resistor(*coil, line.coil)
    if not situation.lifted(place, "speaker"):
        network.resistor(at_speaker["positive"], coil[0], JOINT)
        network.resistor(at_speaker["negative"], coil[1], JOINT)


def signal_route(parts: Parts, situation: Situation, pair: str) -> str:
    """Name the pair whose lead is plugged into the inputs of ``pair``."""
    pairs = list(parts.signals)
    for step in situation.setup:
        swapped = step.removeprefix("swap:signal.")
        if swapped in pairs and len(pairs) > 1:
            other = pairs[(pairs.index(swapped) + 1) % len(pairs)]
            if pair == swapped:
                return other
            if pair == other:
                return swapped
    return pair


def _signal(network: Network, parts: Parts, situation: Situation, pair: str, kind: Current) -> None:
    """Draw the lead that ends at the inputs of ``pair``; its plug carries the contract's nodes."""
    source, amp = parts.source, parts.amp
    lead = parts.signals[signal_route(parts, situation, pair)]
    hot, back = f"source.{pair}.center", f"source.{pair}.shell"
    # A music player in the radio's place hangs on no ground; converter and leads stay as they are.
    player = "substitute:source" in situation.setup
    network.resistor(back, _SOURCE_GROUND, _AFLOAT if player else source.shell_to_ground)
    if kind == "audio":
        network.source(hot, back, input_level(parts, situation, lead.share), source.out)
    else:
        network.resistor(hot, back, lead.source_dc)
    center, shell = f"signal.{pair}.center", f"signal.{pair}.shell"
    network.resistor(hot, center, lead.center)
    network.resistor(back, shell, lead.shield)
    network.resistor(center, shell, lead.short)
    inside = f"input.{pair}.center", f"input.{pair}.shell"
    network.resistor(*inside, amp.input_ohms)
    network.resistor(inside[1], "amp.ground", amp.input_ground)
    if not situation.unplugged(pair):
        network.resistor(center, inside[0], JOINT)
        network.resistor(shell, inside[1], JOINT)


def input_level(parts: Parts, situation: Situation, lead_share: float) -> float:
    """Give the source's open-circuit AC volts for one pair."""
    source = parts.source
    if situation.vehicle == "off" or situation.audio == "off":
        return 0.0
    level = source.loud if situation.audio == "loud" else source.quiet
    if "substitute:source" in situation.setup:
        return level * source.converter_share
    return level * source.share * source.converter_share * lead_share
