"""The wiring of one installation with the measured values at their probes, as inline SVG."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from markupsafe import Markup

from assistant.knowledge import pair_of, positions_of
from assistant.knowledge.schema import PAIRS, POSITIONS, Pair, Position
from assistant.reports.measurements import measured_steps, notes_by_node
from assistant.reports.page import environment
from assistant.reports.suspect import suspect_parts
from assistant.reports.wiring_rows import lay_amplifier, lay_rows
from assistant.reports.wiring_shapes import Sheet
from assistant.reports.wiring_supply import GROUND_X, POWER_X, lay_supply

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assistant.diagnosis.casefile import CaseFile

__all__ = ["WIDTH", "lay_out", "wiring_svg"]

WIDTH: Final = 964.0
_TOP: Final = 12.0


def _named(case: CaseFile) -> tuple[str, ...]:
    """Give every node, place and leading fault that the case speaks of, each with a dot after."""
    names = [] if case.verdict is None else [fault for fault, _ in case.verdict.faults[:3]]
    for step in case.steps:
        if step.check is not None:
            names += [step.check.do.red, step.check.do.black or ""]
    return tuple(f"{name}." for name in names)


def _drawn(case: CaseFile) -> tuple[tuple[Position, ...], tuple[Pair, ...]]:
    """Give the positions and pairs to draw: those installed, complained of, or spoken of."""
    names = _named(case)

    def spoken_of(*starts: str) -> bool:
        return any(name.startswith(starts) for name in names)

    known = {*positions_of(case.installation), *case.complaint.where}
    positions = tuple(
        position
        for position in POSITIONS
        if position in known or spoken_of(f"speaker.{position}.", f"sound.{position}.")
    )
    fed = {pair_of(position) for position in positions}
    pairs = tuple(pair for pair in PAIRS if pair in fed or spoken_of(f"signal.{pair}."))
    return positions, pairs


def lay_out(case: CaseFile, fault_repairs: Mapping[str, str]) -> Sheet:
    """Lay out the drawing: every part, wire, node, tag and mark with its place.

    Speakers drawn are those of the installation, the complaint, the checks and the verdict.
    ``fault_repairs`` maps each fault to the repair that ends it.
    """
    positions, pairs = _drawn(case)
    sheet = Sheet(
        notes=notes_by_node(measured_steps(case.steps)),
        suspects=suspect_parts(
            case.verdict, fault_repairs=fault_repairs, positions=positions, pairs=pairs
        ),
        width=WIDTH,
    )
    y_amp = lay_supply(sheet, case.installation, _TOP)
    rows = lay_rows(sheet, case.installation, y_amp + 8, positions=positions, pairs=pairs)
    sheet.height = lay_amplifier(sheet, case.installation, y_amp, rows) + 12
    return sheet


def wiring_svg(case: CaseFile, fault_repairs: Mapping[str, str]) -> Markup:
    """Draw the wiring as an SVG element for an HTML page; deterministic for a case."""
    sheet = lay_out(case, fault_repairs)
    template = environment().get_template("wiring.svg.j2")
    return Markup(template.render(sheet=sheet, ground_x=GROUND_X, power_x=POWER_X))  # noqa: S704
