"""A queue in front of SQLite's write lock, for all threads and processes on one machine.

SQLite lets those who wait for its lock sleep and try again, up to 100 ms at a time, so that a few
writers at once wait for hundreds of times as long as a write takes. Here they are woken when it
is their turn. SQLite's own lock still decides: where there is no gate (Windows, a file system
without locks) everything works as before, only less evenly.
"""

from __future__ import annotations

import os
import threading
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from pathlib import Path
    from types import TracebackType

try:
    import fcntl
except ImportError:  # Windows
    fcntl = None  # type: ignore[assignment]

__all__ = ["Gate"]


class Gate:
    """Lets one in at a time; ``path`` is a file of no content beside the database."""

    def __init__(self, path: Path | None) -> None:
        self._threads: Final = threading.Lock()
        self._file: int | None = None
        if fcntl is not None and path is not None:
            try:
                self._file = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
            except OSError:  # whoever may not write there may not write to the database either
                self._file = None

    def __enter__(self) -> None:
        self._threads.acquire()
        if self._file is None:
            return
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX)
        except OSError:  # a file system without locks
            os.close(self._file)
            self._file = None
        except BaseException:
            self._threads.release()
            raise

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._file is not None:
            fcntl.flock(self._file, fcntl.LOCK_UN)
        self._threads.release()

    def close(self) -> None:
        """Give the file back; the gate still lets one thread in at a time."""
        with self._threads:
            if self._file is not None:
                os.close(self._file)
                self._file = None
