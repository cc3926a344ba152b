"""How well each world explains what the customer says: symptom, when it comes, where."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from assistant.electrics.contacts import supply_contacts
from assistant.electrics.parts import Situation
from assistant.knowledge.schema import Do

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.electrics.responses import Responder
    from assistant.knowledge.schema import Complaint, Fault, Position

__all__ = ["complaint_fit", "still_fails"]

_FITS: Final = 0.85
_FITS_NOT: Final = 0.08
_FLOOR: Final = 0.01
_UNNAMED: Final = 0.45
"""Customers leave out half of what they could say, and get some of it wrong (common practice,
no source): the figures above and this one keep a complaint weak evidence."""
_NOTHING: frozenset[str] = frozenset()
Mask = NDArray[np.bool_]


class _Behaviour:
    """What the worlds do in the situations that customers speak of, computed when asked for."""

    def __init__(self, responder: Responder) -> None:
        self.responder = responder
        self.parts = responder.parts

    def works(self, vehicle: str, audio: str) -> Mask:
        return self.responder.state(Situation(vehicle, audio, _NOTHING)).works  # type: ignore[arg-type]

    def protects(self, vehicle: str, audio: str) -> Mask:
        state = self.responder.state(Situation(vehicle, audio, _NOTHING))  # type: ignore[arg-type]
        return state.protects

    def fails(self, vehicle: str, audio: str) -> Mask:
        return ~self.works(vehicle, audio)

    def silent(self, position: Position) -> Mask:
        do = Do(quantity="sound", red=f"sound.{position}", vehicle="accessory", audio="quiet")
        return np.asarray(self.responder.predict(do).value == 1)

    def distorted(self, position: Position) -> Mask:
        do = Do(quantity="sound", red=f"sound.{position}", vehicle="accessory", audio="loud")
        return np.asarray(self.responder.predict(do).value == 2)

    def whines(self) -> Mask:
        do = Do(quantity="noise", red="noise.whine", vehicle="running", audio="quiet")
        key = Do(quantity="noise", red="noise.whine", vehicle="accessory", audio="quiet")
        return np.asarray(
            (self.responder.predict(do).value == 0) | (self.responder.predict(key).value == 0)
        )

    def loose(self) -> Mask:
        named = supply_contacts(self.parts)
        return np.asarray(np.any([self.parts.flag(name) for name in named], axis=0))

    def rubbing(self) -> Mask:
        named = [f"coil_rubs.{position}" for position in self.parts.positions]
        return np.asarray(np.any([self.parts.flag(name) for name in named], axis=0))

    def hot(self) -> Mask:
        return self.parts.flag("case_hot") | self.parts.flag("heat_trips")

    def lost_cranking(self) -> Mask:
        # Where the vehicle cuts the accessory feed while cranking, silence is nothing new.
        usual = self.parts.flag("cranking_cuts_accessory") & (self.parts["remote_start_drop"] < 1)
        return self.fails("cranking", "quiet") & ~usual


def _symptom(seen: _Behaviour, symptom: str) -> NDArray[np.float64]:
    """Chance that a customer with this world would name ``symptom``, (worlds,)."""
    protects = np.any(
        [seen.protects(v, a) for v, a in (("accessory", "quiet"), ("accessory", "loud"),
                                          ("running", "quiet"), ("running", "loud"))],
        axis=0,
    )  # fmt: skip
    dead = seen.fails("accessory", "quiet") & ~seen.protects("accessory", "quiet")
    # A complaint tells of what was: heat has tripped it, whether or not it is hot now.
    heat = seen.parts.flag("heat_trips")
    dark = seen.parts.flag("inner_trip_dark")
    protects = np.where(heat, ~dark, protects)
    dead &= ~heat
    positions = seen.parts.positions
    silent = np.sum([seen.silent(p) for p in positions], axis=0)
    some = (silent > 0) & (silent < len(positions))
    every = silent == len(positions)
    spoilt = np.any([seen.distorted(p) for p in positions], axis=0)
    lost = seen.works("accessory", "quiet") & (
        seen.fails("accessory", "loud")
        | seen.fails("running", "quiet")
        | seen.fails("running", "loud")
    )
    lost |= heat
    scores = {
        "protects": np.where(protects, 1.0, 0.0),
        "will_not_turn_on": np.where(dead, 1.0, 0.0)
        + np.where(seen.protects("accessory", "quiet"), 0.08, 0.0),
        "no_sound": np.where(every & ~dead & ~protects, 1.0, np.where(every, 0.15, 0.0)),
        "silent_channel": np.where(some, 1.0, 0.0),
        "noise": np.where(seen.whines(), 1.0, np.where(spoilt, 0.25, 0.0)),
        "cuts_out": np.where(lost, 0.6, 0.0)
        + np.where(seen.loose(), 0.5, 0.0)
        + np.where(seen.rubbing(), 0.2, 0.0)
        + np.where(seen.hot() | spoilt, 0.15, 0.0)
        + np.where(seen.lost_cranking(), 0.12, 0.0),
        "too_hot": np.where(seen.hot(), 1.5, 0.0),
    }
    total = np.sum(list(scores.values()), axis=0) + 7 * _FLOOR
    return np.asarray((scores[symptom] + _FLOOR) / total)


def _when(seen: _Behaviour, token: str) -> Mask:
    """Tell where the trouble comes at the time that ``token`` names, (worlds,)."""
    positions = seen.parts.positions
    found: Mask
    match token:
        case "always" | "accessory":
            silent = np.any([seen.silent(p) for p in positions], axis=0)
            found = seen.fails("accessory", "quiet") | silent
            if token == "accessory":  # noqa: S105 - a word of the complaint
                found = found | seen.fails("accessory", "loud")
        case "running" | "seconds_after_start":
            found = seen.fails("running", "quiet") | seen.fails("running", "loud") | seen.whines()
        case "loud":
            spoilt = np.any([seen.distorted(p) for p in positions], axis=0)
            found = seen.fails("accessory", "loud") | seen.fails("running", "loud") | spoilt
        case "warm":
            found = seen.hot()
        case "bumps":
            found = seen.loose() | seen.rubbing()
        case _:
            found = seen.lost_cranking()
    return np.asarray(found)


def complaint_fit(
    responder: Responder,
    complaint: Complaint,
    faults: Sequence[Fault],
    slots: NDArray[np.int16],
) -> NDArray[np.float64]:
    """Weigh ``complaint`` in every world, (worlds,): larger where it is better explained."""
    seen = _Behaviour(responder)
    weight = _symptom(seen, complaint.symptom)
    for token in complaint.when:
        weight = weight * np.where(_when(seen, token), _FITS, _FITS_NOT)
    said = set(complaint.when)
    if said and not said & {"always", "accessory"}:
        # Trouble that is there with the key on would hardly be told as coming later.
        early = seen.fails("accessory", "quiet") & ~seen.parts.flag("heat_trips")
        weight = weight * np.where(early, _UNNAMED * 0.5, 1.0)
    if "accessory" in said and not said & {"always", "running", "seconds_after_start"}:
        # Who names the key alone means that it does better with the engine running.
        late = seen.fails("running", "loud" if "loud" in said else "quiet")
        weight = weight * np.where(late, _UNNAMED, 1.0)
    if said & {"running", "seconds_after_start", "cranking"} and "loud" not in said:
        only_loud = seen.works("running", "quiet") & seen.works("accessory", "quiet")
        if complaint.symptom in {"protects", "cuts_out"}:
            weight = weight * np.where(only_loud, _UNNAMED, 1.0)
    if said and "warm" not in said and complaint.symptom != "too_hot":
        # Heat takes time: who has it would mostly say that it comes when warm.
        weight = weight * np.where(seen.parts.flag("heat_trips"), _UNNAMED, 1.0)
    if complaint.symptom not in {"silent_channel", "no_sound"}:
        # Who has a silent speaker as well would mostly say so.
        silent = np.any([seen.silent(p) for p in seen.parts.positions], axis=0)
        weight = weight * np.where(silent & seen.works("accessory", "quiet"), _UNNAMED, 1.0)
    if complaint.where:
        weight = weight * _where(seen, complaint, faults, slots)
    return weight


def _where(
    seen: _Behaviour,
    complaint: Complaint,
    faults: Sequence[Fault],
    slots: NDArray[np.int16],
) -> NDArray[np.float64]:
    """Weigh the named positions by silence, distortion and where the faults sit, (worlds,)."""
    pair_of = seen.parts.pair_of
    weight = np.ones(seen.parts.count)
    located = np.array([bool(fault.position or fault.pair) for fault in faults] + [False])
    for position in seen.parts.positions:
        at = [
            # A fault at a speaker knows its pair as well: left is not right.
            fault.position == position
            if fault.position is not None
            else fault.pair is not None and fault.pair == pair_of[position]
            for fault in faults
        ]
        here = np.array([*at, False])[slots].any(axis=0)
        trouble = here | seen.silent(position) | seen.distorted(position)
        if position in complaint.where:
            weight = weight * np.where(trouble, _FITS, 0.3)
        else:
            elsewhere = located[slots].any(axis=0) & here
            weight = weight * np.where(elsewhere | seen.silent(position), 0.35, 1.0)
    return weight


def still_fails(slots: NDArray[np.int16]) -> NDArray[np.float64]:
    """Chance that the trouble goes on after a repair, (worlds,): where a fault is left."""
    left = (slots >= 0).any(axis=0)
    return np.where(left, 0.97, 0.004)
