"""Minutes of a check: the measurement itself and all that must change before it can start."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.knowledge import load

if TYPE_CHECKING:
    from assistant.knowledge.schema import Audio, Check, VehicleState

__all__ = ["Bench", "minutes_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """How the car stands after the last check."""

    vehicle: VehicleState = "off"
    audio: Audio = "off"
    place: str = "amplifier"
    setup: frozenset[str] = frozenset()

    @classmethod
    def after(cls, check: Check) -> Bench:
        """Give the state in which ``check`` leaves the car."""
        do = check.do
        lasting = frozenset(do.setup) - {"cycle_remote", "cool_down"}
        return cls(vehicle=do.vehicle, audio=do.audio, place=check.place, setup=lasting)


def _step_minutes(step: str) -> float:
    table = load().labour.setup
    if step in table:
        return table[step]
    # "disconnect:speaker.front_left" costs what "disconnect:speaker" costs.
    return table[step.rsplit(".", 1)[0]]


def minutes_of(check: Check, bench: Bench) -> float:
    """Minutes from ``bench`` to the answer of ``check``: state, place, leads, second person."""
    labour = load().labour
    do = check.do
    minutes = check.minutes + labour.answer
    if do.vehicle != bench.vehicle:
        minutes += labour.vehicle[do.vehicle]
    if do.audio != bench.audio:
        minutes += labour.audio[do.audio]
    if check.place != bench.place or check.place == "speaker":
        # A subwoofer stands in a box; other speakers sit behind a panel.
        boxed = check.place == "speaker" and (check.position or "").startswith("sub")
        minutes += labour.place["box" if boxed else check.place]
    if check.people > 1:
        minutes += labour.second_person
    wanted = frozenset(do.setup)
    for step in wanted - bench.setup:
        minutes += _step_minutes(step)
    # Putting back is quicker than taking apart.
    for step in bench.setup - wanted:
        minutes += 0.5 * _step_minutes(step)
    return minutes
