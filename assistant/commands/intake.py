"""The questions at the start of a case at the keyboard; Enter skips each."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, TypeAlias

from pydantic import ValidationError

from assistant.knowledge.complaint_words import SYMPTOMS, WHEN
from assistant.knowledge.schema import (
    POSITIONS,
    Complaint,
    Installation,
    model_error,
)

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

__all__ = ["SYMPTOMS", "WHEN", "ask_complaint", "ask_installation"]

Ask: TypeAlias = Callable[[str], str]
Tell: TypeAlias = Callable[[str], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Question:
    """One question about the installation; ``path`` is where its answer goes."""

    path: tuple[str, ...]
    ask: str
    read: Callable[[str], Any]


def _number(text: str) -> float:
    return float(text.replace(",", ".").split()[0])


def _yes(text: str) -> bool:
    if text.lower() in {"y", "yes"}:
        return True
    if text.lower() in {"n", "no"}:
        return False
    raise ValueError("answer y or n")


def _second_battery(text: str) -> dict[str, str] | None:
    """Read whether there is a second battery, and how it is joined where that is told."""
    answers: dict[str, dict[str, str] | None] = {
        "no": None,
        "n": None,
        "yes": {},
        "y": {},
        "direct": {"joined": "direct"},
        "relay": {"joined": "charge_relay"},
    }
    if text.lower() not in answers:
        raise ValueError("answer no, direct, relay or yes")
    return answers[text.lower()]


def _speakers(text: str) -> dict[str, Any]:
    """Read ``front_left 4, sub 2``: positions, each with its nominal ohms if known."""
    found: dict[str, Any] = {}
    for part in text.split(","):
        name, *ohms = part.split()
        if name not in POSITIONS:
            raise ValueError(f"{name!r} is none of {', '.join(POSITIONS)}")
        found[name] = {"nominal_ohms": _number(ohms[0])} if ohms else {}
    return found


_QUESTIONS: Final = (
    _Question(path=("amplifier", "channels"), ask="Channels of the amplifier", read=int),
    _Question(
        path=("amplifier", "watts_per_channel"), ask="Watts for each channel", read=_number
    ),
    _Question(path=("amplifier", "class"), ask="Class of the amplifier (D, AB)", read=str),
    _Question(
        path=("amplifier", "minimum_ohms"), ask="Lowest load it allows, in ohms", read=_number
    ),
    _Question(
        path=("amplifier", "latches"),
        ask="Does it stay in protection until it is turned off and on? (y/n)",
        read=_yes,
    ),
    _Question(
        path=("speakers",),
        ask="Speakers with their ohms, as in: front_left 4, front_right 4, sub 2",
        read=_speakers,
    ),
    _Question(
        path=("source", "kind"),
        ask="Source (line_level, factory_with_converter, speaker_level, processor)",
        read=str,
    ),
    _Question(
        path=("supply", "main_fuse", "amps"), ask="Main fuse, in amperes", read=_number
    ),
    _Question(
        path=("supply", "wire", "gauge"), ask="Power wire (as 4 AWG or 16 mm2)", read=str
    ),
    _Question(
        path=("supply", "wire", "length_m"), ask="Length of the power wire, in metres",
        read=_number,
    ),
    _Question(
        path=("supply", "second_battery"),
        ask="Second battery at the amplifier, joined to the first (no, direct, relay, yes)",
        read=_second_battery,
    ),
)  # fmt: skip


def _put(tree: dict[str, Any], path: Sequence[str], value: Any) -> dict[str, Any]:
    """Give ``tree`` with ``value`` at ``path``; ``tree`` stays as it is."""
    first, *rest = path
    inner = _put(tree.get(first, {}), rest, value) if rest else value
    return {**tree, first: inner}


def ask_installation(ask: Ask, tell: Tell) -> Installation:
    """Ask about the installation; an answer that cannot be used is asked again."""
    given: dict[str, Any] = {}
    for question in _QUESTIONS:
        while text := ask(question.ask).strip():
            try:
                tried = _put(given, question.path, question.read(text))
                Installation.model_validate(tried)
            except ValidationError as error:
                tell(f"That cannot be used: {model_error(error)}.")
            except (ValueError, IndexError) as error:
                tell(f"That cannot be used: {error}.")
            else:
                given = tried
                break
    return Installation.model_validate(given)


def _choose(
    ask: Ask, tell: Tell, title: str, choices: Mapping[str, str], *, many: bool
) -> list[str]:
    tell(f"{title}:")
    names = list(choices)
    for number, name in enumerate(names, start=1):
        tell(f"  {number}  {choices[name]}")
    while True:
        parts = ask("Numbers, with commas" if many else "Number").replace(",", " ").split()
        picked = [_named(part, names) for part in parts]
        if None in picked or (len(picked) > 1 and not many):
            tell("Give the number in front of the line, or press Enter.")
            continue
        return [name for name in picked if name is not None]


def _named(part: str, names: Sequence[str]) -> str | None:
    if part in names:
        return part
    return names[int(part) - 1] if part.isdecimal() and 0 < int(part) <= len(names) else None


def ask_complaint(ask: Ask, tell: Tell) -> Complaint:
    """Ask what the customer says; a skipped symptom counts as protection, the commonest."""
    symptom = _choose(ask, tell, "What is wrong", SYMPTOMS, many=False)
    when = _choose(ask, tell, "When does it come", WHEN, many=True)
    places: dict[str, str] = {name: name.replace("_", " ") for name in POSITIONS}
    where = _choose(ask, tell, "Where", places, many=True)
    return Complaint.model_validate(
        {
            "symptom": symptom[0] if symptom else "protects",
            "when": list(dict.fromkeys(when)),
            "where": list(dict.fromkeys(where)),
        }
    )
