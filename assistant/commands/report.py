"""``probetell report``: the report of a kept case."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from assistant.commands.workplace import last_case, make_case, open_casebook
from assistant.errors import GivenError

if TYPE_CHECKING:
    from assistant.settings import Settings

__all__ = ["run_report"]


def run_report(
    settings: Settings, *, case_id: str | None, last: bool, listing: bool, output: Path | None
) -> int:
    """Write a report, or list the cases; raise ``GivenError`` when there is no such case."""
    casebook = open_casebook(settings)
    if listing:
        for row in casebook.cases():
            print(f"{row.case_id}  {row.opened}  {'closed' if row.closed else 'open'}")
        return 0
    if (case_id is None) == (not last):
        raise GivenError("No case is named.", next_step="Give a case id, or --last, or --list.")
    wanted = last_case(casebook) if case_id is None else case_id
    case = make_case(casebook, wanted)
    if not case.begun:
        raise GivenError(
            f"There is no case {wanted!r} in the casebook.",
            next_step="List the cases with: probetell report --list.",
        )
    from assistant.reports import write_report

    target = Path(f"{wanted}.html") if output is None else output
    write_report(case.case_file(workshop=settings.workshop), target)
    print(target)
    return 0
