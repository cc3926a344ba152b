"""What a lesson is about: a car with hidden faults, drawn from one seed and a level.

Level 1 has clear single faults, level 2 every single fault, level 3 pairs of faults, contacts
that come and go, and readings that slip. The same plan draws the same car again and again.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from assistant.errors import GivenError, MisuseError
from assistant.practice.behaviour import variants
from assistant.practice.draws import draw_installation
from assistant.practice.kinds import ALL_KINDS, KINDS
from assistant.practice.scenario import Case, draw_case, sort_of
from assistant.practice.words import every_fault, same_repair

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

__all__ = ["KIND_WORDS", "LEVELS", "LessonPlan", "plan_lesson"]

LEVELS: Final = (1, 2, 3)
KIND_WORDS: Final[Mapping[str, str]] = {
    "van_mono": "a delivery van with a mono amplifier and two subwoofers",
    "coupe_five": "an old coupe with a five-channel amplifier",
    "hatch_four": "a hatchback with a four-channel amplifier behind the factory radio",
    "wagon_bridged": "an estate car with a bridged amplifier and two subwoofers",
    "pickup_two": "a pickup with a two-channel amplifier",
    "bus_mono": "a bus with a mono amplifier and a second battery beside it",
    "camper_five": "a camper with a five-channel amplifier and a second battery beside it",
    "tow_truck_four": "a tow truck with a four-channel amplifier and a second battery beside it",
    "coach_four": "a coach with a four-channel amplifier far from the battery",
    "boat_two": "a boat with a two-channel amplifier far from the battery",
}
_CLEAR: Final = frozenset(
    {
        "supply.charging_high",
        "supply.charging_low",
        "supply.main_fuse_open",
        "supply.ground_resistive",
        "supply.second_fuse_open",
        "supply.charge_relay_open",
        "remote.missing",
        "amp.fuse_open",
        "speaker.*.wire_to_chassis",
        "speaker.*.wires_shorted",
        "speaker.*.coil_open",
        "speaker.*.coil_shorted",
        "signal.*.shorted",
    }
)
_COMES_AND_GOES: Final = frozenset(
    {
        "supply.main_fuse_loose",
        "supply.ground_resistive",
        "speaker.*.coil_rubbing",
        "speaker.*.wire_to_chassis",
    }
)
_MISREAD: Final[Mapping[int, float]] = {1: 0.0, 2: 0.0, 3: 0.05}
_TRIES: Final = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class LessonPlan:
    """One lesson. ``misread`` is the chance in [0, 1] that a reading is spoilt by a mistake.

    ``case_seed`` is the seed of the car itself; ``seed`` is what the trainee gave.
    """

    seed: int
    level: int
    kind: str
    faults: tuple[str, ...]
    case_seed: int
    misread: float

    def command(self) -> str:
        """Give the command line that brings the same lesson back."""
        usual = self.misread == _MISREAD[self.level]
        slips = "" if usual else f" --misread {self.misread:g}"
        return (
            f"probetell practice --seed {self.seed} --level {self.level} --kind {self.kind}{slips}"
        )

    def draw(self) -> Case:
        """Draw the car as it stands at the start of the lesson, the same one each time."""
        return draw_case(self.case_seed, self.kind, self.faults)


def plan_lesson(
    seed: int, *, level: int = 1, kind: str | None = None, misread: float | None = None
) -> LessonPlan:
    """Draw a lesson; deterministic for its arguments.

    Raises ``GivenError`` for a level, kind, seed or chance of misreading that there is not.
    """
    if level not in LEVELS:
        raise GivenError(f"There is no level {level}.", next_step="Take 1, 2 or 3.")
    if kind is not None and kind not in ALL_KINDS:
        raise GivenError(
            f"No car of kind {kind!r}.", next_step=f"Take one of {', '.join(ALL_KINDS)}."
        )
    if seed < 0:
        raise GivenError(f"The seed {seed} is negative.", next_step="Take a whole number from 0.")
    chance = _MISREAD[level] if misread is None else misread
    if not 0.0 <= chance <= 1.0:
        raise GivenError(
            f"{chance} is no chance of misreading.", next_step="Take a number from 0 to 1."
        )
    rng = np.random.default_rng([seed, level, 5])
    for _ in range(_TRIES):
        taken = kind or str(rng.choice(list(KINDS)))
        in_pairs = level == 3 and bool(rng.random() < 0.5)
        steady = level < 3 or in_pairs
        faults = _faults(rng, taken, level, in_pairs=in_pairs)
        case_seed = int(rng.integers(2**31))
        if len(faults) == 2 and (same_repair(*faults) or _both_inside(faults)):
            continue
        try:
            case = draw_case(case_seed, taken, faults)
        except MisuseError:
            continue  # nothing that a customer would notice: draw another car
        jumps = len(list(variants(case.car.parts))) > 1
        if (level == 1 and jumps) or (not steady and not jumps):
            continue
        return LessonPlan(
            seed=seed, level=level, kind=taken, faults=faults, case_seed=case_seed, misread=chance
        )
    raise MisuseError(f"No lesson after {_TRIES} draws.", next_step="Widen the level's faults.")


def _faults(rng: np.random.Generator, kind: str, level: int, *, in_pairs: bool) -> tuple[str, ...]:
    """Draw the sort of fault first, so that many speakers do not make for many speaker faults."""
    installation = draw_installation(np.random.default_rng(1), kind)
    if "factory_with_converter" in ALL_KINDS[kind].sources:
        installation["source"]["kind"] = "factory_with_converter"
    if "charge_relay" in ALL_KINDS[kind].joined:
        installation["supply"]["second_battery"]["joined"] = "charge_relay"
    by_sort: dict[str, list[str]] = {}
    for fault in every_fault(installation):
        by_sort.setdefault(sort_of(fault), []).append(fault)
    if level == 1:
        allowed = _CLEAR
    elif level == 2 or in_pairs:
        allowed = frozenset(by_sort)
    else:
        allowed = _COMES_AND_GOES
    sorts = [sort for sort in by_sort if sort in allowed]
    wanted = _pick(rng, sorts, 2 if in_pairs else 1)
    return tuple(fault for sort in wanted for fault in _pick(rng, by_sort[sort], 1))


def _both_inside(faults: Sequence[str]) -> bool:
    """Say whether another amplifier would do away with both."""
    return all(fault.startswith("amp.") for fault in faults)


def _pick(rng: np.random.Generator, items: Sequence[str], count: int) -> list[str]:
    return [items[int(at)] for at in rng.choice(len(items), size=count, replace=False)]
