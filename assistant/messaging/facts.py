"""What a text tells of a car and its trouble: symptom, when, where, parts. Data: intake.yaml."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING, Annotated, Any, Final

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from assistant.knowledge.schema import Position, Symptom
from assistant.messaging.datafile import read_data
from assistant.messaging.memory import When
from assistant.messaging.texts import spoken_words

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = [
    "Facts",
    "IntakeFile",
    "facts_of",
    "load_intake",
    "named_places",
    "says_nothing",
    "without_places",
]

_MOST: Final = 400
"""Characters of a text that are looked at; what is wrong stands in front."""


def _pattern(text: str) -> str:
    re.compile(text)
    return text


_Words = Annotated[str, Field(min_length=1)]
_Pattern = Annotated[str, AfterValidator(_pattern)]


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class _Starting(_Frozen):
    words: _Pattern
    times: tuple[When, ...]


class _Place(_Frozen):
    words: _Pattern
    positions: tuple[Position, ...]


class _Meter(_Frozen):
    none: _Pattern
    there: _Pattern


class _SecondBattery(_Frozen):
    there: _Pattern
    two: _Pattern
    hood: _Pattern
    none: _Pattern
    places: Mapping[str, _Pattern]
    charge_relay: _Pattern
    direct: _Pattern


class IntakeFile(_Frozen):
    """The content of ``intake.yaml``; the patterns are looked for as whole words."""

    symptoms: Mapping[Symptom, tuple[_Pattern, ...]]
    starting: _Starting
    times: Mapping[When, tuple[_Pattern, ...]]
    places: tuple[_Place, ...]
    symptom_choices: Mapping[Symptom, _Words]
    when_choices: Mapping[When, _Words]
    sources: Mapping[str, _Pattern]
    source_choices: Mapping[str, _Words]
    second_battery: _SecondBattery
    meter: _Meter
    unknown: tuple[str, ...]


@cache
def load_intake() -> IntakeFile:
    """Read and validate the package's phrases for troubles."""
    return read_data("intake.yaml", IntakeFile)


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """What was found in one text; ``installation`` is in the form of the machine interface."""

    symptom: Symptom | None = None
    when: tuple[When, ...] = ()
    when_open: tuple[When, ...] = ()
    where: tuple[Position, ...] = ()
    meter: bool | None = None
    installation: Mapping[str, Any] = field(default_factory=dict)

    def __bool__(self) -> bool:
        return bool(
            self.symptom
            or self.when
            or self.when_open
            or self.where
            or self.meter is not None
            or self.installation
        )


@cache
def _whole(pattern: str) -> re.Pattern[str]:
    return re.compile(rf"(?<!\w)(?:{pattern})(?!\w)")


def says_nothing(text: str) -> bool:
    """Tell whether a whole text says that the answer is not known, or is to be left out."""
    said = spoken_words(text)
    return said in {spoken_words(word) for word in load_intake().unknown}


def facts_of(text: str) -> Facts:
    """Find what ``text`` tells; never raises."""
    said = spoken_words(text[:_MOST])
    data = load_intake()
    symptom = next(
        (
            s
            for s, patterns in data.symptoms.items()
            if any(_whole(p).search(said) for p in patterns)
        ),
        None,
    )
    when = tuple(
        w for w, patterns in data.times.items() if any(_whole(p).search(said) for p in patterns)
    )
    starts = bool(_whole(data.starting.words).search(said)) and not set(when) & set(
        data.starting.times
    )
    where, _ = _places(said)
    return Facts(
        symptom=symptom,
        when=when,
        when_open=data.starting.times if starts else (),
        where=where,
        meter=_meter(said),
        installation=_installation(text[:_MOST], said),
    )


def _meter(said: str) -> bool | None:
    data = load_intake().meter
    if _whole(data.none).search(said):
        return False
    return True if _whole(data.there).search(said) else None


def _places(said: str) -> tuple[tuple[Position, ...], str]:
    """Give the positions that ``said`` names, and what is left without their names."""
    found: list[Position] = []
    for place in load_intake().places:
        said, count = _whole(place.words).subn(" ", said)
        if count:
            found.extend(place.positions)
    return tuple(dict.fromkeys(found)), said


# --- the parts -----------------------------------------------------------------------------

_COUNTS: Final = {"one": 1, "mono": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6}
_CHANNELS: Final = re.compile(
    r"(?<![\w.,])(\d{1,2}|one|mono|two|three|four|five|six)[ -]*"
    r"(?:ch|chan|chans|chann?[ae]ls?|channles?)(?!\w)"
)
_MONO: Final = re.compile(r"(?<!\w)mono[ -]?(?:block|amp|amplifier)(?!\w)")
_NUMBER: Final = r"(\d{1,4}(?:[.,]\d{1,2})?)"
_OHMS: Final = re.compile(rf"(?<![\w.,]){_NUMBER}[ -]*(?:ohms?|\u03a9|\u03c9|\u2126)(?!\w)")
_PARTS: Final = re.compile(r"([,;.]\s|\n|,|;| and | plus |&|\+)")
_WATTS: Final = re.compile(
    rf"(?<![\w.,]){_NUMBER} ?(?:w|watts?)(?: rms)? ?(?:x ?\d|per channel|a channel|each)(?!\w)"
)
_CLASS: Final = re.compile(r"(?<!\w)class[ -]?(ab|a/b|d|h|g|a|b)(?!\w)")
_FUSE: Final = re.compile(
    r"(?<![\w.,])(\d{1,3})[ -]*(?:a|amps?|amperes?)?[ -]*(anl|maxi|midi|mega|agu|blade)?"
    r"(?: main| inline)?[ -]*fuse(?!\w)"
    r"|(?<!\w)fuse(?: is| of|:)?(?: a| an)? (\d{1,3})(?: ?(?:a|amps?|amperes?))?(?![\w.,])"
    r"|(?<![\w.,])(\d{2,3}) ?(?:amps|amp|a)(?: (anl|maxi|midi|mega|agu|blade))?(?!\w)(?! ?fuse)"
)
_GAUGE: Final = re.compile(
    r"(?<![\w.,/])([1-4]/0|0{1,4}|\d{1,2})[ -]*(?:awg|gauge|ga|g)(?!\w)"
    r"|(?<![\w.,/])(\d{1,3}(?:[.,]\d)?) ?(?:mm2|mm\u00b2|sq ?mm|mm\^2|square ?mm)(?!\w)"
)
_FEET: Final = re.compile(rf"(?<![\w.,]){_NUMBER} ?(?:feet|foot|ft)(?!\w)")
_METERS: Final = re.compile(rf"(?<![\w.,]){_NUMBER} ?(?:m|meters?|metres?)(?!\w)")
_CLAD: Final = re.compile(r"(?<!\w)(?:cca|copper clad|clad)(?!\w)")
_COPPER: Final = re.compile(r"(?<!\w)(?:ofc|copper)(?!\w)")
_FOOT_M: Final = 0.3048


def _float(text: str) -> float:
    return float(text.replace(",", "."))


def _installation(text: str, said: str) -> dict[str, Any]:
    """Give what the text tells of the parts; numbers out of range are left to the schema."""
    low = re.sub(r"\s+", " ", text.casefold())
    found: dict[str, Any] = {}
    amplifier = _amplifier(low)
    if amplifier:
        found["amplifier"] = amplifier
    if speakers := _speakers(low):
        found["speakers"] = speakers
    for kind, pattern in load_intake().sources.items():
        if _whole(pattern).search(said):
            found["source"] = {"kind": kind}
            break
    supply = _supply(low)
    if (second := _second_battery(said)) is not None:
        supply["second_battery"] = second
    if supply:
        found["supply"] = supply
    return found


def _amplifier(low: str) -> dict[str, Any]:
    amplifier: dict[str, Any] = {}
    if hit := _CHANNELS.search(low):
        amplifier["channels"] = _COUNTS.get(hit[1]) or int(hit[1])
    elif _MONO.search(low):
        amplifier["channels"] = 1
    if hit := _WATTS.search(low):
        amplifier["watts_per_channel"] = _float(hit[1])
    if hit := _CLASS.search(low):
        amplifier["class"] = hit[1].replace("/", "").upper()
    return amplifier


def _speakers(low: str) -> dict[str, Any]:
    """Give speakers with their ohms; those named without a place stand under ``all``.

    "Front and rear 4 ohm" and "4 ohm front and rear" are told of both; in "4 ohm front and a
    sub" the subwoofer's ohms stay unknown.
    """
    if not _OHMS.search(low):
        return {}
    found: dict[str, Any] = {}
    waiting: list[Position] = []
    last: float | None = None
    pieces = _PARTS.split(low)
    parts = zip(["", *pieces[1::2]], pieces[0::2], strict=True)
    for link, part in ((link, one) for link, some in parts for one in _single(some)):
        ohms = _OHMS.findall(part)
        places, _ = _places(spoken_words(part))
        if len(ohms) == 1:
            last = _float(ohms[0])
            for place in (*waiting, *places) or ("all",):
                found[place] = {"nominal_ohms": last}
            waiting = []
        elif places and last is not None and link.strip(" ,") and not _is_sub(places):
            found.update({place: {"nominal_ohms": last} for place in places})
        elif places and last is None:
            waiting.extend(places)
        else:
            found.update({place: {} for place in places if place not in found})
    return found


def _single(part: str) -> list[str]:
    """Cut "sub 2 ohm fronts 4 ohm" or "2 ohm sub 4 ohm fronts" so that each piece has one of them.

    What stands in front, the place or the ohms, tells which of them ends a piece.
    """
    hits = list(_OHMS.finditer(part))
    if len(hits) < 2:
        return [part]
    place_first = bool(_places(spoken_words(part[: hits[0].start()]))[0])
    cuts = [h.end() for h in hits[:-1]] if place_first else [h.start() for h in hits[1:]]
    return [part[a:b] for a, b in zip([0, *cuts], [*cuts, len(part)], strict=True)]


def _is_sub(places: Sequence[Position]) -> bool:
    return any(place.startswith("sub") for place in places)


def _supply(low: str) -> dict[str, Any]:
    supply: dict[str, Any] = {}
    if hit := _FUSE.search(low):
        amps = next(g for g in (hit[1], hit[3], hit[4]) if g)
        kind = hit[2] or hit[5]
        supply["main_fuse"] = {"amps": float(amps), **({"kind": kind} if kind else {})}
    wire: dict[str, Any] = {}
    if hit := _GAUGE.search(low):
        wire["gauge"] = f"{hit[1]} AWG" if hit[1] else f"{hit[2].replace(',', '.')} mm2"
        if length := _FEET.search(low):
            wire["length_m"] = round(_float(length[1]) * _FOOT_M, 2)
        elif length := _METERS.search(low):
            wire["length_m"] = _float(length[1])
        if _CLAD.search(low):
            wire["material"] = "copper_clad_aluminum"
        elif _COPPER.search(low):
            wire["material"] = "copper"
    if wire:
        supply["wire"] = wire
    return supply


def _second_battery(said: str) -> dict[str, Any] | None:
    """Give what is told of a second battery, None where none is spoken of or it is denied."""
    data = load_intake().second_battery

    def tells(pattern: str) -> bool:
        return bool(_whole(pattern).search(said))

    if tells(data.none) or tells(data.hood):
        return None
    second: dict[str, Any] = {}
    for place, pattern in data.places.items():
        if tells(pattern):
            second["place"] = place
            break
    relay, direct = tells(data.charge_relay), tells(data.direct)
    if not tells(data.there) and not (tells(data.two) and (second or relay)):
        return None
    if direct:
        second["joined"] = "direct"
    elif relay:
        second["joined"] = "charge_relay"
    return second


def without_places(text: str) -> str:
    """Give ``text`` in small letters without the names of speaker positions."""
    rest = text.casefold().replace("'", "")
    for place in load_intake().places:
        rest = _whole(place.words).sub(" ", rest)
    return " ".join(rest.split())


def named_places(text: str) -> Sequence[Position]:
    """Give the speaker positions that a text names."""
    return _places(spoken_words(text))[0]
