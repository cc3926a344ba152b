"""``probetell hear``: what is said in sound files."""

from __future__ import annotations

import json
import sys
from typing import TYPE_CHECKING, cast, get_args

from assistant.errors import GivenError
from assistant.readings.readback import read_back_typed
from assistant.readings.reading import Quantity

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from assistant.settings import Settings
    from assistant.speech.hearing import HeardFile

__all__ = ["run_hear"]


def _quantity(expect: str | None) -> Quantity | None:
    if expect is not None and expect not in get_args(Quantity):
        raise GivenError(
            f"The quantity {expect!r} is not known.",
            next_step=f"Use one of {', '.join(get_args(Quantity))}.",
        )
    return cast("Quantity | None", expect)


def _in_words(heard: HeardFile) -> str:
    """Give the reading or the command of a file, or what it may have been."""
    if heard.reading is not None:
        return read_back_typed(heard.reading)
    if heard.command is not None:
        return f"command: {heard.command}"
    readings = dict.fromkeys(
        read_back_typed(c.reading) for c in heard.candidates if c.reading is not None
    )
    return " or ".join(readings) + "?" if readings else "no reading"


def run_hear(
    settings: Settings, *, files: Sequence[Path], expect: str | None, as_json: bool
) -> int:
    """Print what is heard in each file; give 2 when one of them could not be heard."""
    quantity = _quantity(expect)
    from assistant.speech.ear import open_ear
    from assistant.speech.hearing import FailedFile, hear_files

    failed = False
    for heard in hear_files(files, expect=quantity, ear=open_ear(settings)):
        if isinstance(heard, FailedFile):
            failed = True
            print(f"probetell: {heard.error}", file=sys.stderr)
        elif as_json:
            print(json.dumps(heard.to_json()), flush=True)
        else:
            print(f"{heard.file}: {heard.text or '(nothing)'} -> {_in_words(heard)}", flush=True)
    return 2 if failed else 0
