"""The benchmark of the choice runs and chooses well; how fast is no matter of a test."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.benchmarks.choice import main

if TYPE_CHECKING:
    import pytest


def test_the_choice_is_near_the_best_by_all_worlds(capsys: pytest.CaptureFixture[str]) -> None:
    """Most bits a minute by counting every world is the peer; sampling may cost a little."""
    assert main(["--worlds", "4000", "--checks", "30", "--repeats", "1"]) == 0
    rows = [line.rsplit(maxsplit=1) for line in capsys.readouterr().out.splitlines()]
    table = {name: value for name, value in rows if name}
    assert float(table["bits a minute of the choice over the best"]) > 0.8
    assert float(table["next check chosen, median ms"]) > 0
