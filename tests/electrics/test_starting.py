from __future__ import annotations

import numpy as np
import pytest

from assistant.electrics.starting import EDITIONS, starting_profile
from assistant.errors import GivenError


def test_2003_level_i() -> None:
    # ISO 16750-2:2003 clause 4.5.3 (secondary: a transient generator's test file): 8 V, then
    # 10.5 V for 1 s; fall 5 ms, hold 15 ms, rise 50 ms, recovery 40 ms.
    profile = starting_profile("2003", "I")
    assert profile.duration_s == pytest.approx(0.005 + 0.015 + 0.050 + 1.0 + 0.040)
    times = [-1.0, 0.0025, 0.005, 0.020, 0.045, 0.070, 0.5, 1.07, 1.09, 1.11, 5.0]
    volts = [12.0, 10.0, 8.0, 8.0, 9.25, 10.5, 10.5, 10.5, 11.25, 12.0, 12.0]
    assert profile.voltage_at(times) == pytest.approx(volts, abs=1e-9)


@pytest.mark.parametrize(
    ("level", "dip", "cranking", "seconds", "recovery"),
    [
        # ISO 16750-2 from 2006 on, clause 4.6.3 table 3 (from memory).
        ("I", 8.0, 9.5, 1.0, 0.040),
        ("II", 4.5, 6.5, 10.0, 0.100),
        ("III", 3.0, 5.0, 1.0, 0.100),
        ("IV", 6.0, 6.5, 10.0, 0.100),
    ],
)
def test_later_levels(
    level: str, dip: float, cranking: float, seconds: float, recovery: float
) -> None:
    profile = starting_profile("2006", level)
    assert profile.voltage_at([0.01, 0.07, 0.07 + seconds]) == pytest.approx(
        [dip, cranking, cranking], abs=1e-9
    )
    half_up = 0.07 + seconds + recovery / 2
    assert profile.voltage_at(half_up, 12.6) == pytest.approx((12.6 + cranking) / 2, abs=1e-9)
    assert profile.sureness == "from memory"


def test_editions_differ_at_level_i() -> None:
    old, new = (starting_profile(edition, "I") for edition in ("2003", "2006"))
    assert old.cranking_v - new.cranking_v == pytest.approx(1.0)


def test_every_level_stays_between_dip_and_rest_over_all_worlds() -> None:
    rest = np.linspace(11.5, 12.8, 9)[:, None]
    times = np.linspace(-0.1, 12.0, 500)[None, :]
    for levels in EDITIONS.values():
        for profile in levels.values():
            volts = profile.voltage_at(times, rest)
            assert volts.shape == (9, 500)
            assert (volts >= profile.dip_v - 1e-9).all()
            assert (volts <= rest + 1e-9).all()


@pytest.mark.parametrize(("edition", "level"), [("1999", "I"), ("2003", "II"), ("2006", "V")])
def test_unknown_profiles_are_refused(edition: str, level: str) -> None:
    with pytest.raises(GivenError):
        starting_profile(edition, level)
