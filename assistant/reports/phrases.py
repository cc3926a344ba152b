"""Plain words for readings, expectations, states, nodes and amounts as the report writes them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from assistant.readings.reading import Beep, OpenLine, Quantity, Reading, Seen, Unstable, Value

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assistant.diagnosis.records import Expectation
    from assistant.knowledge.schema import (
        Audio,
        Complaint,
        Do,
        Fuse,
        Pair,
        Position,
        SecondBattery,
        Symptom,
        VehicleState,
        Wire,
    )

__all__ = [
    "PAIR_WORDS",
    "POSITION_WORDS",
    "QUANTITY_WORDS",
    "complaint_words",
    "expected_words",
    "fuse_words",
    "minutes_words",
    "node_words",
    "number",
    "percent",
    "probe_words",
    "reading_words",
    "second_battery_words",
    "setup_words",
    "state_words",
    "surprising",
    "wire_words",
]

POSITION_WORDS: Final[Mapping[Position, str]] = {
    "front_left": "front left",
    "front_right": "front right",
    "rear_left": "rear left",
    "rear_right": "rear right",
    "center": "center",
    "sub": "subwoofer",
    "sub_2": "subwoofer 2",
}
PAIR_WORDS: Final[Mapping[Pair, str]] = {"front": "front", "rear": "rear", "sub": "subwoofer"}
_PLACES: Final[Mapping[str, str]] = {
    **{str(position): words for position, words in POSITION_WORDS.items()},
    **{str(pair): words for pair, words in PAIR_WORDS.items()},
}
QUANTITY_WORDS: Final[Mapping[Quantity, str]] = {
    "dc_voltage": "DC volts",
    "ac_voltage": "AC volts",
    "resistance": "ohms",
    "continuity": "continuity",
    "dc_current": "DC amperes",
    "light": "light",
    "sound": "sound",
    "noise": "noise",
    "warmth": "warmth",
}
_SYMPTOMS: Final[Mapping[Symptom, str]] = {
    "protects": "The amplifier shuts itself down into protection",
    "will_not_turn_on": "The amplifier will not turn on",
    "no_sound": "There is no sound at all",
    "silent_channel": "A channel stays silent",
    "noise": "There is noise in the sound",
    "cuts_out": "The sound cuts out",
    "too_hot": "The amplifier gets too hot",
}
_WHEN: Final[Mapping[str, str]] = {
    "always": "always",
    "accessory": "with the key on accessory",
    "running": "with the engine running",
    "seconds_after_start": "a few seconds after start",
    "loud": "when loud",
    "warm": "when warm",
    "bumps": "over bumps",
    "cranking": "while cranking",
}
_VEHICLE: Final[Mapping[VehicleState, str]] = {
    "off": "engine off",
    "accessory": "accessory on",
    "cranking": "cranking",
    "running": "engine running",
}
_AUDIO: Final[Mapping[Audio, str]] = {"off": "", "quiet": "sound quiet", "loud": "sound loud"}
_UNITS: Final = {"ohm": "Ω", "kohm": "kΩ", "Mohm": "MΩ"}
_NODES: Final[Mapping[str, str]] = {
    "battery.positive": "battery positive post",
    "battery.negative": "battery negative post",
    "charging.output": "charging output",
    "main_fuse.battery_side": "main fuse, battery side",
    "main_fuse.amp_side": "main fuse, amplifier side",
    "amp.power": "amplifier power terminal",
    "amp.ground": "amplifier ground terminal",
    "amp.remote": "amplifier remote terminal",
    "source.remote": "remote lead at the source",
    "chassis": "bare chassis metal",
    "engine_block": "engine block",
    "second_battery.positive": "second battery, positive post",
    "second_battery.negative": "second battery, negative post",
    "second_fuse.wire_side": "second fuse, side of the long wire",
    "second_fuse.battery_side": "second fuse, battery side",
    "charge_relay.battery_side": "charge relay, first battery's side",
    "charge_relay.amp_side": "charge relay, second battery's side",
    "amp.power_light": "power light",
    "amp.protect_light": "protection light",
    "amp.case": "amplifier case",
    "noise.whine": "whine",
}
_ENDS: Final[Mapping[str, str]] = {
    "amp_positive": "wire, plus, at the amplifier",
    "amp_negative": "wire, minus, at the amplifier",
    "positive": "speaker, plus terminal",
    "negative": "speaker, minus terminal",
}
_SETUP: Final[Mapping[str, str]] = {
    "disconnect:speakers": "all speakers unplugged",
    "disconnect:signal": "all signal leads unplugged",
    "disconnect:remote": "remote lead unplugged",
    "disconnect:amp_power": "amplifier power wire off",
    "disconnect:second_battery": "second battery unhooked",
    "remove:main_fuse": "main fuse out",
    "jumper:remote": "remote fed from power",
    "substitute:source": "other source",
    "cycle_remote": "remote off and on",
    "cool_down": "cooled down",
}


def number(value: float, digits: int = 4) -> str:
    """Write a number with at most ``digits`` significant digits, and a true minus."""
    if value == 0:
        return "0"
    if not 1e-6 <= abs(value) < 1e9:
        return f"{value:.{digits}g}".replace("-", "−")
    places = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:.{places}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in {"0", "-0"} else text.replace("-", "−")


def _given(value: float) -> str:
    """Write a number as it was given: all its digits, because the meter showed them."""
    return number(value, 15)


def reading_words(reading: Reading) -> str:
    """Write a reading with its unit, as "12.6 V", "open line" or "1.2 to 9 Ω, jumping"."""
    match reading:
        case Value(value=value, unit=unit):
            return f"{_given(value)} {_UNITS.get(unit, unit)}"
        case OpenLine():
            return "open line"
        case Beep(heard=heard):
            return "beep" if heard else "no beep"
        case Unstable(low=low, high=high, unit=unit):
            ends = [_given(end) for end in (low, high) if end is not None]
            if not ends:
                return "jumping about"
            return (
                f"{' to '.join(ends)} {_UNITS.get(unit or '', unit or '')}".rstrip() + ", jumping"
            )
        case Seen(state=state):
            return state.replace("_", " ")


def _scaled(low: float, high: float, unit: str) -> str:
    size = max(abs(low), abs(high))
    factor, shown = 1.0, _UNITS.get(unit, unit)
    if unit in {"V", "A"} and 0 < size < 1.0:
        factor, shown = 1e3, f"m{unit}"
    elif unit == "ohm" and size >= 1e6:
        factor, shown = 1e-6, "MΩ"
    elif unit == "ohm" and size >= 1e3:
        factor, shown = 1e-3, "kΩ"
    return f"{number(low * factor, 3)} to {number(high * factor, 3)} {shown}"


def expected_words(expected: Expectation | None) -> str:
    """Write what was expected before the answer came, "" when nothing was kept.

    Numbers as the central 90 %, answers that are no number with their probability; answers
    below 2 % are left out unless nothing else is there.
    """
    if expected is None:
        return ""
    ranked = sorted(expected.states, key=lambda entry: -entry[1])
    shown = [entry for entry in ranked if entry[1] >= 0.02]
    parts = [f"{state.replace('_', ' ')} ({percent(chance)})" for state, chance in shown]
    if expected.low is not None and expected.high is not None:
        numbers = _scaled(expected.low, expected.high, expected.unit or "")
        parts.insert(0 if not shown or shown[0][1] < 0.5 else len(parts), numbers)
    elif not parts:
        parts = [f"{state.replace('_', ' ')} ({percent(chance)})" for state, chance in ranked[:1]]
    return ", or ".join(parts)


def surprising(reading: Reading, expected: Expectation | None) -> bool:
    """Tell whether ``reading`` lies outside the central 90 %, or had a chance below 10 %."""
    if expected is None:
        return False
    if isinstance(reading, Value):
        if expected.low is None or expected.high is None:
            return False
        if sum(chance for _, chance in expected.states) > 0.9:
            return True
        return not expected.low <= reading.si <= expected.high
    key = {OpenLine: "open_line", Unstable: "unstable"}.get(type(reading))
    if isinstance(reading, Beep):
        key = "beep" if reading.heard else "no_beep"
    elif isinstance(reading, Seen):
        key = reading.state
    return bool(expected.states) and dict(expected.states).get(key or "", 0.0) < 0.1


def percent(probability: float) -> str:
    """Write a probability in per cent; never 0% or 100%, for no evidence proves that much."""
    if probability > 0.995:
        return "over 99%"
    if probability < 0.005:
        return "under 1%"
    return f"{probability * 100:.0f}%"


def minutes_words(minutes: float) -> str:
    """Write minutes of work, to the half minute below ten."""
    text = number(round(minutes * 2) / 2) if minutes < 10 else f"{minutes:.0f}"
    return f"{text} min"


def state_words(do: Do) -> str:
    """Write the state of vehicle and sound, as "engine running, sound loud"."""
    return ", ".join(part for part in (_VEHICLE[do.vehicle], _AUDIO[do.audio]) if part)


def _place(text: str) -> str:
    return _PLACES.get(text, text)


def setup_words(do: Do) -> str:
    """Write what was unplugged or changed first, "" when nothing was."""

    def words(step: str) -> str:
        if step in _SETUP:
            return _SETUP[step]
        verb, _, what = step.partition(":")
        house, _, place = what.partition(".")
        if verb == "swap":
            return f"{_place(place)} signal leads swapped"
        if house == "signal":
            return f"{_place(place)} signal leads unplugged"
        return f"{_place(place)} speaker unplugged"

    return ", ".join(words(step) for step in do.setup)


def node_words(node: str) -> str:
    """Name a node or place of the contract in plain words."""
    if node in _NODES:
        return _NODES[node]
    house, place, *end = node.split(".")
    if house == "speaker":
        return f"{_place(place)} {_ENDS[end[0]]}"
    if house == "signal":
        return f"{_place(place)} signal lead, {'center' if end[0] == 'center' else 'shell'}"
    return f"sound, {_place(place)}"


def probe_words(do: Do) -> str:
    """Say where the probes went, or what was looked at, listened to or felt."""
    if do.black is None:
        return node_words(do.red)
    return f"red on {node_words(do.red)}, black on {node_words(do.black)}"


def complaint_words(complaint: Complaint) -> str:
    """Write the complaint as one sentence."""
    text = _SYMPTOMS[complaint.symptom]
    if complaint.when:
        text += ", " + ", ".join(_WHEN[when] for when in complaint.when)
    if complaint.where:
        text += " (" + ", ".join(POSITION_WORDS[place] for place in complaint.where) + ")"
    return text + "."


def fuse_words(fuse: Fuse | None) -> str:
    """Write rating and kind of a fuse, as far as they are known."""
    amps = "" if fuse is None or fuse.amps is None else f"{number(fuse.amps)} A"
    kind = "" if fuse is None or fuse.kind is None else fuse.kind.replace("_", " ")
    return " ".join(part for part in (amps, kind) if part) or "rating not given"


def second_battery_words(second: SecondBattery | None) -> str:
    """Write where a second battery stands and how it is joined, "" where there is none."""
    if second is None:
        return ""
    joined = {"direct": "joined directly", "charge_relay": "joined by a charge relay", None: ""}
    place = (second.place or "").replace("_", " ")
    return ", ".join(part for part in (place, joined[second.joined]) if part) or "there is one"


def wire_words(wire: Wire | None) -> str:
    """Write gauge, material and length of a wire, as far as they are known."""
    if wire is None or (wire.gauge is None and wire.length_m is None and wire.material is None):
        return "gauge not given"
    material = {"copper": "copper", "copper_clad_aluminum": "copper-clad aluminum", None: ""}
    head = " ".join(part for part in (wire.gauge or "", material[wire.material]) if part)
    tail = "" if wire.length_m is None else f"{number(wire.length_m, 3)} m"
    return ", ".join(part for part in (head, tail) if part)
