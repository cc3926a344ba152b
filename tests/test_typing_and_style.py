"""mypy in strict mode over the core, ruff over the whole tree."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import assistant

ROOT = Path(assistant.__file__).parents[1]
CORE = ("electrics", "knowledge", "diagnosis", "readings", "conversation")


def run(*command: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        command, cwd=ROOT, capture_output=True, text=True, check=False, timeout=900
    )


def ruff(*arguments: str) -> str:
    """Run ruff; give what it found, empty when it found nothing."""
    beside = Path(sys.executable).with_name("ruff")
    program = str(beside) if beside.exists() else shutil.which("ruff")
    if program is None:
        pytest.skip("ruff is not installed (pip install 'probetell[test]')")
    done = run(program, *arguments)
    assert done.returncode in {0, 1}, done.stderr
    return done.stdout if done.returncode else ""


@pytest.mark.slow
def test_the_core_is_strictly_typed() -> None:
    packages = [part for house in CORE for part in ("-p", f"assistant.{house}")]
    done = run(sys.executable, "-m", "mypy", "--strict", "--no-error-summary", *packages)
    # 0: nothing found; 1: findings; 2: mypy itself failed.
    assert done.returncode == 0, done.stdout + done.stderr


def test_ruff_finds_nothing() -> None:
    found = ruff("check", "--no-fix", "--output-format=concise", ".")
    assert not found, found


def test_ruff_would_format_nothing() -> None:
    found = ruff("format", "--check", "--output-format=concise", ".")
    assert not found, found
