from __future__ import annotations

import re

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from assistant.knowledge.schema import NODE_PATTERN, PAIRS, POSITIONS
from assistant.speech.spoken import spoken

_NODES = [
    "battery.positive", "charging.output", "main_fuse.battery_side", "amp.power", "amp.remote",
    *(f"speaker.{position}.amp_positive" for position in POSITIONS),
    *(f"signal.{pair}.shell" for pair in PAIRS),
]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("Red on amp.power, black on amp.ground.", "Red on amp power, black on amp ground."),
        ("Expect 11 to 15 V.", "Expect 11 to 15 volts."),
        ("between 11-15 V", "between 11 to 15 volts"),
        ("1 V or 1 ohm, not 2 Ω", "1 volt or 1 ohm, not 2 ohms"),
        ("12.6V at 35 mA", "12.6 volts at 35 milliamps"),
        ("-2.5 V at 25 °C", "minus 2.5 volts at 25 degrees"),
        ("12,6 V", "12.6 volts"),
        ("1,200 ohm", "1200 ohms"),
        ("4 AWG or 16 mm2", "4 gauge or 16 square millimetres"),
        ("120 mV AC", "120 millivolts A C"),
        ("fuse & wire", "fuse and wire"),
        ("disconnect:speaker.sub_2", "disconnect speaker sub 2"),
        ("Call 555-0142.", "Call 555-0142."),
        ("**Stop** the `engine`", "Stop the engine"),
        ("fifteen, one five, or fifty, five zero?", "fifteen, one five, or fifty, five zero?"),
        ("", ""),
    ],
)
def test_text_is_put_in_words(text: str, said: str) -> None:
    assert spoken(text) == said


@pytest.mark.parametrize("node", _NODES)
def test_no_node_name_is_spoken_with_its_dots(node: str) -> None:
    assert NODE_PATTERN.fullmatch(node)
    assert re.search(r"[._]", spoken(f"probe {node} now")) is None


@given(st.text(max_size=80))
@example("0\x1bV")
@example("3~~ohm")
def test_any_text_can_be_spoken_and_once_is_enough(text: str) -> None:
    said = spoken(text)
    assert not re.search(r"[`*_|#<>=&{}\[\]\\]", said)
    assert spoken(said) == said
