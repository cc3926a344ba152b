"""The JSON objects of the machine interface: lines in to events, actions to objects out.

The contract fixes every key. Added to it: ``"key"`` on any line in (``MachineInterface``), and
``"expect":{"states":{...}}``, each answer with its probability, in the place of the range for
what is seen, heard or felt. Open line counts as 1e9 ohm in a range.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Final

from pydantic import ValidationError

from assistant.conversation.events import (
    CannotDo,
    Close,
    Exact,
    Opened,
    Repaired,
    Typed,
    Undo,
)
from assistant.errors import GivenError
from assistant.knowledge.schema import Complaint, Installation, model_error
from assistant.readings.reading import reading_from_json

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from assistant.conversation.events import Given
    from assistant.diagnosis.records import Belief, Expectation, NextCheck, Verdict

__all__ = [
    "LONGEST_LINE",
    "belief_object",
    "check_object",
    "event_of",
    "key_of",
    "object_of_line",
    "verdict_object",
]

LONGEST_LINE: Final = 1_000_000
"""Bytes; a longer line is refused unread."""
_LONGEST_TEXT: Final = 1000
_LONGEST_KEY: Final = 200


def _bad(message: str, next_step: str) -> GivenError:
    return GivenError(message, next_step=next_step)


# --- in ------------------------------------------------------------------------------------


def _no_constant(name: str) -> float:
    raise ValueError(f"{name} is not JSON")


def object_of_line(raw: bytes) -> Mapping[str, Any]:
    """Decode one line; raise ``GivenError`` when it is not one JSON object."""
    if len(raw) > LONGEST_LINE:
        raise _bad(f"The line is longer than {LONGEST_LINE} bytes.", "Send one JSON object a line.")
    try:
        decoded = json.loads(raw.decode("utf-8-sig"), parse_constant=_no_constant)
    except UnicodeDecodeError as error:
        raise _bad("The line is not UTF-8.", "Send UTF-8 text.") from error
    except RecursionError as error:
        raise _bad("The line is nested too deeply.", "Send one plain JSON object.") from error
    except ValueError as error:
        raise _bad(f"The line is not JSON: {error}.", "Send one JSON object a line.") from error
    if not isinstance(decoded, dict):
        raise _bad("The line is not a JSON object.", 'Send an object such as {"type":"undo"}.')
    return decoded


def _text(raw: Mapping[str, Any], field: str, *, needed: bool = True) -> str:
    value = raw.get(field)
    if value is None and not needed:
        return ""
    if not isinstance(value, str):
        raise _bad(f"{field!r} must be a string.", f'Send "{field}":"...".')
    if len(value) > _LONGEST_TEXT:
        raise _bad(f"{field!r} is longer than {_LONGEST_TEXT} characters.", "Send it shorter.")
    return value.encode("utf-8", "replace").decode("utf-8")


def _open(raw: Mapping[str, Any], seed: int) -> Opened:
    installation = raw.get("installation", {})
    complaint = raw.get("complaint")
    for field, value in (("installation", installation), ("complaint", complaint)):
        if not isinstance(value, dict):
            raise _bad(f"{field!r} must be a JSON object.", f'Send "{field}":{{...}}.')
    try:
        return Opened(
            installation=Installation.model_validate(installation),
            complaint=Complaint.model_validate(complaint),
            seed=seed,
            channel="machine",
        )
    except ValidationError as error:
        raise _bad(
            f"The case cannot be opened: {model_error(error)}.", "Correct the named values."
        ) from error


def _reading(raw: Mapping[str, Any], _seed: int) -> Exact:
    check = _text(raw, "check")
    try:
        return Exact(check=check, reading=reading_from_json(raw.get("reading")))
    except OverflowError as error:
        raise _bad("No meter shows a number like that.", "Send the display's number.") from error


def _repaired(raw: Mapping[str, Any], _seed: int) -> Repaired:
    if not isinstance(raw.get("fixed"), bool):
        raise _bad("'fixed' must be true or false.", 'Send "fixed":true or "fixed":false.')
    return Repaired(repair=_text(raw, "repair"), fixed=raw["fixed"])


_EVENTS: Final[Mapping[str, Callable[[Mapping[str, Any], int], Given]]] = {
    "open": _open,
    "reading": _reading,
    "cannot": lambda raw, _: CannotDo(
        check=_text(raw, "check"), why=_text(raw, "why", needed=False)
    ),
    "text": lambda raw, _: Typed(text=_text(raw, "text")),
    "undo": lambda _raw, _seed: Undo(),
    "repaired": _repaired,
    "close": lambda _raw, _seed: Close(),
}


def event_of(raw: Mapping[str, Any], seed: int) -> Given:
    """Build the event of a decoded line; raise ``GivenError`` saying what is wrong with it."""
    kind = raw.get("type")
    if not isinstance(kind, str) or kind not in _EVENTS:
        raise _bad(f"The type {kind!r} is not known.", f"Use one of {', '.join(_EVENTS)}.")
    return _EVENTS[kind](raw, seed)


def key_of(raw: Mapping[str, Any]) -> str | None:
    """Give the sender's own mark of a line, None where it has none."""
    if raw.get("key") is None:
        return None
    key = _text(raw, "key")
    if not 0 < len(key) <= _LONGEST_KEY:
        raise _bad(f"'key' must have 1 to {_LONGEST_KEY} characters.", "Send a shorter one.")
    return key


# --- out -----------------------------------------------------------------------------------


def _ranked(pairs: tuple[tuple[str, float], ...]) -> list[dict[str, Any]]:
    return [{"id": name, "probability": p} for name, p in pairs]


def belief_object(belief: Belief) -> dict[str, Any]:
    """Give the ``belief`` object."""
    return {
        "type": "belief",
        "repairs": _ranked(belief.repairs),
        "faults": _ranked(belief.faults),
    }


def _expect_object(expect: Expectation) -> dict[str, Any]:
    if expect.low is not None and expect.high is not None and expect.unit is not None:
        return {"low": expect.low, "high": expect.high, "unit": expect.unit}
    if expect.range_with_open is not None:
        low, high = expect.range_with_open
        return {"low": low, "high": high, "unit": "ohm"}
    return {"states": dict(expect.states)}


def check_object(step: NextCheck, say: str, cautions: tuple[str, ...]) -> dict[str, Any]:
    """Give the ``check`` object; ``black`` is left out where no probe is used."""
    do = step.check.do
    probes = {"red": do.red} if do.black is None else {"red": do.red, "black": do.black}
    return {
        "type": "check",
        "id": step.check.id,
        "say": say,
        "cautions": list(cautions),
        "minutes": step.minutes,
        "bits": step.bits,
        "do": {
            "quantity": do.quantity,
            **probes,
            "vehicle": do.vehicle,
            "audio": do.audio,
            "setup": list(do.setup),
        },
        "expect": _expect_object(step.expect),
    }


def verdict_object(verdict: Verdict) -> dict[str, Any]:
    """Give the ``verdict`` object; one that does not hold yet says what would make it surer."""
    surer = [verdict.surer] if verdict.surer and not verdict.holds else []
    return {
        "type": "verdict",
        "repair": verdict.repair,
        "probability": verdict.probability,
        "faults": _ranked(verdict.faults),
        "order": [
            {"repair": o.repair, "probability": o.probability, "minutes": o.minutes}
            for o in verdict.order
        ],
        "evidence": [*verdict.evidence, *surer],
        "reply": verdict.reply,
    }
