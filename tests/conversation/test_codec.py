"""Events keep through their JSON form, and the form is what a person can read."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.conversation.codec import event_from_json, event_to_json
from assistant.conversation.events import (
    Acknowledged,
    Alternative,
    Asked,
    CannotDo,
    Close,
    Exact,
    Heard,
    Opened,
    Repaired,
    Silence,
    Typed,
    Undo,
)
from assistant.errors import GivenError
from assistant.knowledge.schema import Complaint, Installation
from assistant.readings.reading import Beep, OpenLine, Seen, Unstable, Value

if TYPE_CHECKING:
    from assistant.conversation.events import Given

NUMBERS = st.floats(allow_nan=False, allow_infinity=False)
READINGS = st.one_of(
    st.builds(Value, value=NUMBERS, unit=st.sampled_from(["V", "mV", "A", "mA", "ohm", "kohm"])),
    st.just(OpenLine()),
    st.builds(Beep, heard=st.booleans()),
    st.builds(Unstable, low=NUMBERS | st.none(), high=NUMBERS | st.none(), unit=st.just("ohm")),
    st.builds(Seen, state=st.text(max_size=8)),
)
OPENED = st.builds(
    Opened,
    installation=st.sampled_from(
        [
            Installation(),
            Installation.model_validate(
                {
                    "amplifier": {"channels": 5, "class": "D", "fuse_amps": [40, 40], "odd": 1},
                    "speakers": {"sub": {"nominal_ohms": 2}},
                    "supply": {"wire": {"gauge": "4 AWG", "length_m": 5.5}},
                    "ambient_c": -10,
                }
            ),
        ]
    ),
    complaint=st.builds(
        Complaint, symptom=st.just("noise"), when=st.sampled_from([(), ("running", "loud")])
    ),
    seed=st.integers(0, 2**40),
    channel=st.sampled_from(["voice", "typed", "text", "machine"]),
    worlds=st.none() | st.integers(1, 10**6),
)
EVENTS = st.one_of(
    OPENED,
    st.builds(
        Heard,
        alternatives=st.lists(
            st.builds(Alternative, text=st.text(), weight=NUMBERS), max_size=3
        ).map(tuple),
    ),
    st.builds(Typed, text=st.text()),
    st.builds(Exact, check=st.text(), reading=READINGS),
    st.builds(CannotDo, check=st.none() | st.text(), why=st.text()),
    st.builds(Repaired, repair=st.text(), fixed=st.booleans()),
    st.builds(Asked, command=st.sampled_from(["why", "correct", "stop"]), argument=st.text()),
    st.sampled_from([Undo(), Acknowledged(), Silence(), Close()]),
)


@given(EVENTS)
def test_every_event_comes_back_unchanged(event: Given) -> None:
    assert event_from_json(json.loads(json.dumps(event_to_json(event)))) == event


@pytest.mark.parametrize(
    "raw",
    [
        {},
        {"event": "no_such"},
        {"event": "typed"},
        {"event": "exact", "check": "x", "reading": {"value": "12", "unit": "V"}},
        {"event": "opened", "installation": {}, "complaint": {"symptom": "sings"}},
        {"event": "opened", "installation": {}, "complaint": {"symptom": "noise"}, "channel": "x"},
        {"event": "asked", "command": "dance"},
        {"event": "heard", "alternatives": 3},
    ],
)
def test_what_is_no_event_is_said_to_be_none(raw: dict[str, object]) -> None:
    with pytest.raises(GivenError, match="cannot be read"):
        event_from_json(raw)
