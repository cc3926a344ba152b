"""What the customer says of a car, from what the car does while nobody measures."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from assistant.practice.behaviour import Conduct, conduct, end_celsius, heard, variants, whine
from assistant.practice.circuit import Situation
from assistant.practice.parts import Parts, changed
from assistant.practice.solver import NodalSolver, Solver

if TYPE_CHECKING:
    import numpy as np

__all__ = ["Seen", "customer_words", "live_with", "sound_car"]

_TOO_HOT = 60.0
_SITUATIONS = (
    ("accessory", "quiet"),
    ("accessory", "loud"),
    ("running", "quiet"),
    ("running", "loud"),
    ("cranking", "quiet"),
)


@dataclass(frozen=True, slots=True)
class Seen:
    """What one vehicle and audio state shows; ``bad`` first in a contact's other position."""

    conduct: Conduct
    silent: tuple[str, ...]
    distorted: tuple[str, ...]
    whines: bool
    jumps: bool
    hot: bool
    heat_trip: bool

    @property
    def plays(self) -> bool:
        """Whether the amplifier stayed on."""
        return self.conduct.state.mode == "on" and not self.conduct.flutters

    @property
    def well(self) -> bool:
        """Whether a customer would find nothing wrong here."""
        return self.plays and not (
            self.silent or self.distorted or self.whines or self.hot or self.heat_trip
        )


def _look(parts: Parts, vehicle: str, audio: str, solver: Solver, *, jumps: bool) -> Seen:
    situation = Situation(vehicle=vehicle, audio=audio)
    now = conduct(parts, situation, solver=solver)
    celsius = end_celsius(parts, situation, now)
    sounds = {place: heard(parts, situation, now, place, solver) for place in parts.speakers}
    return Seen(
        conduct=now,
        silent=tuple(place for place, how in sounds.items() if how == "no"),
        distorted=tuple(place for place, how in sounds.items() if how == "distorted"),
        whines=whine(parts, situation, now, solver),
        jumps=jumps,
        hot=celsius > _TOO_HOT,
        heat_trip=celsius > parts.amp.trip_celsius,
    )


def live_with(
    parts: Parts, *, solver: Solver | None = None, only_sound: bool = False
) -> dict[tuple[str, str], Seen]:
    """Give what each state shows; of a jumping contact the worst position is kept.

    ``only_sound`` stops at the first state that is not well (to reject a draw early).
    """
    solver = solver or NodalSolver()
    life: dict[tuple[str, str], Seen] = {}
    for vehicle, audio in _SITUATIONS:
        for at, variant in enumerate(variants(parts)):
            seen = _look(variant, vehicle, audio, solver, jumps=at > 0)
            known = life.get((vehicle, audio))
            if known is None or (seen.plays, seen.well) < (known.plays, known.well):
                life[vehicle, audio] = seen
        if only_sound and vehicle != "cranking" and not life[vehicle, audio].well:
            break
    return life


def sound_car(parts: Parts, *, solver: Solver | None = None) -> bool:
    """Say whether a customer would have nothing to complain of."""
    life = live_with(parts, solver=solver, only_sound=True)
    return len(life) == len(_SITUATIONS) and all(
        seen.well for (vehicle, _), seen in life.items() if vehicle != "cranking"
    )


def customer_words(
    rng: np.random.Generator, parts: Parts, *, solver: Solver | None = None
) -> dict[str, Any] | None:
    """Give the complaint, or None where the customer would have none."""
    life = live_with(parts, solver=solver)
    found = _trouble(rng, parts, life, solver or NodalSolver())
    if found is None:
        return None
    symptom, when, where = found
    complaint: dict[str, Any] = {"symptom": symptom}
    if when and rng.random() < 0.9:
        complaint["when"] = when
    if where and rng.random() < 0.9:
        complaint["where"] = where
    return complaint


Trouble = tuple[str, list[str], list[str]]


def _trouble(
    rng: np.random.Generator, parts: Parts, life: dict[tuple[str, str], Seen], solver: Solver
) -> Trouble | None:
    fails = {state for state, seen in life.items() if not seen.plays and state[0] != "cranking"}
    if fails:
        return _fails(rng, life, fails)
    if any(seen.heat_trip for seen in life.values()):
        symptom = str(rng.choice(["too_hot", "cuts_out", "protects"]))
        return symptom, ["warm"] if rng.random() < 0.5 else ["warm", "loud"], []
    sounds = _sounds(rng, parts, life)
    if sounds is not None:
        return sounds
    crank = life["cranking", "quiet"]
    if parts.remote.cranking_volts and not crank.plays:
        return "cuts_out", ["cranking"], []
    if not crank.plays and _played_on(parts, solver):
        return "cuts_out", ["cranking"], []
    return None


def _played_on(parts: Parts, solver: Solver) -> bool:
    """Say whether the owner knows it otherwise: with a sound relay it played while cranking."""
    second = parts.second
    if second is None or not second.relay_stuck:
        return False
    sound = changed(parts, {"second.relay_stuck": False})
    return _look(sound, "cranking", "quiet", solver, jumps=False).plays


def _sounds(
    rng: np.random.Generator, parts: Parts, life: dict[tuple[str, str], Seen]
) -> Trouble | None:
    """Word what is wrong with an amplifier that stays on."""
    quiet, loud = life["accessory", "quiet"], life["accessory", "loud"]
    even = rng.random() < 0.5
    if quiet.silent:
        everywhere = len(quiet.silent) == len(parts.speakers)
        where = [] if everywhere else list(quiet.silent)
        return "no_sound" if everywhere else "silent_channel", ["always"], where
    if any(seen.whines for seen in life.values()):
        return "noise", ["running"], []
    if quiet.distorted:
        return "noise", ["always"] if even else ["loud"], list(quiet.distorted)
    if loud.hot or life["running", "loud"].hot:
        return "too_hot", ["loud"] if even else ["warm"], []
    worse = list(loud.distorted or loud.silent)
    return ("noise", ["loud"], worse) if worse else None


def _fails(
    rng: np.random.Generator,
    life: dict[tuple[str, str], Seen],
    fails: set[tuple[str, str]],
) -> Trouble:
    """Word an amplifier that does not stay on in the states ``fails``."""
    when: list[str] = []
    vehicles, sounds = {v for v, _ in fails}, {a for _, a in fails}
    if any(life[state].jumps for state in fails):
        when.append("bumps")
    if sounds == {"loud"}:
        when.append("loud")
    if vehicles == {"running"}:
        when.append("running" if rng.random() < 0.7 else "seconds_after_start")
    elif vehicles == {"accessory"}:
        when.append("accessory")
    if not when:
        when.append("always")
    conducts = [life[state].conduct for state in sorted(fails)]
    off = all(each.state.mode == "off" for each in conducts)
    dark = all(each.protect_light == "off" for each in conducts)
    if off or (dark and when == ["always"]):
        symptom = (
            "will_not_turn_on"
            if when == ["always"]
            else str(rng.choice(["will_not_turn_on", "cuts_out"]))
        )
    elif dark or "loud" in when:
        symptom = "cuts_out" if dark or rng.random() < 0.5 else "protects"
    else:
        symptom = "protects"
    return symptom, when, []
