"""Installations that the data are held against."""

from __future__ import annotations

from assistant.knowledge.schema import POSITIONS, Installation

EVERYTHING = Installation.model_validate(
    {
        "amplifier": {"channels": 5, "watts_per_channel": 75, "class": "D"},
        "speakers": {position: {"nominal_ohms": 4} for position in POSITIONS},
        "source": {"kind": "factory_with_converter"},
        "supply": {"second_battery": {"place": "trunk", "joined": "charge_relay"}},
    }
)
NOTHING_KNOWN = Installation()
ONE_SUB = Installation.model_validate(
    {
        "amplifier": {"channels": 1, "watts_per_channel": 500, "class": "D", "minimum_ohms": 1},
        "speakers": {"sub": {"nominal_ohms": 2}},
        "source": {"kind": "line_level"},
    }
)
TWO_FRONT = Installation.model_validate({"amplifier": {"channels": 2}})
SPEAKER_LEVEL = Installation.model_validate(
    {
        "amplifier": {"channels": 4, "class": "AB"},
        "source": {"kind": "speaker_level"},
    }
)

BOAT = Installation.model_validate(
    {
        "amplifier": {"channels": 4, "watts_per_channel": 80, "class": "D"},
        "supply": {
            "wire": {"gauge": "35 mm2", "material": "copper", "length_m": 8.5},
            "ground": {"gauge": "35 mm2", "material": "copper", "length_m": 8.5},
            "second_battery": {"place": "locker", "joined": "direct"},
        },
    }
)

INSTALLATIONS = {
    "everything": EVERYTHING,
    "nothing known": NOTHING_KNOWN,
    "one sub": ONE_SUB,
    "two front": TWO_FRONT,
    "speaker level": SPEAKER_LEVEL,
    "boat": BOAT,
}
