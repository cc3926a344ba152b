"""A PostgreSQL server of the benchmark's own, from the system's packages, in a given directory.

It commits to the disk as a server does by default, so that its figures are those of real use.
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

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["own_postgresql"]

_PATIENCE: Final = 30.0


def _program(name: str) -> str | None:
    kept = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"))
    return shutil.which(name) or (str(kept[-1]) if kept else None)


def _as_ordinary_user(directory: Path) -> dict[str, Any] | None:
    """Give what starts a process as an ordinary user: the server refuses to run as root."""
    if os.geteuid() != 0:
        return {}
    import pwd  # noqa: PLC0415 - Unix only

    for name in ("postgres", "nobody"):
        try:
            user = pwd.getpwnam(name)
        except KeyError:
            continue
        os.chown(directory, user.pw_uid, user.pw_gid)
        return {"user": user.pw_uid, "group": user.pw_gid, "extra_groups": []}
    return None


@contextmanager
def own_postgresql(directory: Path) -> Iterator[str | None]:
    """Run a server in an empty directory; give its URL, None where it cannot be run."""
    initdb, postgres = _program("initdb"), _program("postgres")
    as_user = _as_ordinary_user(directory)
    if initdb is None or postgres is None or as_user is None:
        yield None
        return
    data = directory / "data"
    subprocess.run(  # noqa: S603 - the system's own program
        [initdb, "-D", data, "-U", "probetell", "-A", "trust", "-E", "UTF8", "--locale=C"],
        cwd=directory, stdout=subprocess.DEVNULL, check=True, **as_user,
    )  # fmt: skip
    options = ["-c", "listen_addresses=", "-c", "max_connections=100", "-k", str(directory)]
    with (directory / "log").open("ab") as log:
        server = subprocess.Popen(  # noqa: S603 - the system's own program
            [postgres, "-D", str(data), *options],
            cwd=directory, stdout=log, stderr=log, **as_user,
        )  # fmt: skip
    try:
        end = time.monotonic() + _PATIENCE
        while not (directory / ".s.PGSQL.5432").exists() and time.monotonic() < end:
            time.sleep(0.1)
        time.sleep(1.0)
        yield f"postgresql+psycopg://probetell@/postgres?host={directory}"
    finally:
        server.send_signal(signal.SIGINT)  # a fast stop
        server.wait(timeout=_PATIENCE)
