"""Words of a lesson's report: what is known of the installation, turns, minutes side by side."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.reports.phrases import (
    number,
    percent,
    reading_words,
    second_battery_words,
    wire_words,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.knowledge.schema import Installation
    from assistant.lessons.run import Run, Told

__all__ = ["Moment", "Row", "installation_lines", "moment_of", "rows_of", "slip_words"]

_SLIPS = {
    "range": "the meter stood on another range",
    "sign": "red and black were swapped",
    "state": "the car was in another state than asked",
    "digit": "a digit was taken for another",
    "sense": "it was seen or heard wrongly",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """One turn in words. ``told`` is empty for what tells nothing by its nature."""

    kind: str
    start: str
    name: str
    reading: str
    told: str
    belief: str
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One minute of both runs, side by side."""

    minute: int
    trainee: tuple[Moment, ...]
    program: tuple[Moment, ...]


def installation_lines(installation: Installation) -> tuple[tuple[str, str], ...]:
    """Write the installation as it was told: (part, words), unknown parts left out."""
    amp, supply, source = installation.amplifier, installation.supply, installation.source
    power = f"{number(amp.watts_per_channel)} W a channel" if amp.watts_per_channel else ""
    channels = f"{amp.channels} channel{'s' if amp.channels != 1 else ''}" if amp.channels else ""
    kind = f"class {amp.amplifier_class}" if amp.amplifier_class else ""
    bridged = "bridged" if amp.bridged else ""
    least = f"at least {number(amp.minimum_ohms)} Ω" if amp.minimum_ohms else ""
    fuse = supply.main_fuse
    rating = f"{number(fuse.amps)} A" if fuse and fuse.amps else ""
    speakers = ", ".join(
        place.replace("_", " ") + (f" {number(about.nominal_ohms)} Ω" if about.nominal_ohms else "")
        for place, about in installation.speakers.items()
    )
    lines = (
        ("Amplifier", ", ".join(part for part in (channels, power, kind, bridged, least) if part)),
        ("Speakers", speakers),
        ("Source", (source.kind or "").replace("_", " ")),
        ("Power wire", wire_words(supply.wire) if supply.wire else ""),
        ("Ground wire", wire_words(supply.ground) if supply.ground else ""),
        ("Main fuse", f"{rating} {(fuse.kind if fuse else '') or ''}".strip()),
        ("Second battery", second_battery_words(supply.second_battery)),
        ("Air", "" if installation.ambient_c is None else f"{number(installation.ambient_c)} °C"),
    )
    return tuple((name, words) for name, words in lines if words)


def slip_words(slip: str) -> str:
    """Say what sort of mistake spoilt a reading."""
    return _SLIPS.get(slip, slip)


def moment_of(told: Told) -> Moment:
    """Put one turn in words."""
    turn = told.turn
    notes = []
    if turn.hinted:
        notes.append("after a hint")
    if turn.danger:
        notes.append("with the circuit still on")
    if turn.slip:
        notes.append(f"a slip: {slip_words(turn.slip)}")
    reading = told_words = ""
    if turn.kind == "check":
        reading = "" if turn.reading is None else reading_words(turn.reading)
        told_words = f"{told.bits:.2f} bits"
    elif turn.kind == "repair":
        reading = "it helped" if turn.mended else "it did not help"
    before, after = percent(told.before), percent(told.after)
    belief = after if before == after else f"{before} → {after}"
    name = turn.name[:1].upper() + turn.name[1:]
    return Moment(
        kind=turn.kind,
        start=f"{turn.start:.1f}",
        name=f"Repair: {name}" if turn.kind == "repair" else name,
        reading=reading,
        told=told_words,
        belief="" if turn.kind == "off" else belief,
        notes=tuple(notes),
    )


def _by_minute(run: Run) -> dict[int, list[Moment]]:
    found: dict[int, list[Moment]] = {}
    for told in run.told:
        found.setdefault(int(told.turn.start), []).append(moment_of(told))
    return found


def rows_of(trainee: Run, program: Run) -> Sequence[Row]:
    """Lay both runs side by side, one row for each minute in which either began something."""
    left, right = _by_minute(trainee), _by_minute(program)
    return [
        Row(
            minute=minute,
            trainee=tuple(left.get(minute, ())),
            program=tuple(right.get(minute, ())),
        )
        for minute in sorted({*left, *right})
    ]
