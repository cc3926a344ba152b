"""Where the tips go: the contract's nodes, and which end of a lifted wire a person touches.

Where the design is silent this house reads it so. Voltage is looked for on the side that feeds;
ohms on the side that was lifted off. A speaker measured at ``positive`` or ``negative`` is lifted
at the speaker, at ``amp_positive`` or ``amp_negative`` at the amplifier, both when a wire is
measured from end to end.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from assistant.practice.circuit import Situation, output_nodes

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assistant.practice.parts import Parts

__all__ = ["situation_of", "tips"]

_OHMS = ("resistance", "continuity")


def situation_of(do: Mapping[str, Any], parts: Parts) -> Situation:
    """Read a ``do`` into what was set up, with the ends at which each speaker is lifted."""
    setup = frozenset(do.get("setup", ()))
    ends: dict[str, frozenset[str]] = {}
    touched: dict[str, set[str]] = {}
    for node in (do.get("red"), do.get("black")):
        head, _, rest = str(node).partition(".")
        place, _, at = rest.partition(".")
        if head == "speaker" and at:
            touched.setdefault(place, set()).add("amp" if at.startswith("amp_") else "speaker")
    for place in parts.speakers:
        if {"disconnect:speakers", f"disconnect:speaker.{place}"} & setup:
            ends[place] = frozenset(touched.get(place, {"amp"}))
    return Situation(
        vehicle=str(do.get("vehicle", "off")),
        audio=str(do.get("audio", "off")),
        setup=setup,
        ends=ends,
    )


def tips(do: Mapping[str, Any], parts: Parts, situation: Situation) -> tuple[str, str]:
    """Give the network's nodes under the red and the black tip."""
    red, black = str(do["red"]), str(do["black"])
    return (
        _tip(red, black, str(do["quantity"]), parts, situation),
        _tip(black, red, str(do["quantity"]), parts, situation),
    )


def _tip(node: str, other: str, quantity: str, parts: Parts, situation: Situation) -> str:
    ohms = quantity in _OHMS
    setup = situation.setup
    if node == "amp.power" and "disconnect:amp_power" in setup:
        return _power_tip(other, ohms=ohms, situation=situation)
    if node == "amp.remote" and "disconnect:remote" in setup and "jumper:remote" not in setup:
        return "amp.remote" if ohms and other in {"amp.ground", "amp.power"} else "lead.remote"
    fuse_nodes = {"main_fuse.battery_side": "fuse.one", "main_fuse.amp_side": "fuse.other"}
    if ohms and "remove:main_fuse" in setup and node in fuse_nodes and other in fuse_nodes:
        # With the fuse pulled a person measures the fuse, not the empty holder.
        return fuse_nodes[node]
    place = node.removeprefix("speaker.").partition(".")[0]
    if node.startswith("speaker.") and place in parts.speakers:
        return _speaker_tip(node, other, parts, situation, ohms=ohms)
    return node


def _speaker_tip(node: str, other: str, parts: Parts, situation: Situation, *, ohms: bool) -> str:
    _, place, at = node.split(".")
    leg = at.removeprefix("amp_")
    at_amp, at_speaker = (situation.lifted(place, end) for end in ("amp", "speaker"))
    if at != leg:
        own = output_nodes(parts.speakers[place].output)
        return own[0 if leg == "positive" else 1] if at_amp and not ohms else node
    across = other in {f"speaker.{place}.positive", f"speaker.{place}.negative"}
    return f"coil.{place}.{leg}" if ohms and at_speaker and across and not at_amp else node


def _power_tip(other: str, *, ohms: bool, situation: Situation) -> str:
    live = "remove:main_fuse" not in situation.setup
    if ohms and (live or other in {"amp.ground", "amp.remote", "chassis"}):
        return "amp.power"
    return "lead.power"
