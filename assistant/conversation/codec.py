"""Events to JSON objects and back, readable in the casebook by a person.

``{"event":"exact","check":"...","reading":{"value":12.6,"unit":"V"}}`` and so on: ``event`` names
the kind, the other keys are the event's fields in the forms that the machine interface uses.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final, get_args

from pydantic import ValidationError

from assistant.conversation.events import (
    Acknowledged,
    Alternative,
    Asked,
    CannotDo,
    Channel,
    Close,
    Command,
    Exact,
    Given,
    Heard,
    Opened,
    Repaired,
    Silence,
    Typed,
    Undo,
)
from assistant.errors import GivenError
from assistant.knowledge.schema import Complaint, Installation, model_error
from assistant.readings.reading import reading_from_json, reading_to_json

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

__all__ = ["event_from_json", "event_to_json"]


def _write_opened(event: Opened) -> dict[str, Any]:
    installation = event.installation.model_dump(mode="json", by_alias=True, exclude_unset=True)
    complaint = event.complaint.model_dump(mode="json")
    return {
        "installation": installation,
        "complaint": complaint,
        "seed": event.seed,
        "channel": event.channel,
        "worlds": event.worlds,
    }


_WRITERS: Final[Mapping[type, tuple[str, Callable[[Any], dict[str, Any]]]]] = {
    Opened: ("opened", _write_opened),
    Heard: (
        "heard",
        lambda e: {"alternatives": [{"text": a.text, "weight": a.weight} for a in e.alternatives]},
    ),
    Typed: ("typed", lambda e: {"text": e.text}),
    Exact: ("exact", lambda e: {"check": e.check, "reading": reading_to_json(e.reading)}),
    CannotDo: ("cannot", lambda e: {"check": e.check, "why": e.why}),
    Undo: ("undo", lambda _: {}),
    Repaired: ("repaired", lambda e: {"repair": e.repair, "fixed": e.fixed}),
    Acknowledged: ("acknowledged", lambda _: {}),
    Silence: ("silence", lambda _: {}),
    Close: ("close", lambda _: {}),
    Asked: ("asked", lambda e: {"command": e.command, "argument": e.argument}),
}


def event_to_json(event: Given) -> dict[str, Any]:
    """Give the JSON form of ``event``; ``event_from_json`` takes it back unchanged."""
    kind, fields = _WRITERS[type(event)]
    return {"event": kind, **fields(event)}


def _opened(raw: Mapping[str, Any]) -> Opened:
    channel = raw.get("channel", "typed")
    if channel not in get_args(Channel):
        raise ValueError(f"unknown channel {channel!r}")
    return Opened(
        installation=Installation.model_validate(raw["installation"]),
        complaint=Complaint.model_validate(raw["complaint"]),
        seed=int(raw.get("seed", 0)),
        channel=channel,
        worlds=None if raw.get("worlds") is None else int(raw["worlds"]),
    )


def _heard(raw: Mapping[str, Any]) -> Heard:
    phrases = raw["alternatives"]
    return Heard(
        alternatives=tuple(
            Alternative(text=str(p["text"]), weight=float(p["weight"])) for p in phrases
        )
    )


def _cannot(raw: Mapping[str, Any]) -> CannotDo:
    check = raw.get("check")
    return CannotDo(check=None if check is None else str(check), why=str(raw.get("why", "")))


def _asked(raw: Mapping[str, Any]) -> Asked:
    command = raw["command"]
    if command not in get_args(Command):
        raise ValueError(f"unknown command {command!r}")
    return Asked(command=command, argument=str(raw.get("argument", "")))


_READERS: Final[Mapping[str, Callable[[Mapping[str, Any]], Given]]] = {
    "opened": _opened,
    "heard": _heard,
    "typed": lambda raw: Typed(text=str(raw["text"])),
    "exact": lambda raw: Exact(check=str(raw["check"]), reading=reading_from_json(raw["reading"])),
    "cannot": _cannot,
    "undo": lambda _: Undo(),
    "repaired": lambda raw: Repaired(repair=str(raw["repair"]), fixed=bool(raw["fixed"])),
    "acknowledged": lambda _: Acknowledged(),
    "silence": lambda _: Silence(),
    "close": lambda _: Close(),
    "asked": _asked,
}


def event_from_json(raw: Mapping[str, Any]) -> Given:
    """Build an event from its JSON form; raise ``GivenError`` when it is none."""
    kind = str(raw.get("event"))
    if kind not in _READERS:
        raise _unreadable(f"unknown kind of event {kind!r}")
    try:
        return _READERS[kind](raw)
    except ValidationError as error:
        raise _unreadable(model_error(error)) from error
    except KeyError as error:
        raise _unreadable(f"{error} is missing") from error
    except (TypeError, ValueError) as error:
        raise _unreadable(str(error)) from error


def _unreadable(detail: str) -> GivenError:
    return GivenError(
        f"A stored event cannot be read: {detail}.",
        next_step="The casebook was changed by another program; restore it from a copy.",
    )
