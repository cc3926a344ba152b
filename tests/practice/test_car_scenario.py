from __future__ import annotations

import numpy as np
import pytest

from assistant.errors import GivenError
from assistant.practice.draws import draw_installation, draw_parts, forget_some
from assistant.practice.kinds import KINDS
from assistant.practice.parts import changed
from assistant.practice.scenario import MUST_SHOW, draw_case, fleet, must_show, sort_of
from assistant.practice.words import SYMPTOMS, WHENS, every_fault, same_repair


def some_installation(kind: str, seed: int = 2) -> dict[str, object]:
    return draw_installation(np.random.default_rng(seed), kind)


def test_every_fault_of_the_design_is_planned_somewhere() -> None:
    # The list of the design, with its positions and pairs folded together.
    planned = {sort_of(faults[0]) for _, _, faults in fleet(60, 4)}
    assert planned == {
        "supply.battery_weak",
        "supply.charging_low",
        "supply.charging_high",
        "supply.main_fuse_open",
        "supply.main_fuse_loose",
        "supply.power_wire_resistive",
        "supply.power_wire_undersized",
        "supply.ground_resistive",
        "amp.fuse_open",
        "remote.missing",
        "remote.low",
        "remote.drops_on_start",
        "speaker.*.coil_shorted",
        "speaker.*.coil_open",
        "speaker.*.coil_rubbing",
        "speaker.*.wire_to_chassis",
        "speaker.*.wires_shorted",
        "load.impedance_too_low",
        "signal.*.shorted",
        "signal.*.shield_open",
        "signal.converter_faulty",
        "signal.source_faulty",
        "signal.ground_loop",
        "charging.ripple",
        "amp.overheats",
        "amp.gain_too_high",
        "amp.internal",
    }


@pytest.mark.parametrize(("seed", "kind", "faults"), fleet(54, 21))
def test_each_drawn_car_has_something_to_complain_of_until_it_is_mended(
    seed: int, kind: str, faults: list[str]
) -> None:
    case = draw_case(seed, kind, faults)
    assert case.complaint["symptom"] in SYMPTOMS
    assert set(case.complaint.get("when", [])) <= set(WHENS)
    assert set(case.complaint.get("where", [])) <= set(case.installation["speakers"])
    assert faults[0] in every_fault(case.installation)
    assert case.car.faults == faults
    assert case.car.mend(faults[0])
    assert case.car.complaint() is None or case.car.works()


def test_a_seed_gives_the_same_case_again() -> None:
    one, other = (draw_case(3, "van_mono", ["supply.ground_resistive"]) for _ in range(2))
    assert one.truth() == other.truth()
    assert (one.given, one.complaint) == (other.given, other.complaint)
    asked = {"quantity": "dc_voltage", "red": "amp.power", "black": "amp.ground"}
    state = {"vehicle": "running", "audio": "loud", "setup": []}
    assert one.car.answer({**asked, **state}) == other.car.answer({**asked, **state})


def test_the_named_scenarios_are_there() -> None:
    cases = [draw_case(1, kind, [fault]) for kind, fault in must_show()]
    assert {case.faults[0] for case in cases} == set(MUST_SHOW)
    assert {case.kind for case in cases} == {"van_mono", "coupe_five"}


def test_two_faults_need_two_repairs() -> None:
    case = draw_case(8, "coupe_five", ["supply.main_fuse_loose", "speaker.sub.wires_shorted"])
    case.car.mend("supply.main_fuse_loose")
    assert not case.car.works()
    case.car.mend("speaker.sub.wires_shorted")
    assert case.car.works()


def test_unknown_kinds_and_faults_are_refused() -> None:
    with pytest.raises(GivenError):
        draw_case(1, "spaceship", ["amp.internal"])
    with pytest.raises(GivenError):
        draw_case(1, "van_mono", ["speaker.front_left.coil_open"])
    with pytest.raises(GivenError):
        fleet(3, 1, only="gremlins")


def test_what_is_forgotten_is_left_out_and_nothing_else_changes() -> None:
    whole = some_installation("coupe_five")
    assert forget_some(np.random.default_rng(1), whole, chance=0.0) == whole
    given = forget_some(np.random.default_rng(1), whole, chance=1.0)
    assert set(given["speakers"]) == set(whole["speakers"])
    assert all(about == {} for about in given["speakers"].values())
    assert given["supply"]["wire"] == {}


def test_a_misspelt_change_does_not_pass() -> None:
    rng = np.random.default_rng(1)
    parts = draw_parts(rng, some_installation("van_mono"))
    with pytest.raises(AttributeError):
        changed(parts, {"supply.fusee": 1.0})


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("supply.main_fuse_loose", "supply.main_fuse_open", True),
        ("speaker.sub.coil_open", "speaker.sub.coil_shorted", True),
        ("speaker.sub.coil_open", "speaker.sub_2.coil_open", False),
        ("speaker.sub.coil_open", "speaker.sub.wires_shorted", False),
        ("signal.front.shorted", "signal.rear.shorted", False),
        ("amp.internal", "amp.overheats", False),
    ],
)
def test_one_piece_of_work_for_one_part(one: str, other: str, same: bool) -> None:
    assert same_repair(one, other) is same
    assert same_repair(other, one) is same


@pytest.mark.parametrize("kind", list(KINDS))
def test_every_kind_has_its_own_positions(kind: str) -> None:
    installation = some_installation(kind)
    faults = every_fault(installation)
    assert len(set(faults)) == len(faults)
    for place in KINDS[kind].places:
        assert f"speaker.{place}.coil_shorted" in faults
