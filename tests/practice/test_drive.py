"""The driver and its reading of the contract, against a small program of the tests' own."""

from __future__ import annotations

import copy
import json
from typing import Any

import numpy as np
import pytest

from assistant.practice.contract import answer_breaches, line_breaches
from assistant.practice.draws import draw_installation
from assistant.practice.drive import drive
from assistant.practice.scenario import Case, draw_case
from assistant.practice.slips import answer_with_slips
from assistant.practice.talkers import LineTalker

Line = dict[str, Any]

CHECK: Line = {
    "type": "check",
    "id": "voltage_at_amp",
    "say": "Measure from amplifier power to amplifier ground.",
    "cautions": ["Take off rings and watches."],
    "minutes": 2.0,
    "bits": 0.8,
    "do": {
        "quantity": "dc_voltage",
        "red": "amp.power",
        "black": "amp.ground",
        "vehicle": "accessory",
        "audio": "quiet",
        "setup": [],
    },
    "expect": {"low": 11.9, "high": 12.7, "unit": "V"},
}
VERDICT: Line = {
    "type": "verdict",
    "repair": "seat_main_fuse",
    "probability": 0.9,
    "faults": [{"id": "supply.main_fuse_loose", "probability": 0.9}],
    "order": [{"repair": "seat_main_fuse", "probability": 0.9, "minutes": 10.0}],
    "evidence": ["The fuse drops a volt."],
    "reply": "A loose fuse.",
}


class Scripted:
    """Gives the next of ``answers`` to each line; keeps what came in."""

    def __init__(self, *answers: list[Line]) -> None:
        self.answers = [list(answer) for answer in answers]
        self.heard: list[Line] = []

    def __call__(self, line: bytes) -> list[Line]:
        self.heard.append(json.loads(line))
        return self.answers.pop(0) if self.answers else [VERDICT]


@pytest.fixture(scope="module")
def loose() -> Case:
    return draw_case(5, "coupe_five", ["supply.main_fuse_loose"])


def fresh(case: Case) -> Case:
    return copy.deepcopy(case)


def named(fault: str) -> Line:
    return {**VERDICT, "faults": [{"id": fault, "probability": 0.9}]}


def test_a_right_verdict_ends_the_case(loose: Case) -> None:
    belief = {"type": "belief", "repairs": [], "faults": VERDICT["faults"]}
    program = Scripted([CHECK], [belief, VERDICT], [VERDICT], [VERDICT])
    outcome = drive(fresh(loose), LineTalker(program))
    assert [line["type"] for line in program.heard] == ["open", "reading", "repaired", "close"]
    assert program.heard[0]["installation"] == loose.given
    assert program.heard[1]["check"] == "voltage_at_amp"
    assert program.heard[2] == {"type": "repaired", "repair": "seat_main_fuse", "fixed": True}
    assert outcome.breaches == []
    assert (outcome.checks, outcome.minutes) == (1, 2.0)
    assert outcome.right
    assert outcome.exact
    assert outcome.repaired
    assert outcome.steps[0].top == VERDICT["faults"]


def test_a_wrong_verdict_is_told_and_the_second_counts(loose: Case) -> None:
    program = Scripted([named("amp.internal")], [CHECK], [VERDICT])
    outcome = drive(fresh(loose), LineTalker(program))
    assert program.heard[1]["fixed"] is False
    assert not outcome.right
    assert outcome.amp_blamed
    assert outcome.within_two
    assert outcome.repaired
    assert outcome.checks == 0


def test_three_wrong_verdicts_are_enough(loose: Case) -> None:
    program = Scripted(*[[named("supply.charging_high")]] * 9)
    outcome = drive(fresh(loose), LineTalker(program))
    assert len(outcome.verdicts) == 3
    assert not outcome.within_two
    assert not outcome.repaired
    assert [line["type"] for line in program.heard] == ["open", "repaired", "repaired", "close"]


def test_a_confirm_is_answered_by_measuring_again(loose: Case) -> None:
    program = Scripted([CHECK], [{"type": "confirm", "say": "Eleven, or twelve?"}], [VERDICT])
    outcome = drive(fresh(loose), LineTalker(program))
    assert [line["type"] for line in program.heard][:3] == ["open", "reading", "reading"]
    assert outcome.confirms == 1
    assert outcome.breaches == []


def test_a_check_on_a_wire_that_is_not_there_cannot_be_done(loose: Case) -> None:
    check = copy.deepcopy(CHECK)
    check["do"]["red"] = "speaker.center.positive"
    program = Scripted([check], [VERDICT])
    outcome = drive(fresh(loose), LineTalker(program))
    assert program.heard[1]["type"] == "cannot"
    assert outcome.breaches


def test_endless_checks_and_errors_are_breaches(loose: Case) -> None:
    endless = drive(fresh(loose), LineTalker(Scripted(*[[CHECK]] * 70)))
    assert "no end after 60 checks" in endless.breaches
    error = {"type": "error", "message": "no", "line": 1}
    assert "error: no" in drive(fresh(loose), LineTalker(Scripted([error]))).breaches


def test_a_sound_answer_has_no_breach(loose: Case) -> None:
    assert answer_breaches([CHECK], loose.installation) == []
    assert answer_breaches([VERDICT], loose.installation) == []


@pytest.mark.parametrize(
    "lines",
    [
        [],
        [CHECK, VERDICT],
        [{"type": "belief", "repairs": [], "faults": []}],
        [{"type": "hello"}],
        [{**VERDICT, "probability": 1.2}],
        [{**VERDICT, "faults": []}],
        [{**VERDICT, "faults": [{"id": "speaker.center.coil_open", "probability": 1.0}]}],
        [{**VERDICT, "order": [{"repair": "x", "probability": 0.5}]}],
        [{k: v for k, v in VERDICT.items() if k != "reply"}],
        [{**CHECK, "minutes": 0}],
        [{**CHECK, "bits": float("nan")}],
        [{**CHECK, "cautions": "careful"}],
        [{**CHECK, "say": " "}],
        [{**CHECK, "expect": {"low": 3.0, "high": 2.0, "unit": "V"}}],
        [{**CHECK, "expect": {"low": 1.0, "high": 2.0, "unit": "ohm"}}],
        [{**CHECK, "do": {**CHECK["do"], "red": "amp.positive"}}],
        [{**CHECK, "do": {**CHECK["do"], "black": "amp.power"}}],
        [{**CHECK, "do": {**CHECK["do"], "vehicle": "flying"}}],
        [{**CHECK, "do": {**CHECK["do"], "setup": ["disconnect:everything"]}}],
        [{**CHECK, "do": {**CHECK["do"], "setup": ["disconnect:speaker.center"]}}],
        [{**CHECK, "do": {**CHECK["do"], "quantity": "light", "red": "amp.power"}}],
    ],
)
def test_breaches_are_seen(lines: list[Line], loose: Case) -> None:
    assert answer_breaches(lines, loose.installation)


def test_every_setup_and_place_of_the_design_passes() -> None:
    installation = draw_installation(np.random.default_rng(1), "coupe_five")
    for setup in (
        ["disconnect:speakers", "cycle_remote"],
        ["disconnect:speaker.front_left"],
        ["disconnect:signal", "disconnect:signal.rear"],
        ["disconnect:remote", "disconnect:amp_power", "remove:main_fuse"],
        ["jumper:remote", "swap:signal.front", "substitute:source", "cool_down"],
    ):
        check = {**CHECK, "do": {**CHECK["do"], "setup": setup}}
        assert line_breaches(check, installation) == []
    for quantity, place in (
        ("light", "amp.power_light"),
        ("light", "amp.protect_light"),
        ("sound", "sound.front_left"),
        ("noise", "noise.whine"),
        ("warmth", "amp.case"),
    ):
        seen = {**CHECK["do"], "quantity": quantity, "red": place, "black": None}
        assert line_breaches({**CHECK, "do": seen, "expect": None}, installation) == []


def test_slips_come_as_often_as_asked_and_change_the_reading(loose: Case) -> None:
    case = fresh(loose)
    rng = np.random.default_rng(4)
    rest = {**CHECK["do"], "red": "battery.positive", "black": "battery.negative"}
    kinds = [answer_with_slips(case.car, rest, rng, misread=0.5)[1] for _ in range(200)]
    assert {"range", "sign", "slip"} <= set(kinds)
    assert 50 < sum(kind != "" for kind in kinds) < 130
    assert all(answer_with_slips(case.car, rest, rng, misread=0.0)[1] == "" for _ in range(20))


def test_cannot_is_said_as_often_as_asked(loose: Case) -> None:
    program = Scripted(*[[CHECK]] * 70)
    drive(fresh(loose), LineTalker(program), cannot=1.0)
    assert {line["type"] for line in program.heard[1:-1]} == {"cannot"}
