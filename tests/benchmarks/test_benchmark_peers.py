"""The belief beside two Bayesian network packages on one discretised slice of a case."""

from __future__ import annotations

import re

import pytest

from assistant.benchmarks.peers import main


@pytest.mark.parametrize("seed", [5, 6])
def test_program_pyagrum_and_pgmpy_agree(capsys: pytest.CaptureFixture[str], seed: int) -> None:
    """Both packages infer every repair from three answers; the outside check is that all agree."""
    assert main(["--worlds", "120", "--repeats", "1", "--seed", str(seed)]) == 0
    told = capsys.readouterr().out
    assert {line.split()[0] for line in told.splitlines()[2:5]} == {"own", "pyAgrum", "pgmpy"}
    found = re.search(r"largest difference between them (\S+)", told)
    assert found
    assert float(found.group(1)) < 1e-6
