"""What customers' first texts are taken for. The texts are our own; common practice, no source."""

from __future__ import annotations

from typing import Any, get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.knowledge.schema import Installation, Symptom
from assistant.messaging.facts import facts_of, load_intake, named_places, says_nothing
from assistant.messaging.intake import TOPICS, ask, next_topic, opening, take
from assistant.messaging.memory import Draft, When
from assistant.messaging.segments import segments
from assistant.messaging.shop import Shop

_SHOP = Shop(name="Harbour Street Audio", now="2026-03-02T10:00:00+00:00", worlds=1500)


@pytest.mark.parametrize(
    ("text", "symptom", "when"),
    [
        ("amp goes into protect when running", "protects", ("running",)),
        ("the protect light comes on when its loud", "protects", ("loud",)),
        ("my amp's light turns red after 20 minutes", "protects", ("warm",)),
        ("it isn't in protection, it just won't turn on", "will_not_turn_on", ()),
        ("amp won\u2019t power up with the key on", "will_not_turn_on", ("accessory",)),
        ("no power to the amp", "will_not_turn_on", ()),
        ("amp is completly dead, no lights", "will_not_turn_on", ()),
        ("amp is on but no sound", "no_sound", ()),
        ("no bass at all, all the time", "no_sound", ("always",)),
        ("no sound from the left rear", "silent_channel", ()),
        ("right front speaker is dead", "silent_channel", ()),
        ("only one side plays", "silent_channel", ()),
        ("alternator whine that goes up with revs", "noise", ("running",)),
        ("buzzing noise", "noise", ()),
        ("cuts out over bumps", "cuts_out", ("bumps",)),
        ("cuts out when i turn it up", "cuts_out", ("loud",)),
        ("it shuts off right after start", "cuts_out", ("seconds_after_start",)),
        ("dies while cranking", "cuts_out", ("cranking",)),
        ("amp gets hot and shuts off", "cuts_out", ("warm",)),
        ("amp gets way too hot", "too_hot", ()),
        ("hello, can you look at my car", None, ()),
    ],
)
def test_symptom_and_time(text: str, symptom: Symptom | None, when: tuple[When, ...]) -> None:
    found = facts_of(text)
    assert found.symptom == symptom
    assert found.when == when


@pytest.mark.parametrize(
    "text",
    ["cuts out when i start the truck", "dies every time I start it", "noise once i fire it up"],
)
def test_starting_leaves_a_choice(text: str) -> None:
    found = facts_of(text)
    assert found.when == ()
    assert found.when_open == ("cranking", "seconds_after_start", "running")


@pytest.mark.parametrize(
    ("text", "tree"),
    [
        (
            "4 channel, 4 ohm speakers, 100 amp fuse",
            {
                "amplifier": {"channels": 4},
                "speakers": {"all": {"nominal_ohms": 4.0}},
                "supply": {"main_fuse": {"amps": 100.0}},
            },
        ),
        ("five channel class d", {"amplifier": {"channels": 5, "class": "D"}}),
        ("its a monoblock", {"amplifier": {"channels": 1}}),
        ("75 watts x 4, 4ch", {"amplifier": {"channels": 4, "watts_per_channel": 75.0}}),
        (
            "front pair 4 ohm and a 2\u03a9 sub",
            {
                "speakers": {
                    "front_left": {"nominal_ohms": 4.0},
                    "front_right": {"nominal_ohms": 4.0},
                    "sub": {"nominal_ohms": 2.0},
                }
            },
        ),
        (
            "1/0 gauge 16 feet cca, 250A anl fuse",
            {
                "supply": {
                    "main_fuse": {"amps": 250.0, "kind": "anl"},
                    "wire": {
                        "gauge": "1/0 AWG",
                        "length_m": 4.88,
                        "material": "copper_clad_aluminum",
                    },
                }
            },
        ),
        ("16mm2, 5 m, ofc", {"supply": {"wire": {"gauge": "16 mm2", "length_m": 5.0,
                                                "material": "copper"}}}),
        ("4 ga", {"supply": {"wire": {"gauge": "4 AWG"}}}),
        ("factory radio with a converter", {"source": {"kind": "factory_with_converter"}}),
        ("aftermarket deck, rcas", {"source": {"kind": "line_level"}}),
        ("i have a dsp", {"source": {"kind": "processor"}}),
        ("12.6 with the key on", {}),
    ],
)  # fmt: skip
def test_parts(text: str, tree: dict[str, Any]) -> None:
    assert facts_of(text).installation == tree


@pytest.mark.parametrize(
    ("text", "meter"),
    [
        ("dont have a meter", False),
        ("I don\u2019t own a multimeter", False),
        ("no meter here", False),
        ("my meter is broken", False),
        ("i have a multimeter", True),
        ("got a meter", True),
        ("the meter says 12", None),
    ],
)
def test_meter(text: str, meter: bool | None) -> None:
    assert facts_of(text).meter is meter


def test_places() -> None:
    assert named_places("rear left and the sub") == ("rear_left", "sub")
    assert named_places("driver side front") == ("front_left",)
    assert named_places("two subs") == ("sub", "sub_2")
    assert named_places("rear end") == ()


def test_every_topic_may_be_skipped() -> None:
    draft, asked = Draft(), []
    while (topic := next_topic(draft)) is not None:
        asked.append(topic)
        draft = take(draft.model_copy(update={"asked": topic}), "don't know").draft
    assert asked == [t for t in TOPICS if t != "where"]
    opened = opening(draft, _SHOP, "case-1")
    assert opened.complaint.symptom == "protects"
    assert opened.installation == Installation()
    assert opened.channel == "text"


def test_where_is_asked_for_a_silent_channel_only() -> None:
    draft = take(Draft(), "one side is dead, always").draft
    assert next_topic(draft) == "where"
    draft = take(draft.model_copy(update={"asked": "where"}), "3").draft
    assert draft.where == ("rear_left",)


def test_ohms_of_all_speakers_are_given_to_the_places_of_the_channels() -> None:
    draft = take(Draft(), "4 channel amp, 4 ohm speakers, sub 2 ohm").draft
    speakers = opening(draft, _SHOP, "case-1").installation.speakers
    assert speakers["rear_left"].nominal_ohms == 4.0
    assert speakers["sub"].nominal_ohms == 2.0


@pytest.mark.parametrize(
    ("text", "ohms"),
    [
        ("4ohm front and rears, sub 2ohm", {"front_left": 4, "rear_right": 4, "sub": 2}),
        ("front and rear 4 ohm", {"front_left": 4, "rear_left": 4}),
        ("front pair 4 ohm and a sub", {"front_left": 4, "front_right": 4, "sub": None}),
        ("two 4 ohm subs", {"sub": 4}),
    ],
)
def test_ohms_of_named_places(text: str, ohms: dict[str, float | None]) -> None:
    speakers = Installation.model_validate(
        {"speakers": facts_of(text).installation["speakers"]}
    ).speakers
    assert {place: speakers[place].nominal_ohms for place in ohms} == ohms  # type: ignore[index]


def test_seed_of_a_case_is_its_own_unless_the_shop_fixes_one() -> None:
    seeds = {_SHOP.seed_of(f"case-{n}") for n in range(50)}
    assert len(seeds) == 50
    fixed = Shop(name="x", now="", seed=3)
    assert {fixed.seed_of("a"), fixed.seed_of("b")} == {3}


def test_data_file_follows_the_schema() -> None:
    data = load_intake()
    assert set(data.symptoms) == set(get_args(Symptom)) == set(data.symptom_choices)
    assert tuple(data.symptom_choices) == get_args(Symptom)
    assert set(data.times) == set(get_args(When)) == set(data.when_choices)
    assert set(data.sources) == set(data.source_choices)


@pytest.mark.parametrize("topic", TOPICS)
def test_a_question_fits_one_message(topic: str) -> None:
    draft = Draft(symptom="silent_channel")
    assert segments(ask(draft, next(t for t in TOPICS if t == topic))) <= 2


@given(st.text(max_size=500))
@settings(max_examples=400, deadline=None)
def test_any_text_is_looked_at(text: str) -> None:
    found = facts_of(text)
    assert isinstance(says_nothing(text), bool)
    taken = take(Draft(asked="speakers"), text)
    assert taken.draft.symptom == found.symptom or taken.problem


@given(st.lists(st.sampled_from(["4 channel", "99 channel", "4 ohm speakers", "sub 0 ohm",
                                 "100 amp fuse", "0 amp fuse", "99 gauge", "4 gauge", "dsp",
                                 "rear left 2 ohm", "class d"]), max_size=6))  # fmt: skip
@settings(max_examples=200, deadline=None)
def test_what_is_taken_always_opens_a_case(texts: list[str]) -> None:
    draft = Draft()
    for text in texts:
        draft = take(draft, text).draft
    assert opening(draft, _SHOP, "case-1").installation.unknown_keys() == ()


@pytest.mark.parametrize(
    ("text", "speakers"),
    [
        ("sub is 2 ohm fronts 4 ohm", {"sub": 2.0, "front_left": 4.0, "front_right": 4.0}),
        ("2 ohm sub 4 ohm fronts", {"sub": 2.0, "front_left": 4.0, "front_right": 4.0}),
        ("rears 4 ohm with no sub", {"rear_left": 4.0, "rear_right": 4.0}),
    ],
)
def test_each_place_has_the_ohms_beside_it(text: str, speakers: dict[str, float]) -> None:
    found = facts_of(text).installation["speakers"]
    assert {place: told["nominal_ohms"] for place, told in found.items()} == speakers


@pytest.mark.parametrize(
    ("text", "meter"),
    [
        ("yea i got a cheap digital meter", True),
        ("my son has one, yes", True),
        ("found my dads old multimeter", True),
        ("no i dont have a meter", False),
        ("i have no multimeter", False),
        ("i got a 4 channel amp", None),
        ("i have one speaker out", None),
    ],
)
def test_whether_there_is_a_meter(text: str, meter: bool | None) -> None:
    assert facts_of(text).meter is meter


def test_a_place_that_is_said_to_be_missing_is_not_noted() -> None:
    found = facts_of("4 chanel, 4 door speakers n no sub")
    assert "sub" not in found.where
    assert found.installation["amplifier"]["channels"] == 4


@pytest.mark.parametrize(
    ("text", "second"),
    [
        (
            "5 channel amp, second battery in the trunk with an isolator",
            {"place": "trunk", "joined": "charge_relay"},
        ),
        (
            "theres a 2nd battery in the boot, wired directly",
            {"place": "trunk", "joined": "direct"},
        ),
        ("amp cuts out, i have an extra battery under the seat", {"place": "seat"}),
        ("aux battery, no isolator", {"joined": "direct"}),
        ("two batteries joined by a relay", {"joined": "charge_relay"}),
        ("got dual batteries, one battery in the trunk", {"place": "trunk"}),
        ("there is a second battery", {}),
        # Two batteries of a truck both stand under the hood: not what is meant.
        ("dual batteries", None),
        ("my truck has two batteries under the hood", None),
        ("no second battery", None),
        ("just one battery", None),
        ("the battery is fine", None),
        ("remote is fed by a relay", None),
    ],
)
def test_a_second_battery_is_taken_from_a_text(text: str, second: dict[str, str] | None) -> None:
    assert facts_of(text).installation.get("supply", {}).get("second_battery") == second


def test_a_second_battery_is_read_back_and_opens_its_case() -> None:
    taken = take(Draft(), "protects when loud, second battery in the trunk with a charge relay")
    assert "second battery with a relay" in taken.noted
    stated = opening(taken.draft, _SHOP, "case-1").installation
    assert stated.supply.second_battery is not None
    assert stated.supply.second_battery.joined == "charge_relay"
    assert stated.unknown_keys() == ()


def test_a_rear_battery_is_no_rear_speaker() -> None:
    assert facts_of("the rear battery is dead").where == ()
