"""Loads and validates the data files once, and makes them concrete for an installation."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Final

import yaml
from pydantic import TypeAdapter, ValidationError

from assistant.errors import MisuseError
from assistant.knowledge.schema import (
    PAIRS,
    POSITIONS,
    Caution,
    Check,
    Do,
    Fault,
    Installation,
    Pair,
    Position,
    Repair,
    model_error,
)
from assistant.knowledge.templates import CheckEntry, FaultEntry, Labour, RepairEntry, Spreads

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

__all__ = ["Knowledge", "load", "pair_of", "pairs_of", "positions_of"]

_PAIR_OF: Final[Mapping[Position, Pair]] = {
    "front_left": "front",
    "front_right": "front",
    "center": "front",
    "rear_left": "rear",
    "rear_right": "rear",
    "sub": "sub",
    "sub_2": "sub",
}
_BY_CHANNELS: Final[Mapping[int, tuple[Position, ...]]] = {
    1: ("sub",),
    2: ("front_left", "front_right"),
    3: ("front_left", "front_right", "sub"),
    4: ("front_left", "front_right", "rear_left", "rear_right"),
}
_FULL: Final[tuple[Position, ...]] = (
    "front_left",
    "front_right",
    "rear_left",
    "rear_right",
    "sub",
)


def pair_of(position: Position) -> Pair:
    """Name the signal pair that feeds ``position``."""
    return _PAIR_OF[position]


def positions_of(installation: Installation) -> tuple[Position, ...]:
    """Name the speaker positions: those stated, else the usual ones for the channel count."""
    if installation.speakers:
        return tuple(p for p in POSITIONS if p in installation.speakers)
    channels = installation.amplifier.channels
    return _FULL if channels is None else _BY_CHANNELS.get(channels, _FULL)


def pairs_of(installation: Installation) -> tuple[Pair, ...]:
    """Name the signal pairs that feed the installation's positions."""
    present = {_PAIR_OF[position] for position in positions_of(installation)}
    return tuple(pair for pair in PAIRS if pair in present)


@dataclass(frozen=True, slots=True, kw_only=True)
class Knowledge:
    """All data files, validated; ``checks``, ``faults`` and ``repairs`` are made concrete."""

    check_entries: tuple[CheckEntry, ...]
    fault_entries: tuple[FaultEntry, ...]
    repair_entries: tuple[RepairEntry, ...]
    cautions: Mapping[str, Caution]
    labour: Labour
    spreads: Spreads

    def checks(self, installation: Installation) -> dict[str, Check]:
        """Every check that this installation allows, by id."""
        made: dict[str, Check] = {}
        second = installation.supply.second_battery is not None
        for entry in self.check_entries:
            if not _has(entry.needs, installation):
                continue
            for position, pair in _places(entry.each, installation):
                others = [p for p in positions_of(installation) if p != position]
                if len(others) < _LEAST_OTHERS and any(_OTHERS in s for s in entry.do.setup):
                    continue  # the same as a check without the one other
                check = _make_check(entry, position, pair, others)
                made[check.id] = _with_both_unhooked(check) if second else check
        return made

    def faults(self, installation: Installation) -> dict[str, Fault]:
        """Every fault that this installation can have, by id."""
        made: dict[str, Fault] = {}
        for entry in self.fault_entries:
            if not _has(entry.needs, installation):
                continue
            places = list(_places(entry.each, installation))
            for position, pair in places:
                fault_id = _fill(entry.id, position, pair)
                made[fault_id] = Fault(
                    id=fault_id,
                    repair=_fill(entry.repair, position, pair),
                    rate=entry.rate,
                    group=entry.group,
                    words=_fill(entry.words, position, pair),
                    position=position,
                    pair=pair,
                )
        return made

    def repairs(self, installation: Installation) -> dict[str, Repair]:
        """Every repair that a fault of this installation can need, by id."""
        by_template = {entry.id: entry for entry in self.repair_entries}
        made: dict[str, Repair] = {}
        second = installation.supply.second_battery is not None
        for fault in self.faults(installation).values():
            template = fault.repair
            if fault.position:
                template = template.replace(fault.position, "POS")
            if fault.pair:
                template = template.replace("." + fault.pair, ".PAIR")
            entry = by_template[template]
            made[fault.repair] = Repair(
                id=fault.repair,
                minutes=entry.minutes,
                parts=entry.parts,
                words=_fill(entry.words, fault.position, fault.pair)
                + (_BOTH_FIRST if second and entry.live else ""),
                customer=_fill(entry.customer, fault.position, fault.pair),
                beyond_user=entry.beyond,
                before=entry.before,
            )
        return made


_OTHERS: Final = "{OTHERS}"
_LEAST_OTHERS: Final = 2


_BOTH_FIRST: Final = " Unhook both batteries first."
_FUSE_OUT: Final = "remove:main_fuse"
_LEAD_OFF: Final = "disconnect:amp_power"
_SECOND_OFF: Final = "disconnect:second_battery"
_LIVE: Final = "second_battery_live"


def _has(needs: str | None, installation: Installation) -> bool:
    """Tell whether ``installation`` has, or may have, what an entry needs."""
    second = installation.supply.second_battery
    match needs:
        case "converter":
            return installation.source.kind in {None, "factory_with_converter"}
        case "second_battery":
            return second is not None
        case "charge_relay":
            return second is not None and second.joined != "direct"
        case _:
            return True


def _with_both_unhooked(check: Check) -> Check:
    """Give ``check`` as it is done beside a second battery, which feeds whatever the fuse cuts off.

    Where the main fuse comes out or the power lead comes off, the second battery is unhooked too.
    """
    setup, cautions = check.do.setup, (*check.cautions, _LIVE)
    if not {_FUSE_OUT, _LEAD_OFF} & set(setup):
        return check
    spoken, typed = "Second battery unhooked", "Second battery unhooked (its minus lead off)"
    if "amp.power" in {check.do.red, check.do.black} and _LEAD_OFF not in setup:
        # What senses the voltage at a relay hangs on the same wire: it would be measured too.
        setup, cautions = (*setup, _LEAD_OFF), (*cautions, "power_lead_loose")
        spoken, typed = f"{spoken}, power lead off the amplifier", f"{typed}, power lead off"
    return check.model_copy(
        update={
            "do": check.do.model_copy(update={"setup": (*setup, _SECOND_OFF)}),
            "cautions": cautions,
            "spoken": f"{spoken}. {check.spoken}",
            "typed": f"{typed}. {check.typed}",
        }
    )


def _places(
    each: str | None, installation: Installation
) -> list[tuple[Position | None, Pair | None]]:
    if each == "position":
        return [(position, pair_of(position)) for position in positions_of(installation)]
    if each == "pair":
        return [(None, pair) for pair in pairs_of(installation)]
    return [(None, None)]


def _fill(text: str, position: Position | None, pair: Pair | None) -> str:
    words = {
        "{position}": (position or "").replace("_", " "),
        "{pair}": pair or "",
        "{POS}": position or "",
        "{PAIR}": pair or "",
    }
    for slot, word in words.items():
        text = text.replace(slot, word)
    if position:
        text = text.replace("speaker.POS.", f"speaker.{position}.").removesuffix(".POS") + (
            f".{position}" if text.endswith(".POS") else ""
        )
    if pair:
        text = text.replace("signal.PAIR.", f"signal.{pair}.").removesuffix(".PAIR") + (
            f".{pair}" if text.endswith(".PAIR") else ""
        )
    return text


def _make_check(
    entry: CheckEntry, position: Position | None, pair: Pair | None, others: Sequence[Position]
) -> Check:
    def fill(text: str) -> str:
        return _fill(text, position, pair)

    do = entry.do
    setup = [
        step.replace(_OTHERS, other)
        for step in do.setup
        for other in (others if _OTHERS in step else [""])
    ]
    return Check(
        id=fill(entry.id),
        do=Do(
            quantity=do.quantity,
            red=fill(do.red),
            black=None if do.black is None else fill(do.black),
            vehicle=do.vehicle,
            audio=do.audio,
            setup=tuple(fill(step) for step in setup),
        ),
        minutes=entry.minutes,
        place=entry.place,
        people=entry.people,
        cautions=entry.cautions,
        clears=entry.clears,
        grammar=entry.grammar,
        spoken=fill(entry.spoken),
        typed=fill(entry.typed),
        name=fill(entry.name),
        position=position,
        pair=pair,
    )


def _read(name: str) -> Any:
    return yaml.safe_load(files("assistant.knowledge.data").joinpath(name).read_text("utf-8"))


def _validated(name: str, shape: Any) -> Any:
    try:
        return TypeAdapter(shape).validate_python(_read(name))
    except ValidationError as error:
        raise MisuseError(
            f"The data file {name} is not valid: {model_error(error)}.",
            next_step="Mend the file; `probetell selfcheck` reads it again.",
        ) from error


@cache
def load() -> Knowledge:
    """Read the package's data files; raise ``MisuseError`` when one is not valid."""
    cautions = _validated("cautions.yaml", list[Caution])
    return Knowledge(
        check_entries=tuple(_validated("checks.yaml", list[CheckEntry])),
        fault_entries=tuple(_validated("faults.yaml", list[FaultEntry])),
        repair_entries=tuple(_validated("repairs.yaml", list[RepairEntry])),
        cautions={caution.id: caution for caution in cautions},
        labour=_validated("labour.yaml", Labour),
        spreads=_validated("spreads.yaml", Spreads),
    )
