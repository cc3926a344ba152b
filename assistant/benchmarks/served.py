"""The service as a process of its own, to be driven and killed."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Final, Self

from assistant.benchmarks.loopback_carrier import ACCOUNT, SENDER, TOKEN
from assistant.errors import MisuseError

if TYPE_CHECKING:
    from typing import IO

    from assistant.benchmarks.loopback_carrier import LoopbackCarrier

__all__ = ["KEY", "ServedProcess", "proportional_mb", "resident_mb"]

KEY: Final = "a key for numbers that nobody has"
_PATIENCE: Final = 60.0


def _free_port() -> int:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        port: int = taken.getsockname()[1]
        return port


def resident_mb(pid: int) -> float:
    """Give the resident memory of a process in MB, 0 when it is gone (Linux)."""
    try:
        pages = int(Path(f"/proc/{pid}/statm").read_text(encoding="ascii").split()[1])
    except (OSError, IndexError):
        return 0.0
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def proportional_mb(pid: int) -> float:
    """Give a process's share of memory in MB: pages that others use too count in part (Linux)."""
    try:
        lines = Path(f"/proc/{pid}/smaps_rollup").read_text(encoding="ascii").splitlines()
    except OSError:
        return 0.0
    return sum(float(line.split()[1]) for line in lines if line.startswith("Pss:")) / 1e3


class ServedProcess:
    """``probetell serve`` over the directory ``home``, with ``carrier`` as its provider.

    As a context manager it is started, and stopped whatever happens.

    ``given`` are further settings by the names of their fields.
    """

    def __init__(
        self, home: Path, carrier: LoopbackCarrier, *, workers: int = 1, **given: object
    ) -> None:
        self.home = home
        self.port = _free_port()
        self.url = f"http://127.0.0.1:{self.port}"
        carrier.service_url = self.url
        fields = {
            "home": home,
            "sms_account": ACCOUNT,
            "sms_token": TOKEN,
            "sms_from": SENDER,
            "sms_api_url": carrier.api_url,
            "public_url": self.url,
            "number_key": KEY,
            "port": self.port,
            "workers": workers,
            "shop_token": "the shop's long token",
            "sms_per_number": 10_000,
            "sms_for_all": 1_000_000,
            **given,
        }
        self._environment = {
            **os.environ,
            **{f"PROBETELL_{name.upper()}": str(value) for name, value in fields.items()},
        }
        self._process: subprocess.Popen[bytes] | None = None
        self._log: IO[bytes] | None = None

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    @property
    def log_path(self) -> Path:
        """Where the service's own lines go."""
        return self.home / "serve.log"

    def start(self) -> None:
        """Start it and wait until it takes connections."""
        self.home.mkdir(parents=True, exist_ok=True)
        self._log = self.log_path.open("ab")
        self._process = subprocess.Popen(
            [sys.executable, "-m", "assistant", "serve"],
            env=self._environment,
            stdin=subprocess.DEVNULL,
            stdout=self._log,
            stderr=self._log,
        )
        end = time.monotonic() + _PATIENCE
        while time.monotonic() < end:
            if self._process.poll() is not None:
                raise MisuseError("The service did not start.", next_step="Read serve.log.")
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", self.port)) == 0:
                    return
            time.sleep(0.05)
        raise MisuseError("The service does not come up.", next_step="Read serve.log.")

    @property
    def pid(self) -> int:
        """The process id of the service itself."""
        if self._process is None:
            raise MisuseError("The service is not running.", next_step="Start it.")
        return self._process.pid

    def worker_pids(self) -> list[int]:
        """Give the process ids of the workers (Linux)."""
        found: list[int] = []
        for task in Path(f"/proc/{self.pid}/task").glob("*/children"):
            try:
                found += [int(pid) for pid in task.read_text(encoding="ascii").split()]
            except OSError:
                continue
        return found

    def kill_worker(self, which: int = 0) -> bool:
        """Kill -9 a worker; False when there is none at the moment."""
        pids = self.worker_pids()
        if not pids:
            return False
        try:
            os.kill(pids[which % len(pids)], signal.SIGKILL)
        except ProcessLookupError:
            return False
        return True

    def kill(self) -> None:
        """Kill -9 the service; its workers have to end by themselves."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None
            self._close_log()

    def stop(self) -> int:
        """End it as a user does; give its exit code."""
        process = self._process
        if process is None:
            return 0
        process.send_signal(signal.SIGTERM)
        try:
            code = process.wait(timeout=_PATIENCE)
        except subprocess.TimeoutExpired:
            process.kill()
            code = process.wait()
        self._process = None
        self._close_log()
        return code

    def _close_log(self) -> None:
        if self._log is not None:
            self._log.close()

    def memory_mb(self) -> dict[str, float]:
        """Give memory in MB: resident of the service and of its workers, and shared once."""
        workers = self.worker_pids()
        return {
            "service": resident_mb(self.pid),
            "workers": sum(map(resident_mb, workers)),
            "shared_once": sum(map(proportional_mb, [self.pid, *workers])),
        }
