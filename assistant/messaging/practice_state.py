"""Where a running practice service can be reached: a file for the same user's other commands."""

from __future__ import annotations

import json
import os
from typing import TYPE_CHECKING, Final

from assistant.errors import GivenError

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["forget_state", "read_state", "write_state"]

_FILE: Final = "practice.json"
_PRIVATE: Final = 0o600


def write_state(directory: Path, *, url: str, secret: str) -> None:
    """Write down where the service is; readable by this user only."""
    draft = directory / f"{_FILE}.new"
    draft.unlink(missing_ok=True)
    descriptor = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, _PRIVATE)
    with os.fdopen(descriptor, "w", encoding="utf-8") as file:
        json.dump({"url": url, "secret": secret}, file)
    draft.replace(directory / _FILE)


def read_state(directory: Path) -> tuple[str, str]:
    """Give address and secret of the service; raise ``GivenError`` when none was started."""
    try:
        raw = json.loads((directory / _FILE).read_text(encoding="utf-8"))
        return str(raw["url"]), str(raw["secret"])
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise GivenError(
            "No practice service is running.",
            next_step="Start one in another window: probetell serve --practice.",
        ) from error


def forget_state(directory: Path) -> None:
    """Take the note away when the service ends."""
    (directory / _FILE).unlink(missing_ok=True)
