"""The wiring drawing: every node has its place, nothing lies over anything else."""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from assistant.knowledge import load
from assistant.knowledge.schema import PAIRS, POSITIONS, Installation
from assistant.reports.measurements import measured_steps, notes_by_node
from assistant.reports.suspect import fault_parts, suspect_parts
from assistant.reports.textfit import text_width
from assistant.reports.wiring import WIDTH, lay_out, wiring_svg
from assistant.reports.wiring_shapes import Box, Sheet

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.diagnosis.casefile import CaseFile

NODES = (
    *("battery.positive", "battery.negative", "charging.output", "main_fuse.battery_side"),
    *("main_fuse.amp_side", "amp.power", "amp.ground", "amp.remote", "source.remote"),
    *("chassis", "engine_block"),
    *(
        f"speaker.{position}.{end}"
        for position in POSITIONS
        for end in ("amp_positive", "amp_negative", "positive", "negative")
    ),
    *(f"signal.{pair}.{end}" for pair in PAIRS for end in ("center", "shell")),
)
PLACES = (
    *("amp.power_light", "amp.protect_light", "amp.case", "noise.whine"),
    *(f"sound.{position}" for position in POSITIONS),
)
"""Nodes and places of the contract for the machine interface."""


def assert_nothing_overlaps(sheet: Sheet) -> None:
    assert_tags_are_clear(sheet)
    assert_rest_is_clear(sheet)


def assert_tags_are_clear(sheet: Sheet) -> None:
    for one, two in itertools.combinations(sheet.tags, 2):
        assert not one.box.overlaps(two.box), (one.node, two.node)
    solid = [part.box for part in sheet.parts if part.key != "amplifier"]
    others = [*solid, *(label.box for label in sheet.labels)]
    for tag in sheet.tags:
        assert not [box for box in others if tag.box.overlaps(box)], tag.node
    for text in sheet.texts:
        width = text_width(text.text, 14 if text.style == "name" else 12)
        left = {"start": text.x, "middle": text.x - width / 2, "end": text.x - width}[text.anchor]
        written = Box(left, text.y - 10, width, 12)
        hidden = [tag.node for tag in sheet.tags if tag.box.overlaps(written)]
        assert not hidden, text.text
    for mark in sheet.marks:
        spot = Box(mark.x - 7, mark.y - 7, 14, 14)
        assert not [tag.node for tag in sheet.tags if tag.box.overlaps(spot)]
    amplifier = next(part.box for part in sheet.parts if part.key == "amplifier")
    for tag in sheet.tags:
        if tag.box.overlaps(amplifier):
            assert tag.node.startswith("amp.")
            assert tag.box.x >= amplifier.x
            assert tag.box.right <= amplifier.right
            assert tag.box.bottom <= amplifier.bottom


def assert_rest_is_clear(sheet: Sheet) -> None:
    solid = [part.box for part in sheet.parts if part.key != "amplifier"]
    for label in sheet.labels:
        inside = [box for box in solid if label.box.overlaps(box)]
        assert not inside, label.lines[0].text
    for first, second in itertools.combinations(solid, 2):
        assert not first.overlaps(second)
    for first, second in itertools.combinations(sheet.marks, 2):
        near = abs(first.x - second.x) < 16 and abs(first.y - second.y) < 16
        assert not near
    boxes = [part.box for part in sheet.parts]
    boxes += [tag.box for tag in sheet.tags] + [label.box for label in sheet.labels]
    for box in boxes:
        assert box.x >= 0
        assert box.y >= 0
        assert box.right <= sheet.width == WIDTH
        assert box.bottom <= sheet.height


def crossings(sheet: Sheet) -> list[tuple[str, str]]:
    """Wires that run through a tag (tags hide wires, so none may)."""
    found = []
    for tag in sheet.tags:
        for wire in sheet.wires:
            for (x1, y1), (x2, y2) in itertools.pairwise(wire.points):
                run = Box(min(x1, x2), min(y1, y2), max(abs(x2 - x1), 0.1), max(abs(y2 - y1), 0.1))
                if tag.box.overlaps(run):
                    found.append((tag.node, wire.kind))
    return found


def test_every_node_and_place_of_the_contract_is_drawn(crowded_case: CaseFile) -> None:
    sheet = lay_out(crowded_case, {})
    assert set(sheet.nodes) == {*NODES, *PLACES}
    assert len(set(sheet.nodes.values())) == len(sheet.nodes)


def test_all_nodes_of_a_full_installation_without_readings(sample_case: CaseFile) -> None:
    full = Installation.model_validate({"speakers": {position: {} for position in POSITIONS}})
    sheet = lay_out(replace(sample_case, installation=full, steps=(), verdict=None), {})
    assert set(NODES) <= set(sheet.nodes)
    assert not sheet.tags
    assert_nothing_overlaps(sheet)


def test_nothing_overlaps_when_everything_was_measured(crowded_case: CaseFile) -> None:
    sheet = lay_out(crowded_case, {})
    assert {tag.node for tag in sheet.tags} == {*NODES, *PLACES}
    assert_nothing_overlaps(sheet)
    assert not crossings(sheet)


def test_every_value_is_in_a_tag_at_its_node(crowded_case: CaseFile) -> None:
    sheet = lay_out(crowded_case, {})
    by_node = {tag.node: tag for tag in sheet.tags}
    for entry in measured_steps(crowded_case.steps):
        lines = by_node[entry.do.red].lines
        start = next(i for i, line in enumerate(lines) if line.number == str(entry.number))
        text = " ".join(line.text for line in lines[start : start + 3])
        assert text.startswith(entry.value.partition(",")[0])
        if entry.do.black is not None:
            black = " ".join(line.text for line in by_node[entry.do.black].lines)
            numbers = black.partition("black of ")[2].replace(",", "").split()
            assert str(entry.number) in numbers


def test_probe_marks_stand_at_their_nodes(sample_case: CaseFile) -> None:
    sheet = lay_out(sample_case, {})
    notes = notes_by_node(measured_steps(sample_case.steps))
    for node, note in notes.items():
        x, y = sheet.nodes[node]
        near = {m.kind for m in sheet.marks if abs(m.x - x) < 10 and abs(m.y - y) < 10}
        seen = node == "amp.protect_light"
        wanted = {"seen"} if seen else set()
        wanted |= {"red"} if note.red and not seen else set()
        wanted |= {"black"} if note.black else set()
        assert near == wanted


ALL_FAULTS = tuple(
    sorted(
        load().faults(
            Installation.model_validate({"speakers": {position: {} for position in POSITIONS}})
        )
    )
)
KINDS = (None, "line_level", "factory_with_converter", "speaker_level", "processor", "tin_can")


@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    picked=st.sets(st.integers(0, 125), min_size=3, max_size=18),
    faults=st.lists(st.sampled_from(ALL_FAULTS), max_size=3, unique=True),
    kind=st.sampled_from(KINDS),
    speakers=st.sets(st.sampled_from(POSITIONS), min_size=1),
    gauge=st.sampled_from(("4 AWG", "1/0 AWG", "16 mm2")),
)
def test_nothing_overlaps_in_any_case(  # noqa: PLR0917
    crowded_case: CaseFile,
    picked: set[int],
    faults: list[str],
    kind: str | None,
    speakers: set[str],
    gauge: str,
) -> None:
    wire = {"gauge": gauge, "material": "copper_clad_aluminum", "length_m": 12.25}
    installation = Installation.model_validate(
        {
            "speakers": {
                position: {"nominal_ohms": 2.67, "origin": "a long word of where it came from"}
                for position in sorted(speakers)
            },
            "source": {"kind": kind},
            "supply": {
                "wire": wire,
                "ground": wire,
                "main_fuse": {"amps": 150, "kind": "a fuse of some unusual build"},
                "battery": "under the rear seat, left",
            },
            "vehicle": {"charging": "a converter from the traction battery"},
        }
    )
    verdict = crowded_case.verdict
    assert verdict is not None
    case = replace(
        crowded_case,
        installation=installation,
        steps=tuple(s for i, s in enumerate(crowded_case.steps) if i in picked),
        verdict=replace(verdict, faults=tuple((fault, 0.31) for fault in faults)),
    )
    sheet = lay_out(case, {})
    assert_nothing_overlaps(sheet)
    assert not crossings(sheet)
    assert bool(sheet.suspects) == bool(faults)


def drawn_suspects(sheet: Sheet) -> set[str]:
    parts = {part.suspect for part in sheet.parts if part.suspect}
    labels = {label.lines[-1].text for label in sheet.labels if label.suspect}
    return parts | labels


@pytest.mark.parametrize("fault", ALL_FAULTS)
def test_every_fault_marks_a_part_by_outline_and_words(sample_case: CaseFile, fault: str) -> None:
    verdict = sample_case.verdict
    assert verdict is not None
    full = Installation.model_validate({"speakers": {position: {} for position in POSITIONS}})
    case = replace(
        sample_case, installation=full, verdict=replace(verdict, faults=((fault, 0.87),))
    )
    sheet = lay_out(case, {})
    words = "suspect, 87%"
    assert drawn_suspects(sheet) == {words}
    drawing = str(wiring_svg(case, {}))
    assert 'class="suspect-rim"' in drawing
    assert f">{words}</text>" in drawing


def test_part_that_is_sound_is_not_marked(sample_case: CaseFile) -> None:
    sheet = lay_out(sample_case, {})
    marked = {part.key for part in sheet.parts if part.suspect}
    assert marked == {"main_fuse"}
    assert {label.lines[0].text for label in sheet.labels if label.suspect} == {"Main fuse"}


def test_suspect_is_what_the_verdicts_repair_mends(sample_case: CaseFile) -> None:
    verdict = sample_case.verdict
    assert verdict is not None
    cheap = replace(
        verdict,
        repair="remake_ground",
        faults=(("amp.internal", 0.5), ("supply.ground_resistive", 0.2), ("remote.low", 0.1)),
    )
    repairs = {"supply.ground_resistive": "remake_ground", "amp.internal": "bench"}
    parts = suspect_parts(cheap, fault_repairs=repairs, positions=POSITIONS, pairs=PAIRS)
    assert parts == {"ground_wire": "suspect, 20%", "amplifier": "suspect, 50%"}


def test_parts_of_faults() -> None:
    def parts(fault: str) -> tuple[str, ...]:
        return fault_parts(fault, positions=("sub", "front_left"), pairs=("sub", "front"))

    assert parts("speaker.sub.coil_shorted") == ("speaker.sub",)
    assert parts("speaker.sub.wire_to_chassis") == ("speaker_wires.sub",)
    assert parts("signal.front.shield_open") == ("signal.front",)
    assert parts("signal.ground_loop") == ("signal.sub", "signal.front")
    assert parts("load.impedance_too_low") == ("speaker.sub", "speaker.front_left")
    assert parts("supply.charging_high") == ("charging",)
    assert parts("amp.overheats") == ("amplifier",)


def test_wiring_shows_what_is_known_of_this_installation(sample_case: CaseFile) -> None:
    drawing = str(wiring_svg(sample_case, {}))
    for words in (
        "4 AWG copper, 5.5 m",
        "4 AWG copper, 0.6 m",
        "100 A anl",
        "5 × 75 W, class D",
        "fuses 40 + 40 A",
        "at least 2 Ω",
        "4 Ω, factory",
        "Alternator",
        "Converter",
        "Subwoofer",
    ):
        assert f">{words}</text>" in drawing
    assert "Center" not in drawing


# -- second battery ---------------------------------------------------------------------------

RELAY_NODES = ("charge_relay.battery_side", "charge_relay.amp_side")
SECOND_NODES = (
    *("second_fuse.wire_side", "second_fuse.battery_side"),
    *("second_battery.positive", "second_battery.negative"),
)
SECOND = {"place": "trunk", "joined": "charge_relay", "fuse": {"amps": 100, "kind": "anl"}}
SECOND_FAULTS = {
    "supply.second_battery_weak": "second_battery",
    "supply.second_fuse_open": "second_fuse",
    "supply.second_fuse_loose": "second_fuse",
    "supply.second_ground_resistive": "second_ground",
    "supply.charge_relay_open": "charge_relay",
    "supply.charge_relay_burnt": "charge_relay",
    "supply.charge_relay_stuck": "charge_relay",
}


def with_second(second: object) -> Installation:
    return Installation.model_validate(
        {"speakers": {"sub": {}}, "supply": {"second_battery": second}}
    )


def measured_at(sample_case: CaseFile, nodes: Sequence[str], times: int) -> CaseFile:
    """Give the case with ``times`` readings at each of ``nodes``, against the node before it."""
    plain = next(step for step in sample_case.steps if step.check and step.check.do.black)
    assert plain.check is not None
    steps = []
    for black, red in itertools.pairwise(("chassis", *nodes)):
        do = plain.check.do.model_copy(update={"red": red, "black": black})
        steps += [replace(plain, check=plain.check.model_copy(update={"do": do}))] * times
    return replace(sample_case, steps=tuple(steps), verdict=None)


@pytest.mark.parametrize("times", [0, 1, 3])
@pytest.mark.parametrize(
    ("second", "nodes"),
    [(SECOND, (*RELAY_NODES, *SECOND_NODES)), ({"joined": "direct"}, SECOND_NODES)],
)
def test_a_second_battery_is_drawn_and_nothing_overlaps(
    sample_case: CaseFile, second: object, nodes: tuple[str, ...], times: int
) -> None:
    case = measured_at(sample_case, (*nodes, "amp.power", "battery.negative"), times)
    sheet = lay_out(replace(case, installation=with_second(second)), {})
    assert set(nodes) <= set(sheet.nodes)
    assert set(sheet.nodes) & {*RELAY_NODES, *SECOND_NODES} == set(nodes)
    assert len(set(sheet.nodes.values())) == len(sheet.nodes)
    assert {tag.node for tag in sheet.tags} >= (set(nodes) if times else set())
    assert_nothing_overlaps(sheet)
    assert not crossings(sheet)
    for tag in sheet.tags:
        if tag.node in {"battery.negative", *SECOND_NODES, *RELAY_NODES}:
            # The leader goes straight across: it must meet the tag's side.
            assert tag.box.y <= sheet.nodes[tag.node][1] <= tag.box.bottom, tag.node


@pytest.mark.parametrize("fault", SECOND_FAULTS)
def test_a_fault_of_the_second_battery_marks_its_part(sample_case: CaseFile, fault: str) -> None:
    assert sample_case.verdict is not None
    assert set(SECOND_FAULTS) < set(load().faults(with_second(SECOND)))
    verdict = replace(sample_case.verdict, faults=((fault, 0.9),))
    sheet = lay_out(replace(sample_case, installation=with_second(SECOND), verdict=verdict), {})
    assert drawn_suspects(sheet) == {"suspect, 90%"}
    assert set(sheet.suspects) == {SECOND_FAULTS[fault]}
    assert_rest_is_clear(sheet)


def test_no_second_battery_is_drawn_where_there_is_none(sample_case: CaseFile) -> None:
    sheet = lay_out(sample_case, {})
    assert not [node for node in sheet.nodes if node.startswith(("second_", "charge_relay"))]
