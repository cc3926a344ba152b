"""The core imports no audio, network, clock, environment or database module."""

from __future__ import annotations

import ast
import logging
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from importlinter.cli import EXIT_STATUS_SUCCESS, lint_imports

import assistant

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT = Path(assistant.__file__).parent
CORE = ("electrics", "knowledge", "diagnosis", "readings", "conversation")
CORE_FILES = sorted(path for house in CORE for path in (ROOT / house).rglob("*.py"))
OUTSIDE = {
    "audioop", "asyncio", "ctypes", "datetime", "ftplib", "getpass", "glob", "http", "locale",
    "logging", "multiprocessing", "os", "pathlib", "platform", "queue", "random", "sched",
    "secrets", "select", "shelve", "shutil", "signal", "smtplib", "socket", "socketserver",
    "sqlite3", "ssl", "subprocess", "tempfile", "threading", "time", "urllib", "uuid", "wave",
    "zoneinfo",
    "fastapi", "httpx", "matplotlib", "miniaudio", "pocketsphinx", "psycopg", "pyttsx3",
    "requests", "soxr", "sqlalchemy", "starlette", "twilio", "uvicorn", "vosk", "webrtcvad",
}  # fmt: skip
OWN_OUTSIDE = {"speech", "casebook", "reports", "shopfront", "messaging", "commands", "practice",
               "benchmarks", "cli", "settings"}  # fmt: skip
# Package data is read in two places; nothing else of the core reads a file.
LOADERS = {"knowledge/loader.py", "readings/grammarfile.py", "conversation/phrases.py"}
FILE_CALLS = {"open", "read_text", "read_bytes", "write_text", "write_bytes", "print", "input"}


def imported(tree: ast.AST) -> Iterator[str]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are absolute"
            yield node.module or ""
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def called(tree: ast.AST) -> Iterator[tuple[str, ast.Call]]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            yield ast.unparse(node.func), node


def test_the_contracts_of_the_project_file_hold(capsys: pytest.CaptureFixture[str]) -> None:
    sys.path.insert(0, str(ROOT.parent))
    loggers = [log for log in logging.root.manager.loggerDict.values() if hasattr(log, "disabled")]
    found = lint_imports(config_filename=str(ROOT.parent / "pyproject.toml"), no_cache=True)
    # The linter turns off every logger that there is; later tests read some of them.
    for log in loggers:
        log.disabled = False
    assert found == EXIT_STATUS_SUCCESS, capsys.readouterr().out


def test_the_core_was_found() -> None:
    assert len(CORE_FILES) > 40
    assert {path.relative_to(ROOT).parts[0] for path in CORE_FILES} == set(CORE)


@pytest.mark.parametrize("path", CORE_FILES, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_a_module_of_the_core_touches_nothing_outside(path: Path) -> None:
    tree = ast.parse(path.read_text("utf-8"))
    names = set(imported(tree))
    tops = {name.split(".")[0] for name in names}
    assert not tops & OUTSIDE
    own = {name.split(".")[1] for name in names if name.startswith("assistant.")}
    assert not own & OWN_OUTSIDE
    for name, call in called(tree):
        last = name.rsplit(".", 1)[-1]
        if path.relative_to(ROOT).as_posix() not in LOADERS:
            assert last not in FILE_CALLS, name
        if "random." in name:
            # Only a generator made of a seed that was passed in.
            assert last in {"default_rng", "SeedSequence", "Generator"} or "rng" in name, name
            assert last != "default_rng" or call.args, "a generator without a seed"
        assert last not in {"exec", "eval", "__import__"} or name == "re.compile", name


@pytest.mark.parametrize("module", [f"assistant.{house}" for house in CORE])
def test_the_core_loads_without_the_outside(module: str) -> None:
    """In a fresh interpreter, importing the house pulls none of the heavy parts in."""
    import subprocess

    code = (
        f"import importlib, pkgutil, sys; package = importlib.import_module({module!r})\n"
        "for found in pkgutil.walk_packages(package.__path__, package.__name__ + '.'):\n"
        "    importlib.import_module(found.name)\n"
        "print(*sorted(sys.modules))"
    )
    run = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=120
    )
    loaded = {name.split(".")[0] for name in run.stdout.split()}
    heavy = {"vosk", "miniaudio", "pyttsx3", "sqlalchemy", "fastapi", "matplotlib", "twilio",
             "soxr", "pocketsphinx", "uvicorn", "sqlite3"}  # fmt: skip
    assert not loaded & heavy
    own = {name.split(".")[1] for name in run.stdout.split() if name.startswith("assistant.")}
    assert not own & OWN_OUTSIDE
