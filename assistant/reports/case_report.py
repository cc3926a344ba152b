"""The report of one case as one HTML file that needs nothing else."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from assistant.errors import GivenError
from assistant.reports.belief_plot import belief_svg
from assistant.reports.measurements import measured_steps
from assistant.reports.page import clean, environment
from assistant.reports.phrases import (
    QUANTITY_WORDS,
    complaint_words,
    expected_words,
    minutes_words,
    number,
    percent,
    probe_words,
    reading_words,
    second_battery_words,
    setup_words,
    state_words,
    surprising,
    wire_words,
)
from assistant.reports.vocabulary import Vocabulary, vocabulary_for
from assistant.reports.wiring import wiring_svg

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.diagnosis.casefile import CaseFile
    from assistant.diagnosis.records import Step, Verdict
    from assistant.knowledge.schema import Installation

__all__ = ["render_case", "write_report"]

_ALWAYS: Final = "procedures_first"
_LISTED: Final = 0.01
"""Repairs below this probability are counted, not listed."""
_ALSO: Final = 0.1
"""Other faults are named beside the verdict from this probability on."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """One line of the table of checks, in words."""

    number: int
    kind: str
    name: str
    how: str
    state: str
    reading: str
    expected: str
    surprising: bool
    minutes: str
    leader: str


@dataclass(frozen=True, slots=True, kw_only=True)
class _Option:
    words: str
    chance: str
    minutes: str
    beyond: str
    first: bool


def _sure_words(probability: float) -> str:
    for least, words in (
        (0.95, "nearly certain"),
        (0.80, "very likely"),
        (0.60, "likely"),
        (0.40, "the best bet, but open"),
    ):
        if probability >= least:
            return words
    return "only the best guess so far"


def _leader(step: Step, words: Vocabulary) -> str:
    faults = step.after.faults
    if not faults:
        return ""
    fault, chance = max(faults, key=lambda entry: entry[1])
    return f"{words.fault(fault)} ({percent(chance)})"


def _row(index: int, step: Step, words: Vocabulary) -> _Row:
    do = None if step.check is None else step.check.do
    name = "" if step.check is None else step.check.name
    how = state = ""
    if do is not None:
        quantity = f"{QUANTITY_WORDS[do.quantity]}: " if do.black else ""
        how = quantity + probe_words(do)
        state = "; ".join(part for part in (state_words(do), setup_words(do)) if part)
    if step.kind == "repaired":
        name = f"Repair done: {words.repair(step.repair or '')}"
    reading = "" if step.reading is None else reading_words(step.reading)
    if step.kind == "cannot":
        reading = "could not be done" + (f": {step.note}" if step.note else "")
    elif step.note and step.note != words.repair(step.repair or ""):
        reading = f"{reading} ({step.note})" if reading else step.note
    return _Row(
        number=index,
        kind=step.kind,
        name=name[:1].upper() + name[1:],
        how=how,
        state=state,
        reading=reading,
        expected=expected_words(step.expected),
        surprising=step.reading is not None and surprising(step.reading, step.expected),
        minutes=minutes_words(step.minutes),
        leader=_leader(step, words),
    )


def _cautions(steps: Sequence[Step], words: Vocabulary) -> list[tuple[str, str]]:
    """Give the cautions of the checks in the order they were met, the standing one first."""
    met = [_ALWAYS]
    for step in steps:
        met += [] if step.check is None else step.check.cautions
    return [words.caution(identifier) for identifier in dict.fromkeys(met)]


def _options(verdict: Verdict, words: Vocabulary) -> list[_Option]:
    return [
        _Option(
            words=words.repair(option.repair),
            chance=percent(option.probability),
            minutes=minutes_words(option.minutes),
            beyond=words.beyond(option.repair),
            first=option.repair == verdict.repair,
        )
        for option in verdict.order
        if option.probability >= _LISTED or option.repair == verdict.repair
    ]


def _suspected(verdict: Verdict, words: Vocabulary) -> tuple[list[str], list[str]]:
    """Name the faults that the verdict's repair ends, and others of 10 % and more."""
    ranked = sorted(verdict.faults, key=lambda entry: -entry[1])
    mended = [entry for entry in ranked if words.fault_repairs.get(entry[0]) == verdict.repair]
    own = [entry for entry in mended[:2] if entry == mended[0] or entry[1] >= _ALSO]
    own = own or ranked[:1]
    others = [entry for entry in ranked if entry[1] >= _ALSO and entry not in own][:3]

    def told(entries: list[tuple[str, float]]) -> list[str]:
        return [f"{words.fault(fault)} ({percent(chance)})" for fault, chance in entries]

    return told(own), told(others)


def _confirmed(case: CaseFile) -> bool:
    """Tell whether the verdict's repair was done and ended the trouble."""
    verdict = case.verdict
    done = [step.repair for step in case.steps if step.kind == "repaired"]
    return verdict is not None and verdict.repair in done and verdict.probability >= 1.0


def _installation_words(installation: Installation) -> list[tuple[str, str]]:
    amp, supply = installation.amplifier, installation.supply
    power = f"{number(amp.watts_per_channel)} W a channel" if amp.watts_per_channel else ""
    channels = f"{amp.channels} channels" if amp.channels and amp.channels > 1 else ""
    channels = "one channel" if amp.channels == 1 else channels
    kind = f"class {amp.amplifier_class}" if amp.amplifier_class else ""
    fuse = supply.main_fuse
    rating = f"{number(fuse.amps)} A" if fuse and fuse.amps else ""
    lines = [
        ("Amplifier", ", ".join(part for part in (channels, power, kind) if part)),
        ("Source", (installation.source.kind or "").replace("_", " ")),
        ("Power wire", wire_words(supply.wire) if supply.wire else ""),
        ("Ground wire", wire_words(supply.ground) if supply.ground else ""),
        ("Main fuse", f"{rating} {(fuse.kind if fuse else '') or ''}".strip().replace("_", " ")),
        ("Second battery", second_battery_words(supply.second_battery)),
        ("Charging", (installation.vehicle.charging or "").replace("_", " ")),
        ("Air", "" if installation.ambient_c is None else f"{number(installation.ambient_c)} °C"),
    ]
    return [(name, text) for name, text in lines if text]


def render_case(case: CaseFile) -> str:
    """Render ``case`` as one HTML page: no script, no network, the same text for the same case.

    The page holds the verdict, the reply, the order of repairs, the evidence, every check, the
    wiring with the measured values, and the plot of the belief. A case without a verdict is
    shown as open. Text from outside is escaped, control characters are replaced.
    """
    words = vocabulary_for(case.installation)
    verdict = case.verdict
    rows = [_row(index, step, words) for index, step in enumerate(case.steps, start=1)]
    options = [] if verdict is None else _options(verdict, words)
    behind, others = ([], []) if verdict is None else _suspected(verdict, words)
    beyond = [option.beyond for option in options if option.beyond]
    template = environment().get_template("case_report.html.j2")
    return template.render(
        case=case,
        opened=(case.opened or "").replace("T", " ")[:16],
        complaint=complaint_words(case.complaint),
        installation=_installation_words(case.installation),
        unknown_keys=case.installation.unknown_keys(),
        verdict=verdict,
        repair="" if verdict is None else words.repair(verdict.repair),
        chance="" if verdict is None else percent(verdict.probability),
        sure="" if verdict is None else _sure_words(verdict.probability),
        beyond_first="" if verdict is None else words.beyond(verdict.repair),
        beyond=list(dict.fromkeys(beyond)),
        options=options,
        left_out=0 if verdict is None else len(verdict.order) - len(options),
        confirmed=_confirmed(case),
        behind=behind,
        others=others,
        rows=rows,
        events=[row for row in rows if row.kind != "reading"],
        spent=minutes_words(sum(step.minutes for step in case.steps)),
        measured=measured_steps(case.steps),
        cautions=_cautions(case.steps, words),
        wiring=wiring_svg(case, words.fault_repairs),
        plot=belief_svg(case, words.repair),
    )


def write_report(case: CaseFile, path: Path | str) -> None:
    """Write the report of ``case`` to ``path`` as UTF-8; raise ``GivenError`` when it can't be."""
    target = Path(path)
    text = render_case(case)
    try:
        target.write_text(text, encoding="utf-8", newline="\n")
    except OSError as failure:
        raise GivenError(
            f"The report could not be written to {clean(str(target))}: {failure.strerror}.",
            next_step="Give a path in a folder that exists and that you may write to.",
        ) from failure
