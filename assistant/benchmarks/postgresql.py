"""A PostgreSQL server of one's own, from the system's packages, in a given directory.

For the benchmark and the tests: on a Unix socket only, and as an ordinary user, since it refuses
to run as root.
"""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import time
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from sqlalchemy import create_engine
from sqlalchemy.exc import OperationalError

from assistant.errors import GivenError, MisuseError

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["own_postgresql", "server_url"]

_LOOKS: Final = 600
_PAUSE: Final = 0.05
_STOP_SECONDS: Final = 30.0
_SETTINGS: Final = ("listen_addresses=", "max_connections=100")
_IN_HASTE: Final = ("fsync=off", "shared_buffers=32MB")


def _program(name: str) -> str:
    """Find a program of PostgreSQL: in PATH, or where Debian keeps each version's own."""
    kept = Path("/usr/lib/postgresql").glob(f"*/bin/{name}")
    newest = max(kept, key=lambda p: float(p.parts[4]), default=None)
    found = shutil.which(name) or newest
    if found is None:
        raise GivenError(
            "PostgreSQL is not installed (Debian: apt install postgresql).",
            next_step="Install it, or do without.",
        )
    return str(found)


def _as_ordinary_user(directory: Path) -> dict[str, Any]:
    """Give what starts a process in ``directory`` as an ordinary user, who gets to own it."""
    if os.geteuid() != 0:
        return {"cwd": directory}
    import pwd  # noqa: PLC0415 - Unix only

    for name in ("postgres", "nobody"):
        try:
            user = pwd.getpwnam(name)
        except KeyError:
            continue
        os.chown(directory, user.pw_uid, user.pw_gid)
        return {"cwd": directory, "user": user.pw_uid, "group": user.pw_gid, "extra_groups": []}
    raise GivenError(
        "PostgreSQL does not run as root, and there is no user to run it as.",
        next_step="Run this as an ordinary user.",
    )


def server_url(directory: Path, database: str = "postgres") -> str:
    """Give the URL of a database of the server in ``directory``."""
    return f"postgresql+psycopg://probetell@/{database}?host={directory}"


@contextmanager
def own_postgresql(directory: Path, *, durable: bool = True) -> Iterator[str]:
    """Run a server in an empty directory; give the URL of its first database.

    It commits to the disk as servers do by default, unless ``durable`` is False. Raises
    ``GivenError`` where no server can be run, ``MisuseError`` where it does not start.
    """
    initdb, postgres = _program("initdb"), _program("postgres")
    as_user = _as_ordinary_user(directory)
    data, log = directory / "data", directory / "log"
    made = subprocess.run(  # noqa: S603 - the system's own program
        [initdb, "-D", data, "-U", "probetell", "-A", "trust", "-E", "UTF8", "--locale=C",
         *([] if durable else ["-N"])],
        capture_output=True, text=True, check=False, **as_user,
    )  # fmt: skip
    if made.returncode:
        raise MisuseError(made.stdout + made.stderr, next_step="Look at what initdb says.")
    settings = _SETTINGS if durable else (*_SETTINGS, *_IN_HASTE)
    options = [part for setting in settings for part in ("-c", setting)]
    with log.open("wb") as output:
        server = subprocess.Popen(  # noqa: S603 - the system's own program
            [postgres, "-D", data, "-k", directory, *options],
            stdout=output, stderr=subprocess.STDOUT, **as_user,
        )  # fmt: skip
    try:
        _await(server, server_url(directory), log)
        yield server_url(directory)
    finally:
        server.send_signal(signal.SIGINT)  # ends its sessions and stops
        server.wait(timeout=_STOP_SECONDS)


def _await(server: subprocess.Popen[bytes], url: str, log: Path) -> None:
    engine = create_engine(url)
    for _ in range(_LOOKS):
        if server.poll() is not None:
            break
        try:
            engine.connect().close()
        except OperationalError:
            time.sleep(_PAUSE)
        else:
            engine.dispose()
            return
    raise MisuseError(log.read_text(errors="replace"), next_step="Read the server's log above.")
