"""The upper half of the wiring drawing: charging, battery, main fuse, power wire and ground.

The positive run goes along the top to the amplifier, the chassis runs below it. Bands grow
with the tags that they hold, so that nothing overlaps by construction.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from assistant.reports.phrases import fuse_words, wire_words
from assistant.reports.wiring_second import lay_second_battery
from assistant.reports.wiring_shapes import Box, Sheet, Text

if TYPE_CHECKING:
    from assistant.knowledge.schema import Installation

__all__ = ["GROUND_X", "POWER_X", "lay_supply"]

GROUND_X: Final = 700.0
POWER_X: Final = 812.0
_CHARGING_X: Final = 96.0
_BATTERY_X: Final = 236.0
_FUSE_X: Final = (382.0, 528.0)
_CHASSIS_X: Final = 346.0
_TOP_NODES: Final = (
    ("charging.output", _CHARGING_X),
    ("battery.positive", _BATTERY_X),
    ("main_fuse.battery_side", _FUSE_X[0]),
    ("main_fuse.amp_side", _FUSE_X[1]),
)
_BELOW_RUN: Final = 64.0
_CHARGING_WORDS: Final = {"alternator": "Alternator", None: "Charging"}


def lay_supply(sheet: Sheet, installation: Installation, top: float) -> float:
    """Lay out the supply from ``top`` down; give the y of the amplifier's upper edge."""
    lane = max((sheet.room(name) for name, _ in _TOP_NODES), default=0.0)
    y_plus = top + (lane + 10 if lane else 16.0)
    low = _positive_run(sheet, installation, y_plus)
    y_chassis = max(y_plus + 150.0, low + sheet.room("battery.negative") + 6)
    second, y_joint = installation.supply.second_battery, y_plus
    if second is not None:
        y_joint, least = lay_second_battery(sheet, second, POWER_X, y_plus + _BELOW_RUN)
        y_chassis = max(y_chassis, least)
    _engine_side(sheet, installation, y_plus, y_chassis)
    y_amp = _ground_side(sheet, installation, y_chassis)
    corner = [(_FUSE_X[1], y_plus), (POWER_X, y_plus)]
    if second is None:
        sheet.wire("power_wire", "heavy", *corner, (POWER_X, y_amp))
    else:
        sheet.wire("power_wire", "heavy", *corner, (POWER_X, y_plus + _BELOW_RUN))
        sheet.wire("", "heavy", (POWER_X, y_joint), (POWER_X, y_amp))
    sheet.node("amp.power", (POWER_X, y_amp - 22), "right", reach=18, bottom=y_amp - 8)
    return y_amp


def _positive_run(sheet: Sheet, installation: Installation, y: float) -> float:
    """Draw from the charging output to the amplifier's corner; give the lowest edge of the fuse."""
    sheet.wire("", "heavy", (_CHARGING_X, y), (_FUSE_X[0], y))
    sheet.wire("main_fuse", "heavy", (_FUSE_X[0], y), (_FUSE_X[1], y))
    middle = (_FUSE_X[0] + _FUSE_X[1]) / 2
    sheet.part("main_fuse", Box(middle - 40, y - 13, 80, 26), (), glyph="fuse")
    fused = installation.supply.main_fuse
    fuse = sheet.label("main_fuse", (middle, y + 20), ["Main fuse", fuse_words(fused)], most=130)
    wire = wire_words(installation.supply.wire)
    centre = (_FUSE_X[1] + POWER_X) / 2 + 20
    sheet.label("power_wire", (centre, y + 12), ["Power wire", wire], most=220)
    for name, x in _TOP_NODES:
        sheet.node(name, (x, y), "above", reach=24)
    return fuse.bottom


def _engine_side(sheet: Sheet, installation: Installation, y_plus: float, y_chassis: float) -> None:
    charging = installation.vehicle.charging
    words = _CHARGING_WORDS.get(charging, (charging or "").replace("_", " ").capitalize())
    box = Box(_CHARGING_X - 62, y_plus + 26, 124, 60)
    sheet.wire("", "heavy", (_CHARGING_X, y_plus), (_CHARGING_X, box.y))
    sheet.part("charging", box, [words], top=box.cy + (-4 if "charging" in sheet.suspects else 5))
    block = Box(_CHARGING_X - 62, y_chassis - 20, 124, 40)
    sheet.wire("", "strap", (_CHARGING_X, box.bottom), (_CHARGING_X, block.y))
    sheet.part("engine_block", block, ["Engine block"], top=block.cy + 5)
    sheet.wire("", "strap", (block.right, y_chassis), (_BATTERY_X, y_chassis))
    sheet.node("engine_block", (_CHARGING_X, block.bottom), "below", reach=18)
    where = installation.supply.battery
    battery = Box(_BATTERY_X - 54, y_plus + 26, 108, 84)
    sheet.wire("", "heavy", (_BATTERY_X, y_plus), (_BATTERY_X, battery.y))
    sheet.wire("", "heavy", (_BATTERY_X, battery.bottom), (_BATTERY_X, y_chassis))
    details = ["Battery", *([where.replace("_", " ")] if where else [])]
    sheet.part("battery", battery, details, glyph="battery", top=battery.y + 30)
    y_minus = battery.bottom + (y_chassis - battery.bottom) / 2
    if installation.supply.second_battery is not None:
        y_minus = y_chassis - 26  # the run is long: the node stays beside its tag
    sheet.node(
        "battery.negative",
        (_BATTERY_X, y_minus),
        "right",
        reach=62,
        bottom=y_chassis - 12,
    )


def _ground_side(sheet: Sheet, installation: Installation, y: float) -> float:
    sheet.wire("", "chassis", (_BATTERY_X, y), (GROUND_X, y))
    ticks = Text(x=440, y=y + 26, text="Chassis (body metal)", style="label", anchor="start")
    for x in range(436, 556, 14):
        sheet.wire("", "tick", (x + 8.0, y), (x, y + 9))
    sheet.texts.append(ticks)
    wire = wire_words(installation.supply.ground)
    label = sheet.label(
        "ground_wire", (GROUND_X - 16, y + 34), ["Ground wire", wire], anchor="end", most=170
    )
    ground, power = sheet.room("amp.ground"), sheet.room("amp.power")
    y_amp = max(
        y + 84,
        label.bottom + 14,
        label.bottom + ground + 10 if ground else 0.0,
        y + 20 + power,
        y + 24 + sheet.room("chassis"),
        y + 44 + sheet.room("engine_block"),
    )
    sheet.wire("ground_wire", "heavy", (GROUND_X, y), (GROUND_X, y_amp))
    sheet.node("amp.ground", (GROUND_X, y_amp - 22), "left", reach=18, bottom=y_amp - 8)
    sheet.node("chassis", (_CHASSIS_X, y), "below", reach=18)
    return y_amp
