"""The second battery in the wiring drawing: on the power wire's way down to the amplifier.

Charge relay and second fuse sit on the vertical run, each node below the one before; the battery
hangs to the left of the joint, with its own ground wire to the chassis.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from assistant.reports.phrases import fuse_words, wire_words
from assistant.reports.wiring_shapes import Box

if TYPE_CHECKING:
    from assistant.knowledge.schema import SecondBattery
    from assistant.reports.wiring_shapes import Sheet

__all__ = ["lay_second_battery"]

_BATTERY_X: Final = 620.0
_PART: Final = (80.0, 26.0)
_GAP: Final = 8.0
_PLAIN_GAP: Final = 20.0


def lay_second_battery(
    sheet: Sheet, second: SecondBattery, x: float, top: float
) -> tuple[float, float]:
    """Lay it out on the vertical run at ``x`` from ``top`` down.

    Gives the y of the joint and the least y of the chassis run.
    """
    y = top
    if second.joined != "direct":
        y = _node(sheet, "charge_relay.battery_side", x, y)
        y = _part(sheet, "charge_relay", x, y, ["Charge relay"])
        y = _node(sheet, "charge_relay.amp_side", x, y)
    y = _node(sheet, "second_fuse.wire_side", x, y)
    y = _part(sheet, "second_fuse", x, y, ["Second fuse", fuse_words(second.fuse)], glyph="fuse")
    for name in ("second_fuse.battery_side", "second_battery.positive"):
        y = _node(sheet, name, x, y)
    joint = y + 12
    sheet.wire("power_wire", "heavy", (x, top), (x, joint))
    battery = Box(_BATTERY_X - 54, joint + 22, 108, 84)
    sheet.wire("", "heavy", (x, joint), (_BATTERY_X, joint), (_BATTERY_X, battery.y))
    words = ["Battery 2", *([second.place.replace("_", " ")] if second.place else [])]
    sheet.part("second_battery", battery, words, glyph="battery", top=battery.y + 30)
    label = sheet.label(
        "second_ground", (_BATTERY_X - 10, battery.bottom + 8),
        ["Its ground wire", wire_words(second.ground)], anchor="end", most=150,
    )  # fmt: skip
    room = sheet.room("second_battery.negative")
    y_chassis = max(label.bottom + 12, battery.bottom + room + 22)
    sheet.wire("second_ground", "heavy", (_BATTERY_X, battery.bottom), (_BATTERY_X, y_chassis))
    sheet.node(
        "second_battery.negative", (_BATTERY_X, battery.bottom + 32), "right", reach=18,
        bottom=battery.bottom + 6 + room,
    )  # fmt: skip
    return joint, y_chassis


def _node(sheet: Sheet, name: str, x: float, y: float) -> float:
    room = sheet.room(name)
    low = y + (room + _GAP if room else _PLAIN_GAP)
    sheet.node(name, (x, low - 10), "right", reach=18, bottom=low - 4)
    return low


def _part(
    sheet: Sheet, key: str, x: float, y: float, words: list[str], *, glyph: str = ""
) -> float:
    width, height = _PART
    box = Box(x - width / 2, y + _GAP, width, height)
    sheet.part(key, box, (), glyph=glyph)
    label = sheet.label(key, (box.x - 8, box.y - 4), words, anchor="end", most=120)
    return max(box.bottom, label.bottom) + _GAP
