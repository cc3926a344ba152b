"""The installation as it is given: what is refused, what is kept apart as not known."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from assistant.knowledge import pair_of, pairs_of, positions_of
from assistant.knowledge.schema import (
    POSITIONS,
    Complaint,
    Do,
    Installation,
    model_error,
)

FROM_THE_CONTRACT: dict[str, Any] = {
    "amplifier": {
        "channels": 5, "watts_per_channel": 75, "class": "D", "minimum_ohms": 2,
        "minimum_ohms_bridged": 4, "bridged": False, "fuse_amps": [40, 40], "latches": True,
    },
    "speakers": {
        "front_left": {"nominal_ohms": 4, "origin": "aftermarket"},
        "sub": {"nominal_ohms": 2, "origin": "aftermarket"},
    },
    "source": {"kind": "line_level"},
    "supply": {
        "wire": {"gauge": "4 AWG", "material": "copper", "length_m": 5.5},
        "ground": {"gauge": "4 AWG", "material": "copper", "length_m": 0.6},
        "main_fuse": {"amps": 100, "kind": "anl"},
        "battery": "front",
    },
    "vehicle": {"charging": "alternator"},
    "ambient_c": 25,
}  # fmt: skip


def test_the_example_of_the_contract_is_wholly_known() -> None:
    installation = Installation.model_validate(FROM_THE_CONTRACT)
    assert installation.unknown_keys() == ()
    assert installation.amplifier.amplifier_class == "D"
    assert installation.amplifier.fuse_amps == (40.0, 40.0)
    assert positions_of(installation) == ("front_left", "sub")
    assert pairs_of(installation) == ("front", "sub")


@pytest.mark.parametrize("part", list(FROM_THE_CONTRACT))
def test_every_part_may_be_left_out(part: str) -> None:
    given_parts = {key: value for key, value in FROM_THE_CONTRACT.items() if key != part}
    assert Installation.model_validate(given_parts).unknown_keys() == ()


def test_unknown_keys_are_named_with_their_place() -> None:
    raw = {
        "amplifier": {"channels": 2, "colour": "red"},
        "speakers": {"sub": {"nominal_ohms": 2, "cone": "paper"}},
        "supply": {"wire": {"gauge": "4 AWG", "strands": 400}, "capacitor": 1.0},
        "roof": "open",
    }
    assert sorted(Installation.model_validate(raw).unknown_keys()) == [
        "amplifier.colour", "roof", "speakers.sub.cone", "supply.capacitor", "supply.wire.strands",
    ]  # fmt: skip


KEY = st.text(alphabet="abcdefghijklmnopqrstuvwxyz_", min_size=3, max_size=9).map("zz_".__add__)


@given(KEY, KEY)
def test_any_unknown_key_is_reported_once(top: str, inner: str) -> None:
    raw = {top: 1, "supply": {"main_fuse": {inner: 2}}}
    found = Installation.model_validate(raw).unknown_keys()
    assert sorted(found) == sorted([top, f"supply.main_fuse.{inner}"])


@pytest.mark.parametrize(
    ("raw", "place"),
    [
        ({"supply": {"wire": {"gauge": "4 XYZ"}}}, "supply.wire.gauge"),
        ({"supply": {"wire": {"length_m": -2}}}, "supply.wire.length_m"),
        ({"supply": {"wire": {"length_m": 0}}}, "supply.wire.length_m"),
        ({"supply": {"wire": {"length_m": float("inf")}}}, "supply.wire.length_m"),
        ({"supply": {"wire": {"material": "gold"}}}, "supply.wire.material"),
        ({"supply": {"main_fuse": {"amps": 0}}}, "supply.main_fuse.amps"),
        ({"amplifier": {"channels": 0}}, "amplifier.channels"),
        ({"amplifier": {"watts_per_channel": "many"}}, "amplifier.watts_per_channel"),
        ({"amplifier": {"minimum_ohms": -1}}, "amplifier.minimum_ohms"),
        ({"speakers": {"roof": {"nominal_ohms": 4}}}, "speakers.roof"),
        ({"speakers": {"sub": {"nominal_ohms": 0}}}, "speakers.sub.nominal_ohms"),
        ({"ambient_c": 400}, "ambient_c"),
        ({"ambient_c": float("nan")}, "ambient_c"),
        ({"amplifier": []}, "amplifier"),
    ],
)
def test_impossible_parts_are_refused_and_named(raw: dict[str, Any], place: str) -> None:
    with pytest.raises(ValidationError) as refused:
        Installation.model_validate(raw)
    assert place in model_error(refused.value)


@pytest.mark.parametrize("channels", [*range(1, 13), None])
def test_positions_for_every_channel_count(channels: int | None) -> None:
    installation = Installation.model_validate({"amplifier": {"channels": channels}})
    positions = positions_of(installation)
    assert positions
    assert set(pairs_of(installation)) == {pair_of(position) for position in positions}
    if channels is not None and channels <= 4:
        assert len(positions) == channels


def test_stated_speakers_win_over_the_channel_count() -> None:
    raw = {"amplifier": {"channels": 4}, "speakers": {"sub_2": {}, "front_right": {}}}
    installation = Installation.model_validate(raw)
    assert positions_of(installation) == ("front_right", "sub_2")


@pytest.mark.parametrize("position", POSITIONS)
def test_every_position_has_a_pair(position: Any) -> None:
    assert pair_of(position) in {"front", "rear", "sub"}


@pytest.mark.parametrize(
    "raw",
    [
        {"symptom": "explodes"},
        {"symptom": "protects", "when": ["tuesdays"]},
        {"symptom": "protects", "where": ["roof"]},
        {"symptom": "protects", "colour": "red"},
        {},
    ],
)
def test_unknown_complaints_are_refused(raw: dict[str, Any]) -> None:
    with pytest.raises(ValidationError):
        Complaint.model_validate(raw)


@pytest.mark.parametrize(
    "change",
    [
        {"red": "amp.nose"},
        {"black": None},
        {"black": "speaker.roof.positive"},
        {"setup": ("disconnect:roof",)},
        {"setup": ("remove:main_fuse.sub",)},
        {"quantity": "light"},
        {"quantity": "resistance", "vehicle": "running"},
        {"quantity": "resistance", "vehicle": "accessory"},
        {"quantity": "continuity", "vehicle": "cranking"},
        {"vehicle": "parked"},
        {"audio": "deafening"},
    ],
)
def test_a_do_outside_the_contract_is_refused(change: dict[str, Any]) -> None:
    good: dict[str, Any] = {
        "quantity": "dc_voltage", "red": "amp.power", "black": "amp.ground",
        "vehicle": "accessory", "audio": "quiet",
    }  # fmt: skip
    Do.model_validate(good)
    with pytest.raises(ValidationError):
        Do.model_validate({**good, **change})
