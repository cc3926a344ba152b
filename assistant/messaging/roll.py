"""The names of the workers of this machine, in a file that outlives the service.

After a power cut the next service reads who held claims, and frees them before they run out.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["WorkerRoll"]


class WorkerRoll:
    """A set of names in a JSON file; a file that cannot be read or written counts as empty."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._names: set[str] = set(self.read())

    def read(self) -> list[str]:
        """Give the names as the file has them."""
        try:
            raw = json.loads(self._path.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return []
        return [str(name) for name in raw] if isinstance(raw, list) else []

    def add(self, name: str) -> None:
        """Put a name on the roll."""
        self._names.add(name)
        self._write()

    def remove(self, name: str) -> None:
        """Take a name off the roll."""
        self._names.discard(name)
        self._write()

    def _write(self) -> None:
        beside = self._path.with_suffix(".new")
        try:
            beside.write_text(json.dumps(sorted(self._names)), encoding="utf-8")
            beside.replace(self._path)
        except OSError:
            return  # the claims then run out by themselves
