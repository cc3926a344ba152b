"""The fleet benchmark: what it counts, and that every order drives a car to its end."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

from assistant.benchmarks.beyond import numbers_beyond, numbers_compared
from assistant.benchmarks.fleet import calibration_error, main, table
from assistant.benchmarks.orders import FIXED_ORDER, ORDERS, Played, play
from assistant.benchmarks.peers import main as peers_main
from assistant.knowledge import load
from assistant.practice.scenario import draw_case, fleet, sort_of

if TYPE_CHECKING:
    from pathlib import Path


def played(*, stated: float, right: bool, minutes: float = 10.0) -> Played:
    return Played(
        order="own", sort="remote.missing", checks=3, minutes=minutes, all_minutes=minutes,
        stated=stated, right=right, exact=right, within_two=right, ended=True, amp_blamed=not right,
    )  # fmt: skip


def test_the_calibration_error_of_known_verdicts() -> None:
    """By hand: ten at 0.9 of which nine are right are well stated, all wrong is 0.9 off."""
    good = [played(stated=0.9, right=n > 0) for n in range(10)]
    assert calibration_error(good) == pytest.approx(0.0, abs=1e-12)
    assert calibration_error([played(stated=0.9, right=False)]) == pytest.approx(0.9)


def test_the_table_gives_the_ratio_to_the_fixed_order() -> None:
    shown = table(
        {
            "own": [played(stated=1.0, right=True, minutes=6.0)],
            "fixed": [played(stated=1.0, right=False, minutes=12.0)],
        }
    )
    own = next(line for line in shown.splitlines() if line.startswith("own "))
    assert own.split()[-1] == "0.50"
    assert own.split()[2:6] == ["100.0%", "100.0%", "100.0%", "0.0%"]


def test_the_fixed_order_names_real_checks() -> None:
    named = {
        entry.id.replace("{POS}", "*").replace("{PAIR}", "*") for entry in load().check_entries
    }
    assert set(FIXED_ORDER) <= named


@pytest.mark.parametrize("order", ORDERS)
def test_every_order_ends_and_pays_for_what_it_does(order: str) -> None:
    case = draw_case(4, "van_mono", ["remote.missing"])
    found = play(case, order, sort="remote.missing")
    assert found.ended
    assert found.all_minutes >= found.minutes
    assert (found.checks == 0) == (order == "repairs")
    assert (found.minutes > 0) == (found.checks > 0)
    if found.right:
        assert found.within_two
        assert found.all_minutes == found.minutes


def test_cases_that_were_played_are_not_played_again(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    keep, out = tmp_path / "kept.jsonl", tmp_path / "figures"
    arguments = ["--cars", "1", "--orders", "repairs", "--keep", str(keep), "--out", str(out)]
    assert main(arguments) == 0
    first = keep.read_text(encoding="utf-8")
    assert json.loads(first)["played"]["order"] == "repairs"
    assert main(arguments) == 0
    assert keep.read_text(encoding="utf-8") == first
    assert "repairs" in (out / "fleet.txt").read_text(encoding="utf-8")
    assert (out / "fleet.png").read_bytes().startswith(b"\x89PNG")
    assert main(["--orders", "sideways"]) == 2
    assert "sideways" in capsys.readouterr().err


def test_the_peers_agree(capsys: pytest.CaptureFixture[str]) -> None:
    """pyAgrum and pgmpy are the reference packages."""
    assert peers_main(["--worlds", "120", "--repeats", "1"]) == 0
    assert "pgmpy" in capsys.readouterr().out


def test_two_faults_are_mended_one_after_the_other() -> None:
    case = draw_case(4, "pickup_two", ["remote.missing", "supply.ground_resistive"])
    found = play(case, "own", sort="remote.missing")
    assert found.ended
    assert case.car.faults == []
    assert found.all_minutes > found.minutes


def test_numbers_beyond_the_spread_are_counted() -> None:
    case = draw_case(4, "pickup_two", ["remote.missing"])
    case.car.sound.battery.inner = 0.008
    within = numbers_beyond(case)
    case.car.sound.battery.inner = 0.2
    assert numbers_beyond(case) == within + 1
    assert numbers_compared(case) > 25


def test_a_fleet_of_pairs_gives_each_car_two_sorts_of_fault() -> None:
    plans = fleet(60, 1, pairs=True)
    assert plans == fleet(60, 1, pairs=True)
    assert all(len({sort_of(fault) for fault in faults}) == 2 for _, _, faults in plans)


def test_a_fleet_may_be_drawn_from_another_garage(capsys: pytest.CaptureFixture[str]) -> None:
    asked = ["--garage", "second_battery", "--only", "second_fuse_open", "--cars", "1"]
    assert main([*asked, "--orders", "repairs"]) == 0
    shown = capsys.readouterr().out
    assert "fleet of seed 1, second battery" in shown
    assert any(line.split()[:2] == ["repairs", "1"] for line in shown.splitlines())
    with pytest.raises(SystemExit):
        main(["--garage", "hangar"])


def test_the_numbers_of_a_second_battery_are_counted_too() -> None:
    case = draw_case(7, "bus_mono", ["supply.second_fuse_open"])
    with_it = numbers_compared(case)
    case.car.sound.second = None
    assert with_it - numbers_compared(case) == 6
