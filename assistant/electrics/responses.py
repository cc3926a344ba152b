"""What a meter or a person finds for any check, computed from the network for all worlds.

A predicted reading is a number (V, A, ohm; infinite is open line) or, for lights, sound, noise
and warmth, the index of the answer in ``SEEN_ANSWERS``. A contact that comes and goes is solved
in both of its states: where they differ the reading may be either, or will not settle.
Parts that share no current are solved apart: supply, remote lead, each speaker line, each
signal lead.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, cast

import numpy as np

from assistant.electrics.amplifier import AmplifierState, solve_amplifier
from assistant.electrics.contacts import heat_comes_and_goes, holding_contacts, loose_contacts
from assistant.electrics.load import coil_ohm, coil_share, leak_ohm, line_ohm, past_short
from assistant.electrics.parts import OPEN_OHM, Parts, Situation
from assistant.electrics.second_battery import link_of, ripple_share
from assistant.electrics.signal import (
    center_to_shell_ohm,
    distorted_signal,
    lead_voltage,
    pair_has_signal,
    shell_to_chassis_ohm,
)
from assistant.electrics.supply import Supply

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from assistant.electrics.arrays import BoolArray, FloatArray
    from assistant.knowledge.schema import Do, Pair, Position

__all__ = ["Predicted", "Responder"]

_SPEAKER = re.compile(r"speaker\.(\w+)\.(amp_positive|amp_negative|positive|negative)")
_SIGNAL = re.compile(r"signal\.(\w+)\.(center|shell)")
_JUMP_FLOOR = 0.03
_JUMP_SHARE = 0.008
_RIPPLE_AUDIBLE_V = 0.25
_SPEAKER_AC_AT_LINE = 0.001
_FAINT_SHARE = 0.15
"""Below this share of its voltage or coil a speaker is taken for silent."""


def _position(match: re.Match[str]) -> Position:
    return cast("Position", match.group(1))


@dataclass(frozen=True, slots=True, kw_only=True)
class Predicted:
    """One check's predicted reading in each world, (worlds,).

    ``other`` is the reading while a bad contact happens to hold, and ``jumps`` where that differs;
    both None where no world has such a contact. ``lasts``: where the other state is one of heat,
    which stays for minutes: the reading may be either, but does not jump.
    """

    value: FloatArray
    other: FloatArray | None = None
    jumps: BoolArray | None = None
    lasts: BoolArray | None = None


@dataclass(slots=True)
class Responder:
    """Computes readings for one set of worlds; keeps the solution of each situation."""

    parts: Parts
    _solved: dict[Situation, AmplifierState] = field(default_factory=dict)
    _supply: Supply | None = None
    _loose: NDArray[np.intp] | None = None
    _holding: Responder | None = None

    @property
    def supply(self) -> Supply:
        """The supply of the worlds; what situations have in common is solved once."""
        if self._supply is None:
            self._supply = Supply(self.parts)
        return self._supply

    def state(self, situation: Situation) -> AmplifierState:
        """Give the amplifier's state in ``situation``, solved once."""
        if situation not in self._solved:
            self._solved[situation] = solve_amplifier(self.supply, situation)
        return self._solved[situation]

    def predict(self, do: Do) -> Predicted:
        """Compute the reading of ``do`` in every world."""
        value = np.asarray(self._value(do), dtype=np.float64)
        other = self._in_other_state(do, value)
        with np.errstate(invalid="ignore"):
            jumps = np.abs(other - value) > _JUMP_FLOOR + _JUMP_SHARE * np.abs(other)
        jumps |= np.isfinite(other) != np.isfinite(value)
        if not jumps.any():
            return Predicted(value=value)
        lasts = heat_comes_and_goes(self.parts)
        return Predicted(value=value, other=other, jumps=np.asarray(jumps), lasts=lasts)

    def _in_other_state(self, do: Do, value: FloatArray) -> FloatArray:
        """Give the reading while a bad contact holds or a chopping amplifier pulls, (worlds,)."""
        if self._loose is None:
            self._loose = np.flatnonzero(loose_contacts(self.parts))
            if self._loose.size:
                self._holding = Responder(holding_contacts(self.parts, self._loose))
        other = value
        situation = Situation.of(do)
        if do.audio == "loud" and (chops := self.state(situation).chops).any():
            if do.quantity == "dc_voltage" and do.red.split(".")[0] not in {"speaker", "signal"}:
                nodes = self.state(situation).pulling.nodes
                pulled = [
                    nodes.get(end, self._node(end, self.state(situation)))
                    for end in (do.red, do.black or "")
                ]
                other = np.where(chops, pulled[0] - pulled[1], other)
            elif do.quantity == "dc_current":
                other = np.where(chops, self.state(situation).pulling.current, other)
            elif do.quantity == "ac_voltage" and (match := _SPEAKER.fullmatch(do.red)):
                plays = self._music_volts(_position(match), match.group(2), situation)
                other = np.where(chops, plays, other)
            elif do.red == "amp.protect_light":
                other = np.where(chops & (value == 0.0), 1.0, np.where(chops, 0.0, other))
        if self._holding is not None:
            other = other.copy()
            other[self._loose] = self._holding._value(do)  # noqa: SLF001 - of its own class
        return other

    def _value(self, do: Do) -> FloatArray:  # noqa: PLR0911 - one for each quantity
        situation = Situation.of(do)
        match do.quantity:
            case "dc_voltage":
                return self._dc(do, situation)
            case "ac_voltage":
                return self._ac(do, situation)
            case "resistance" | "continuity":
                return self._ohms(do, situation)
            case "dc_current":
                return self.state(situation).supply.current
            case "light":
                return self._light(do.red, situation)
            case "sound":
                position = cast("Position", do.red.removeprefix("sound."))
                return self._sound(position, situation)
            case "noise":
                return self._whine(situation).astype(np.float64)
            case "warmth":
                return self._warmth(situation)

    # -- supply and remote ------------------------------------------------------------------

    def _node(self, name: str, state: AmplifierState) -> FloatArray:
        if name == "amp.remote":
            return state.remote.at_amp
        if name == "source.remote":
            return state.remote.at_source
        return state.supply.nodes[name]

    def _dc(self, do: Do, situation: Situation) -> FloatArray:
        state = self.state(situation)
        if match := _SPEAKER.fullmatch(do.red):
            return self._output_dc(_position(match), state)
        if _SIGNAL.fullmatch(do.red):
            return np.zeros(self.parts.count)
        return self._node(do.red, state) - self._node(do.black or "", state)

    def _channel_is(self, position: Position) -> BoolArray:
        places = len(self.parts.positions)
        at = np.minimum((self.parts["internal_at"] * places).astype(int), places - 1)
        return np.asarray(at == self.parts.positions.index(position))

    def _output_dc(self, position: Position, state: AmplifierState) -> FloatArray:
        defect = (self.parts["internal_kind"] == 3) & self._channel_is(position)
        value = np.where(defect, self.parts["internal_dc_v"], self.parts["output_dc_v"])
        return np.where(state.works | (state.protects & defect), value, 0.0)

    # -- music and ripple -------------------------------------------------------------------

    def _ac(self, do: Do, situation: Situation) -> FloatArray:
        parts = self.parts
        if match := _SPEAKER.fullmatch(do.red):
            return self._output_ac(_position(match), match.group(2), situation)
        if match := _SIGNAL.fullmatch(do.red):
            return lead_voltage(parts, situation, cast("Pair", match.group(1)))
        if situation.vehicle == "running":
            if parts.second_battery and do.red == "amp.power":
                return parts["ripple_v"] * ripple_share(parts, situation)
            return parts["ripple_v"]
        return parts["off_ac_v"]

    def _channel_plays(self, position: Position, situation: Situation) -> BoolArray:
        """Tell where the amplifier's channel for the position gives music, (worlds,)."""
        pair: Pair = self.parts.pair_of[position]
        silent = (self.parts["internal_kind"] == 4) & self._channel_is(position)
        fed = pair_has_signal(self.parts, situation, pair)
        return np.asarray(self.state(situation).works & fed & ~silent)

    def _music_volts(self, position: Position, end: str, situation: Situation) -> FloatArray:
        """AC volts at the position while its channel plays, (worlds,)."""
        parts = self.parts
        shares = (np.zeros(parts.count), parts["quiet_ratio"], parts["loud_ratio"])
        share = shares[situation.level]
        watts = parts["rated_w"] * share / len(parts.positions)
        volts = np.sqrt(watts * parts[f"nominal_ohm.{position}"]) * parts["output_ac_ratio"]
        volts = np.where(parts["converter_dead"] == 3, 0.1 * volts, volts)
        if end in {"positive", "negative"}:
            coil = coil_ohm(parts, position)
            wire = parts[f"speaker_wire_ohm.{position}"]
            with np.errstate(invalid="ignore"):
                volts = np.where(np.isinf(coil), volts, volts * coil / (coil + wire))
            past = past_short(parts, position)
            volts = np.where(past < 1.0, np.maximum(past * volts, _SPEAKER_AC_AT_LINE), volts)
        return np.asarray(volts)

    def _output_ac(self, position: Position, end: str, situation: Situation) -> FloatArray:
        plays = self._channel_plays(position, situation)
        volts = self._music_volts(position, end, situation)
        return np.where(plays, volts, self.parts["off_ac_v"])

    # -- ohms on dead circuits --------------------------------------------------------------

    def _ohms(self, do: Do, situation: Situation) -> FloatArray:
        parts = self.parts
        ends = {do.red, do.black or ""}
        speakers = [_SPEAKER.fullmatch(end) for end in (do.red, do.black or "")]
        signals = [_SIGNAL.fullmatch(end) for end in (do.red, do.black or "")]
        if any(speakers):
            value = self._speaker_ohms(speakers, ends)
        elif any(signals):
            first = next(match for match in signals if match)
            pair = cast("Pair", first.group(1))
            across = all(signals)
            value = (
                center_to_shell_ohm(parts, pair) if across else shell_to_chassis_ohm(parts, pair)
            )
        else:
            value = self._supply_ohms(ends, situation)
        return np.where(value > OPEN_OHM, np.inf, value + parts["meter_lead_ohm"])

    def _speaker_ohms(self, matches: list[re.Match[str] | None], ends: set[str]) -> FloatArray:
        parts = self.parts
        first = next(match for match in matches if match)
        position = _position(first)
        if "chassis" in ends:
            return leak_ohm(parts, position, from_negative="negative" in first.group(2))
        if first.group(2).startswith("amp_"):
            return line_ohm(parts, position)
        lifted_far = parts.flag(f"lifted_at_amp.{position}")
        short = parts[f"wires_short_ohm.{position}"]
        coil = coil_ohm(parts, position)
        return np.where(lifted_far & (short < OPEN_OHM), np.minimum(short, coil), coil)

    def _supply_ohms(self, ends: set[str], situation: Situation) -> FloatArray:
        parts = self.parts
        path = self.supply.path(situation)
        if ends == {"source.remote", "amp.remote"}:
            return np.where(parts.flag("remote_open"), np.inf, parts["remote_lead_ohm"])
        if ends == {"amp.power", "amp.ground"}:
            is_open = parts.flag("amp_fuse_open") | parts.flag("input_reads_open")
            return np.where(is_open, np.inf, parts["input_ohm"])
        there = ["battery.positive", "main_fuse.battery_side", "main_fuse.amp_side", "amp.power"]
        back = ["amp.ground", "chassis", "battery.negative"]
        onward = [path.post, path.fuse, path.wire]
        if parts.second_battery:
            link = link_of(parts, situation)
            there[3:3] = ["charge_relay.amp_side", "second_fuse.wire_side",
                          "second_battery.positive"]  # fmt: skip
            onward = [*link.chain, link.lead]
        for chain, steps in ((there, onward), (back, [path.ground, path.strap])):
            if ends <= set(chain):
                low, high = sorted(chain.index(end) for end in ends)
                return np.asarray(np.sum(steps[low:high], axis=0))
        return np.full(parts.count, np.inf)

    # -- seen, heard, felt ------------------------------------------------------------------

    def _light(self, place: str, situation: Situation) -> FloatArray:
        parts, state = self.parts, self.state(situation)
        if place == "amp.power_light":
            lit = state.works | (state.protects & parts.flag("power_light_stays"))
            return np.where(lit, 1.0, 0.0)
        shows = state.protects & ~parts.flag("protect_light_none")
        kind = np.where(parts.flag("protect_blinks"), 2.0, 1.0)
        return np.where(shows, kind, 0.0)

    def _sound(self, position: Position, situation: Situation) -> FloatArray:
        parts = self.parts
        pair: Pair = parts.pair_of[position]
        plays = self._channel_plays(position, situation) & np.isfinite(line_ohm(parts, position))
        dead_short = (past_short(parts, position) < _FAINT_SHARE) | (
            coil_share(parts, position) < _FAINT_SHARE
        )
        spoilt = (
            distorted_signal(parts, situation, pair)
            | parts.flag(f"coil_rubs.{position}")
            | (parts.flag("gain_high") & (situation.level == 2))
        )
        # An amplifier that trips and comes back in time with the music sounds broken up.
        chops = self.state(situation).chops & situation.speaker_connected(position)
        plays = plays & ~dead_short & situation.speaker_connected(position)
        spoilt, plays = spoilt | chops, plays | chops
        # Answers in SEEN_ANSWERS["sound"]: yes, no, distorted.
        return np.where(plays, np.where(spoilt, 2.0, 0.0), 1.0)

    def _whine(self, situation: Situation) -> BoolArray:
        """Index of the answer, as a mask of "no": SEEN_ANSWERS["noise"] is yes, no."""
        parts = self.parts
        signal_in = any(situation.signal_connected(pair) for pair in parts.pairs)
        heard = parts.flag("stray_whine")
        shields = np.zeros(parts.count, dtype=np.bool_)
        for pair in parts.pairs:
            if situation.signal_connected(pair):
                shields |= parts.flag(f"shell_open.{pair}")
        heard |= shields & parts.flag("shield_hums")
        if situation.vehicle == "running":
            if signal_in and not situation.has("substitute:source"):
                heard |= parts.flag("ground_loop")
            heard |= shields & parts.flag("shield_whines")
            ripples = (parts["ripple_v"] > _RIPPLE_AUDIBLE_V) & parts.flag("ripple_whines")
            heard |= ripples & (parts.flag("ripple_enters_supply") | signal_in)
        return np.asarray(~(heard & self.state(situation).works))

    def _warmth(self, situation: Situation) -> FloatArray:
        parts, state = self.parts, self.state(situation)
        ran = ~state.dark
        warm = parts.flag("case_warm") & ran
        hot = parts.flag("case_hot") & ran
        if situation.has("cool_down"):
            hot = np.zeros_like(hot)
        return np.where(hot, 2.0, np.where(warm, 1.0, 0.0))
