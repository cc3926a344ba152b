"""The lower half of the wiring drawing: what joins the amplifier's long side.

Each row is one lead: the remote lead, the signal pairs, then the speakers. The device stands
on the left, the amplifier on the right; a row is as high as its tags need.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from assistant.reports.phrases import PAIR_WORDS, POSITION_WORDS, number
from assistant.reports.wiring_shapes import LINE, Box, Sheet, Text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.knowledge.schema import Installation, Pair, Position

__all__ = ["AMP_LEFT", "lay_amplifier", "lay_rows"]

AMP_LEFT: Final = 660.0
AMP_RIGHT: Final = 944.0
_LEFT: Final = 20.0
_DEVICE_RIGHT: Final = 184.0
_NEAR: Final = 214.0
_FAR: Final = 630.0
_MIDDLE: Final = (_DEVICE_RIGHT + AMP_LEFT) / 2
_INNER: Final = 808.0
_GAP: Final = 16.0

_SOURCES: Final = {
    "line_level": ("Source", "line-level output"),
    "factory_with_converter": ("Factory radio", "speaker output"),
    "speaker_level": ("Source", "speaker-level output"),
    "processor": ("Source", "output to processor"),
    None: ("Source", ""),
}
_BETWEEN: Final = {
    "factory_with_converter": ("Converter", "speaker to line level"),
    "processor": ("Signal processor", "line-level output"),
}


def lay_rows(
    sheet: Sheet,
    installation: Installation,
    top: float,
    *,
    positions: Sequence[Position],
    pairs: Sequence[Pair],
) -> float:
    """Lay out all rows from ``top`` down; give the y below the last one."""
    remote_bottom = _remote(sheet, top)
    y = remote_bottom
    for pair in pairs:
        y = _signal(sheet, pair, y)
    _source(sheet, installation, Box(_LEFT, top, _DEVICE_RIGHT - _LEFT, y - top), remote_bottom)
    y += _GAP
    for position in positions:
        y = _speaker(sheet, installation, position, y)
    if "noise.whine" in sheet.notes:
        box = Box(_LEFT, y, _DEVICE_RIGHT - _LEFT, 44)
        sheet.part("noise", box, ["Noise", "in the sound"], text_x=box.x + 14, top=box.y + 20)
        bottom = y + max(box.h, sheet.room("noise.whine") - 16)
        sheet.node("noise.whine", (box.right, box.cy), "right", reach=22, bottom=bottom)
        y = bottom + _GAP
    return y


def _terminal(sheet: Sheet, y: float, text: str) -> None:
    sheet.texts.append(Text(x=AMP_LEFT + 12, y=y + 4, text=text, style="terminal"))


def _remote(sheet: Sheet, top: float) -> float:
    lane = max(
        sheet.room("source.remote"),
        sheet.room("amp.remote"),
        sheet.label_room("remote", 1) + 6,
    )
    y = top + 12 + lane
    sheet.wire("remote", "thin", (_DEVICE_RIGHT, y), (AMP_LEFT, y))
    sheet.label("remote", (_MIDDLE, y - 6), ["Remote lead"], grow="up")
    sheet.node("source.remote", (_NEAR, y), "above", align=0)
    sheet.node("amp.remote", (_FAR, y), "above", align=1)
    _terminal(sheet, y, "remote")
    return y + 16


def _signal(sheet: Sheet, pair: Pair, top: float) -> float:
    key = f"signal.{pair}"
    lane = max(sheet.room(f"{key}.center"), sheet.label_room(key, 1) + 6)
    y = top + 8 + lane
    low = y + 20
    sheet.wire(key, "thin", (_DEVICE_RIGHT, y), (AMP_LEFT, y))
    sheet.wire(key, "shell", (_DEVICE_RIGHT, low), (AMP_LEFT, low))
    words = f"{PAIR_WORDS[pair].capitalize()} signal leads"
    sheet.label(key, (_MIDDLE, y - 6), [words], grow="up", most=220)
    sheet.node(f"{key}.center", (_FAR, y), "above", align=1)
    sheet.node(f"{key}.shell", (_FAR, low), "below", align=1)
    _terminal(sheet, y, f"{pair} in, center")
    _terminal(sheet, low, f"{pair} in, shell")
    return low + max(sheet.room(f"{key}.shell"), 0.0) + 14


def _source(sheet: Sheet, installation: Installation, box: Box, remote_bottom: float) -> None:
    kind = installation.source.kind
    unknown = ("Source", (kind or "").replace("_", " "))
    words = [line for line in _SOURCES.get(kind, unknown) if line]
    between = _BETWEEN.get(kind or "")
    suspect_converter = "converter" in sheet.suspects and between is None
    if between is not None and box.bottom - remote_bottom > 60:
        upper = Box(box.x, box.y, box.w, remote_bottom - box.y)
        lower = Box(box.x, remote_bottom + 14, box.w, box.bottom - remote_bottom - 14)
        sheet.part("source", upper, words, text_x=upper.x + 14, top=upper.y + 22)
        sheet.wire("", "speaker", (upper.cx, upper.bottom), (upper.cx, lower.y))
        sheet.part("converter", lower, between, text_x=lower.x + 14, top=lower.y + 24)
        return
    if suspect_converter:
        sheet.suspects = {**sheet.suspects, "source": sheet.suspects["converter"]}
    sheet.part("source", box, words, text_x=box.x + 14, top=box.y + 24)


def _speaker(sheet: Sheet, installation: Installation, position: Position, top: float) -> float:
    key, wires = f"speaker.{position}", f"speaker_wires.{position}"
    above = max(sheet.room(f"{key}.amp_positive"), sheet.room(f"{key}.positive"))
    if wires in sheet.suspects:
        above = max(above, sheet.label_room(wires, 1) + 6)
    y = top + above + 14
    low = y + 26
    speaker = installation.speakers.get(position)
    ohms = None if speaker is None else speaker.nominal_ohms
    origin = None if speaker is None else speaker.origin
    detail = ", ".join(
        part
        for part in (f"{number(ohms)} Ω" if ohms else "", (origin or "").replace("_", " "))
        if part
    )
    extra = LINE if key in sheet.suspects else 0.0
    box = Box(_LEFT, y - 14, _DEVICE_RIGHT - _LEFT, 54 + extra)
    for run in (y, low):
        sheet.wire(wires, "speaker", (_DEVICE_RIGHT, run), (AMP_LEFT, run))
    if wires in sheet.suspects:
        words = f"{POSITION_WORDS[position].capitalize()} speaker wires"
        sheet.label(wires, (_MIDDLE, y - 6), [words], grow="up", most=220)
    name = POSITION_WORDS[position].capitalize()
    details = [name, detail] if detail else [name]
    sheet.part(key, box, details, glyph="speaker", text_x=box.x + 46, top=y + 6)
    for run, sign in ((y, "+"), (low, "−")):
        sheet.texts.append(
            Text(x=box.right - 12, y=run + 5, text=sign, style="sign", anchor="middle")
        )
    sheet.node(f"{key}.positive", (_NEAR, y), "above", align=0)
    sheet.node(f"{key}.amp_positive", (_FAR, y), "above", align=1)
    sheet.node(f"{key}.negative", (_NEAR, low), "below", align=0)
    sheet.node(f"{key}.amp_negative", (_FAR, low), "below", align=1)
    _terminal(sheet, y, f"{POSITION_WORDS[position]} +")
    _terminal(sheet, low, f"{POSITION_WORDS[position]} −")
    sheet.node(f"sound.{position}", (box.x + 24, box.bottom), "below", align=0, reach=12)
    below = max(sheet.room(f"{key}.negative"), sheet.room(f"{key}.amp_negative"))
    return max(low + below, box.bottom + sheet.room(f"sound.{position}")) + _GAP


def _amplifier_words(installation: Installation) -> list[str]:
    amp = installation.amplifier
    power = f"{number(amp.watts_per_channel)} W" if amp.watts_per_channel else ""
    if amp.channels and power:
        power = f"{amp.channels} × {power}"
    elif amp.channels:
        power = f"{amp.channels} channel{'s' if amp.channels > 1 else ''}"
    kind = f"class {amp.amplifier_class}" if amp.amplifier_class else ""
    lines = [", ".join(part for part in (power, kind) if part)]
    if amp.fuse_amps:
        fuse = "fuse" if len(amp.fuse_amps) == 1 else "fuses"
        lines.append(f"{fuse} " + " + ".join(number(amps) for amps in amp.fuse_amps) + " A")
    least = amp.minimum_ohms_bridged if amp.bridged else amp.minimum_ohms
    if least:
        lines.append(f"at least {number(least)} Ω{', bridged' if amp.bridged else ''}")
    elif amp.bridged:
        lines.append("bridged")
    return ["Amplifier", *(line for line in lines if line)]


def lay_amplifier(
    sheet: Sheet, installation: Installation, top: float, rows_bottom: float
) -> float:
    """Draw the amplifier beside the rows with its lights and case; give its lower edge."""
    words = _amplifier_words(installation)
    y = top + 58 + (len(words) + (1 if "amplifier" in sheet.suspects else 0)) * LINE
    for node, text in (
        ("amp.power_light", "power light"),
        ("amp.protect_light", "protection light"),
        ("amp.case", "case"),
    ):
        sheet.texts.append(Text(x=_INNER + 19, y=y + 4, text=text, style="terminal"))
        sheet.lamps.append((_INNER + 7, y))
        sheet.node(node, (_INNER + 7, y), "below", align=0, reach=12)
        y += 24 + sheet.room(node)
    bottom = max(y, rows_bottom)
    box = Box(AMP_LEFT, top, AMP_RIGHT - AMP_LEFT, bottom - top)
    sheet.part("amplifier", box, words, text_x=_INNER, top=top + 48)
    return bottom
