"""Plays the case of ``scenario.yaml``: ``demo/run`` starts this.

Without an option the answers are recordings, heard by the recogniser. With ``--type`` they are
typed and with ``--talk`` spoken, by whoever sits there.
"""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Final

from rich.console import Console
from rich.markup import escape
from rich.panel import Panel

from assistant.commands.recorded import run_recorded_case
from assistant.errors import ProbetellError
from assistant.readings.reading import reading_from_json
from demo.scenario import HERE, Scenario, load_scenario, scenario_ear

if TYPE_CHECKING:
    from assistant.diagnosis.casefile import CaseFile

__all__ = ["ROOT", "main", "misheard", "opening", "play"]

ROOT: Final = HERE.parent
OUT: Final = HERE / "out"
_WIDTH: Final = 96


def opening(console: Console, scenario: Scenario) -> None:
    """Print what the case is about."""
    console.print(
        Panel(
            escape(
                f"{scenario.workshop.name}, {scenario.workshop.telephone}\n"
                f"Vehicle: {scenario.vehicle}\n"
                f"Customer: {scenario.customer.name}, {scenario.customer.telephone}\n"
                f'"{scenario.customer.says}"'
            ),
            title="the case (all of it invented)",
            expand=False,
        )
    )


def play(scenario: Scenario, console: Console) -> CaseFile:
    """Play the recorded case through the built-in recogniser and give its file."""
    from assistant.commands.listening import file_ear

    def tell(text: str) -> None:
        console.print(f"[yellow]{escape(text)}[/yellow]")

    return run_recorded_case(
        scenario.installation,
        scenario.complaint,
        scenario.recordings(ROOT),
        console,
        scenario.seed,
        ear=scenario_ear(scenario, ROOT, file_ear(), tell),
        case_id="demo",
        workshop=scenario.workshop.name,
    )


def misheard(scenario: Scenario, file: CaseFile) -> list[str]:
    """List the checks whose reading is not what the recording says."""
    wrong = []
    for step in file.steps:
        if step.kind == "repaired" or step.check is None:
            continue
        said = scenario.answers.get(step.check.id)
        if said is None or step.reading != reading_from_json(said.reading):
            wrong.append(step.check.id)
    return wrong


def _closing(console: Console, scenario: Scenario, file: CaseFile) -> int:
    """Compare the outcome with the car; give the exit code."""
    answers = [step for step in file.steps if step.kind != "repaired"]
    wrong = misheard(scenario, file)
    console.print(f"{len(answers) - len(wrong)} of {len(answers)} answers taken as they were said.")
    for check in wrong:
        console.print(f"  not as it was said: {escape(check)}")
    named = file.verdict.faults[0][0] if file.verdict is not None and file.verdict.faults else ""
    hidden = scenario.car.fault
    if named == hidden:
        console.print(f"The fault that was hidden in the car, {hidden}, was found.")
    else:
        console.print(f"[red]Hidden in the car was {hidden}; the verdict names {named}.[/red]")
    return int(named != hidden)


def _by_hand(scenario: Scenario, *, talk: bool) -> int:
    """Let whoever sits there answer; their cases are kept under ``demo/out``."""
    from assistant.settings import load_settings

    os.environ.setdefault("PROBETELL_HOME", str(OUT / "cases"))
    os.environ.setdefault("PROBETELL_WORKSHOP", scenario.workshop.name)
    print("What this car would answer stands in demo/scenario.yaml.")
    print(f"Its cases are kept in {os.environ['PROBETELL_HOME']} (PROBETELL_HOME).")
    complaint = scenario.complaint
    words = f"{complaint.symptom}:{','.join(complaint.when)}:{','.join(complaint.where)}"
    settings, report = load_settings(), OUT / "case-report.html"
    installation = HERE / "scenario.yaml"
    if talk:
        from assistant.commands.talk import run_talk

        return run_talk(
            settings,
            installation=installation,
            complaint=words,
            resume=False,
            seed=scenario.seed,
            files=None,
            report=report,
        )
    from assistant.commands.typed import run_typed

    return run_typed(
        settings,
        installation=installation,
        complaint=words,
        resume=False,
        seed=scenario.seed,
        report=report,
    )


def main(arguments: list[str] | None = None) -> int:
    """Run as a command; give the exit code."""
    parser = argparse.ArgumentParser(prog="demo/run", description="Play the demonstration case.")
    ways = parser.add_mutually_exclusive_group()
    ways.add_argument("--talk", action="store_true", help="with microphone and loudspeaker")
    ways.add_argument("--type", action="store_true", help="at the keyboard")
    given = parser.parse_args(arguments)
    console = Console(highlight=False)
    if not console.is_terminal:
        console = Console(highlight=False, width=_WIDTH)
    try:
        OUT.mkdir(exist_ok=True)
        scenario = load_scenario()
        opening(console, scenario)
        if given.talk or given.type:
            return _by_hand(scenario, talk=given.talk)
        from assistant.reports import write_report

        file = play(scenario, console)
        write_report(file, OUT / "case-report.html")
    except ProbetellError as error:
        print(f"demo/run: {error}", file=sys.stderr)
        return 2
    code = _closing(console, scenario, file)
    console.print(f"Report of the case: {escape(str(Path('demo/out/case-report.html')))}")
    return code


if __name__ == "__main__":
    sys.exit(main())
