"""What a new user starts with: the scripts, and the packages that they install."""

from __future__ import annotations

import ast
import os
import re
import shutil
import subprocess
import sys
import tomllib
from importlib.metadata import packages_distributions
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

import assistant

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT = Path(assistant.__file__).parents[1]
SCRIPTS = ("demo/run", "tests/run", ".ci/run")
OURS = {"assistant", "audio_fixtures", "demo", "grammars"}
# Houses of tests whose helpers other houses import.
SHARED = ("conversation", "messaging")
# Whoever renders recordings anew installs these by hand: audio_fixtures/README.md.
BY_HAND = {"hibari", "onnxruntime"}
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def names(requirements: list[str]) -> set[str]:
    """Distribution names in the form of PEP 503."""
    heads = (re.split(r"[^A-Za-z0-9._-]", requirement)[0] for requirement in requirements)
    return {re.sub(r"[-_.]+", "-", head).lower() for head in heads}


def imported(*folders: str) -> Iterator[tuple[str, Path]]:
    """Top-level modules that the files of ``folders`` import by statement."""
    for folder in folders:
        for path in sorted((ROOT / folder).rglob("*.py")):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                found: list[str] = []
                if isinstance(node, ast.Import):
                    found = [alias.name for alias in node.names]
                elif isinstance(node, ast.ImportFrom) and not node.level and node.module:
                    found = [node.module]
                for module in found:
                    yield module.partition(".")[0], path


def undeclared(declared: set[str], *folders: str) -> list[str]:
    installed = packages_distributions()
    wrong = []
    for module, path in imported(*folders):
        beside = {p.stem for p in path.parent.iterdir()} | {
            p.stem for house in SHARED for p in (ROOT / "tests" / house).iterdir()
        }
        if module in OURS | BY_HAND | beside or module in sys.stdlib_module_names:
            continue
        owners = names(installed.get(module, [module]))
        if not owners & declared:
            wrong.append(f"{path.relative_to(ROOT)}: {module}")
    return wrong


def test_what_the_program_imports_is_declared() -> None:
    extras = PROJECT["optional-dependencies"]
    parts = ("voice", "train", "sms", "shop", "bench")
    declared = names([*PROJECT["dependencies"], *(each for part in parts for each in extras[part])])
    assert undeclared(declared, "assistant", "grammars") == []


def test_what_tests_and_recordings_import_is_declared() -> None:
    extras = PROJECT["optional-dependencies"]
    wanted = [
        requirement
        for extra in ("voice", "train", "shop", "sms", "test")
        for requirement in extras[extra]
    ]
    declared = names([*PROJECT["dependencies"], *wanted])
    assert undeclared(declared, "tests", "audio_fixtures", "demo") == []


@pytest.mark.parametrize("script", SCRIPTS)
def test_scripts_can_be_started_and_are_plain_sh(script: str) -> None:
    path = ROOT / script
    assert os.access(path, os.X_OK)
    assert path.read_text(encoding="utf-8").startswith("#!/bin/sh\n")
    for file in (path, ROOT / "demo/setup.sh"):
        done = subprocess.run(["sh", "-n", file], capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr


def sourced(body: str, path: str | None = None) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "ROOT": str(ROOT), **({} if path is None else {"PATH": path})}
    environment.pop("PYTHON", None)
    shell = shutil.which("sh")
    assert shell is not None
    return subprocess.run(
        [shell, "-c", f'set -eu\n. "$ROOT/demo/setup.sh"\n{body}'],
        env=environment,
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )


def test_an_old_python_is_named_in_one_line(tmp_path: Path) -> None:
    old = tmp_path / "python3"
    old.write_text("#!/bin/sh\nexit 1\n", encoding="utf-8")
    old.chmod(0o755)
    done = sourced("make_environment voice", str(tmp_path))
    assert done.returncode == 1
    assert done.stderr.count("\n") == 1
    assert "3.11" in done.stderr


def test_this_python_is_found() -> None:
    done = sourced("find_python")
    assert done.returncode == 0
    assert done.stdout.strip()


@pytest.mark.parametrize(
    ("have", "want", "enough"),
    [
        ("voice,test", "voice", True),
        ("voice,test", "voice,test", True),
        ("voice", "voice,test", False),
        ("voices", "voice", False),
        ("", "voice", False),
    ],
)
def test_extras_that_hold_others_serve_for_them(have: str, want: str, *, enough: bool) -> None:
    assert (sourced(f"_covers '{have}' '{want}'").returncode == 0) is enough


def test_what_is_built_is_not_kept_under_version_control() -> None:
    ignored = (ROOT / ".gitignore").read_text(encoding="utf-8").split()
    assert {".venv/", "demo/out/", "__pycache__/", "*.sqlite"} <= set(ignored)
