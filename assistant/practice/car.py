"""The virtual car: hidden parts and faults, and an answer to any ``do`` of the contract."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from assistant.errors import GivenError
from assistant.practice.behaviour import Conduct, conduct, end_celsius, heard, variants, whine
from assistant.practice.circuit import Situation, build
from assistant.practice.complaint import customer_words, live_with
from assistant.practice.meter import OHM_RANGES, Meter
from assistant.practice.parts import Parts, changed
from assistant.practice.probes import situation_of, tips
from assistant.practice.solver import NodalSolver, Solver
from assistant.practice.words import ANSWERS, AUDIO, QUANTITIES, VEHICLE, same_repair

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["Car"]

Reading = dict[str, Any]

_WARM: Final = (36.0, 60.0)
"""A hand calls a case warm from the first figure in °C and cannot stay on it from the second."""
_CLAMPS: Final[Mapping[str, tuple[str, str]]] = {
    "amp.power": ("main_fuse.amp_side", "lead.power"),
    "main_fuse.battery_side": ("main_fuse.amp_side", "lead.power"),
    "main_fuse.amp_side": ("main_fuse.amp_side", "lead.power"),
    "amp.ground": ("amp.ground", "chassis"),
    "chassis": ("amp.ground", "chassis"),
    "amp.remote": ("source.remote", "lead.remote"),
    "source.remote": ("source.remote", "lead.remote"),
    "charging.output": ("charging.output", "battery.positive"),
}
"""The wire that a clamp goes round at each node, in the direction of the usual current."""

_AT_AMP: Final = ("second_battery.positive", "lead.power")
_AT_FRONT: Final = ("main_fuse.amp_side", "charge_relay.battery_side")
"""Where a second battery parts the power wire: its two ends."""


@dataclass(slots=True)
class Car:
    """One car; ``changes`` gives per fault what it alters. Answers depend on ``rng`` alone."""

    sound: Parts
    changes: dict[str, dict[str, Any]]
    meter: Meter
    rng: np.random.Generator
    solver: Solver = field(default_factory=NodalSolver)
    parts: Parts = field(init=False)
    celsius: float = field(init=False)
    _tripped: bool = field(init=False, default=False)

    def __post_init__(self) -> None:
        self._rebuild()
        self.celsius = self.sound.ambient

    def _rebuild(self) -> None:
        self.parts = self.sound
        for change in self.changes.values():
            self.parts = changed(self.parts, change)

    @property
    def faults(self) -> list[str]:
        """The faults that are still there."""
        return list(self.changes)

    def mend(self, fault: str) -> bool:
        """Put right the part that ``fault`` names; say whether that mended anything."""
        gone = [known for known in self.changes if _mended_by(known, fault)]
        for known in gone:
            del self.changes[known]
        self._rebuild()
        self._tripped = False
        return bool(gone)

    def works(self) -> bool:
        """Say whether the customer has nothing left to complain of."""
        life = live_with(self.parts, solver=self.solver)
        return all(seen.well for (vehicle, _), seen in life.items() if vehicle != "cranking")

    def complaint(self) -> dict[str, Any] | None:
        """Word the complaint of the car as it stands, None where there is none."""
        return customer_words(self.rng, self.parts, solver=self.solver)

    def answer(self, do: Mapping[str, Any], *, minutes: float = 2.0) -> Reading:
        """Measure or look as ``do`` says and give the contract's reading.

        ``minutes`` is how long the state is held: what warms, warms by it. Raises ``GivenError``
        when the contract has no such measurement.
        """
        quantity = do.get("quantity")
        if (
            quantity not in QUANTITIES
            or do.get("vehicle") not in VEHICLE
            or do.get("audio") not in AUDIO
        ):
            raise GivenError(f"No one can do {dict(do)!r}.", next_step="Use the contract's words.")
        situation = situation_of(do, self.parts)
        if "cool_down" in situation.setup:
            self.celsius = self.parts.ambient
        now = [self._conduct(variant, situation) for variant in variants(self.parts)]
        self._warm(situation, now[0], minutes)
        if self.celsius > self.parts.amp.trip_celsius:
            now = [self._conduct(variant, situation) for variant in variants(self.parts)]
        self._remember(situation, now)
        if quantity in ANSWERS:
            return {"seen": self._seen(do, situation, now)}
        return self._measured(do, situation, now)

    def _conduct(self, parts: Parts, situation: Situation) -> Conduct:
        broken = {"cycle_remote", "disconnect:amp_power", "disconnect:remote", "remove:main_fuse"}
        held = self._tripped and situation.vehicle != "off" and not broken & situation.setup
        return conduct(parts, situation, solver=self.solver, celsius=self.celsius, latched=held)

    def _warm(self, situation: Situation, now: Conduct, minutes: float) -> None:
        amp = self.parts.amp
        aim = end_celsius(self.parts, situation, now)
        part = 1 - float(np.exp(-max(minutes, 1.0) / amp.warms_in_minutes))
        self.celsius += (aim - self.celsius) * part

    def _remember(self, situation: Situation, now: list[Conduct]) -> None:
        """Keep a latching amplifier tripped until its remote or its power is taken."""
        tripped = any(each.state.mode == "protect" for each in now)
        dark = all(each.state.mode == "off" for each in now)
        if dark or situation.vehicle == "off":
            self._tripped = False
        elif tripped and self.parts.amp.latches:
            self._tripped = any(each.state.reason not in {"under", "heat"} for each in now)

    def _seen(self, do: Mapping[str, Any], situation: Situation, now: list[Conduct]) -> str:
        quantity, place = str(do["quantity"]), str(do.get("red"))
        cars = list(variants(self.parts))
        if quantity == "light":
            lights = [
                each.protect_light if place == "amp.protect_light" else each.power_light
                for each in now
            ]
            return lights[0] if len(set(lights)) == 1 else "blinking"
        if quantity == "warmth":
            if place != "amp.case":
                return "cool"
            low, high = _WARM
            return "cool" if self.celsius < low else "warm" if self.celsius < high else "too_hot"
        if quantity == "noise":
            noisy = [
                whine(car, situation, each, self.solver)
                for car, each in zip(cars, now, strict=True)
            ]
            return "yes" if any(noisy) else "no"
        where = place.removeprefix("sound.")
        sounds = [
            heard(car, situation, each, where, self.solver)
            for car, each in zip(cars, now, strict=True)
        ]
        return sounds[0] if len(set(sounds)) == 1 else "distorted"

    def _measured(self, do: Mapping[str, Any], situation: Situation, now: list[Conduct]) -> Reading:
        quantity = str(do["quantity"])
        states = list(zip(variants(self.parts), now, strict=True))
        if quantity in {"resistance", "continuity"}:
            ohms = [self._ohms(do, situation, car, each) for car, each in states]
            if quantity == "continuity":
                return self.meter.beep(ohms)
            return self.meter.ohms(self.rng, ohms)
        values: list[float] = []
        for car, each in states:
            values.append(self._value(do, situation, car, each))
            if each.flutters:
                down = Conduct(
                    state=type(each.state)(mode="off"), power_light="off", protect_light="off"
                )
                values.append(self._value(do, situation, car, down))
        if quantity == "dc_current":
            return self.meter.amperes(self.rng, values)
        return self.meter.volts(self.rng, values, ac=quantity == "ac_voltage")

    def _value(
        self, do: Mapping[str, Any], situation: Situation, car: Parts, now: Conduct
    ) -> float:
        quantity = str(do["quantity"])
        if quantity == "dc_current":
            return self._clamp(do, situation, car, now)
        red, black = tips(do, car, situation)
        if quantity == "dc_voltage":
            network = build(car, situation, now.state)
            network.resistor(red, black, self.meter.input_ohms)
            volts = self.solver.solve(network)
            return volts.get(red, 0.0) - volts.get(black, 0.0)
        squares = 0.0
        for kind in ("audio", "ripple"):
            network = build(car, situation, now.state, kind=kind)
            network.resistor(red, black, self.meter.input_ohms)
            volts = self.solver.solve(network)
            part = volts.get(red, 0.0) - volts.get(black, 0.0)
            if kind == "ripple":
                running = situation.vehicle == "running"
                unit = volts["charging.output"] - volts["engine_block"]
                part = part * car.charging.ripple / unit if running and unit else 0.0
            squares += part**2
        return float(np.sqrt(squares))

    def _clamp(
        self, do: Mapping[str, Any], situation: Situation, car: Parts, now: Conduct
    ) -> float:
        red, black = str(do.get("red")), str(do.get("black"))
        network = build(car, situation, now.state)
        fuse = {"main_fuse.battery_side", "main_fuse.amp_side"}
        if "remove:main_fuse" in situation.setup and {red, black} == fuse:
            network.resistor(red, black, 0.02)  # the meter takes the fuse's place
        volts = self.solver.solve(network)
        one, other = _CLAMPS.get(red, _CLAMPS.get(black, ("", "")))
        if car.second is not None and (one, other) == _CLAMPS["amp.power"]:
            at_amp = "amp.power" in {red, black}
            one, other = _AT_AMP if at_amp else _AT_FRONT
        return sum(
            (volts[a] - volts[b]) / ohms * (1 if a == one else -1)
            for a, b, ohms in network.resistors
            if {a, b} == {one, other}
        )

    def _ohms(
        self, do: Mapping[str, Any], situation: Situation, car: Parts, now: Conduct
    ) -> float | None:
        """Give what the ohmmeter makes of it: its test current's voltage over that current.

        Live circuits give what they would give in truth: nonsense.
        """
        red, black = tips(do, car, situation)
        network = build(car, situation, now.state)
        if red == black:
            return self.meter.leads
        network.resistor(red, black, self.meter.input_ohms * 100)
        for full, _, amperes in OHM_RANGES:
            network.currents.append((black, red, amperes))
            volts = self.solver.solve(network)
            network.currents.pop()
            ohms = (volts[red] - volts[black]) / amperes + self.meter.leads
            if abs(ohms) < full:
                return max(ohms, 0.0)
        return None


def _mended_by(fault: str, work: str) -> bool:
    """Say whether the work that ``work`` names also does away with ``fault``."""
    inside = {"amp.internal", "amp.overheats", "amp.fuse_open"}
    if work == "amp.internal" and fault in inside:
        return True  # another amplifier, with its own fuses
    return same_repair(fault, work)
