"""The program itself, in a process of its own, driven by the virtual car."""

from __future__ import annotations

import pytest

from assistant.practice.drive import drive
from assistant.practice.scenario import draw_case
from assistant.practice.talkers import ProcessTalker


@pytest.mark.slow
def test_two_cases_and_bad_lines_through_one_process() -> None:
    talker = ProcessTalker(seed=3)
    for kind, fault in (
        ("van_mono", "supply.charging_high"),
        ("coupe_five", "remote.missing"),
    ):
        outcome = drive(draw_case(3, kind, [fault]), talker)
        assert outcome.breaches == []
        assert outcome.verdicts
        assert outcome.repaired
    for bad in ("not json", "[1,2]", '{"type":"dance"}', '{"type":"reading"}'):
        answer = talker.say_text(bad)
        assert [line["type"] for line in answer] == ["error"]
        assert answer[0]["message"]
    talker.finish()
