from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.benchmarks import __main__ as benchmarks
from assistant.benchmarks import outside
from assistant.practice.drive import Outcome

if TYPE_CHECKING:
    import pytest


def outcome(fault: str, *, right: bool, said: float, checks: int = 3) -> Outcome:
    return Outcome(
        truth={"faults": [fault]},
        given={},
        complaint={},
        verdicts=[{"probability": said}],
        checks=checks,
        minutes=2.0 * checks,
        right=right,
        exact=right,
        within_two=True,
        repaired=True,
    )


def test_table_counts_by_fault(capsys: pytest.CaptureFixture[str]) -> None:
    outside._table(
        [
            outcome("speaker.sub.coil_open", right=True, said=0.9),
            outcome("speaker.front_left.coil_open", right=False, said=0.9, checks=15),
            outcome("amp.internal", right=True, said=0.7),
        ]
    )
    lines = {line.split()[0]: line.split() for line in capsys.readouterr().out.splitlines()}
    assert lines["speaker.*.coil_open"][1:] == [
        "2",
        "50%",
        "50%",
        "100%",
        "100%",
        "9.0",
        "18.0",
        "1",
        "0",
    ]
    assert lines["amp.internal"][1:3] == ["1", "100%"]
    assert lines["all"][1:3] == ["3", "67%"]


def test_calibration_error_is_the_mean_gap(capsys: pytest.CaptureFixture[str]) -> None:
    # Expected calibration error: the share-weighted gap between stated and observed.
    cases = [outcome("a.b", right=at < 5, said=0.9) for at in range(10)]
    outside._calibration(cases)
    assert "expected calibration error 40.0%" in capsys.readouterr().out


def test_dispatcher_knows_its_names(capsys: pytest.CaptureFixture[str]) -> None:
    assert benchmarks.main(["--help"]) == 0
    assert "outside" in capsys.readouterr().out
    assert benchmarks.main(["nonsense"]) == 2
    assert "nonsense" in capsys.readouterr().err
    assert benchmarks.main(["outside", "--only", "gremlins"]) == 2
    assert "gremlins" in capsys.readouterr().err
