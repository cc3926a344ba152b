"""What the commands share: the clock, case ids, the casebook, and how a case is made."""

from __future__ import annotations

import secrets
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from assistant.errors import GivenError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from assistant.casebook.keeping import KeptCase
    from assistant.casebook.records import Casebook
    from assistant.casebook.sql import SqlCasebook
    from assistant.conversation.events import Opened
    from assistant.diagnosis.records import Diagnosing
    from assistant.knowledge.schema import Complaint, Installation
    from assistant.settings import Settings

__all__ = [
    "last_case",
    "load_complaint",
    "load_installation",
    "make_case",
    "needs_messages",
    "new_case_id",
    "now",
    "open_casebook",
    "open_diagnosis",
    "read_mapping",
]


@contextmanager
def needs_messages() -> Iterator[None]:
    """Say how to install the part for text messages where an import in the block fails."""
    try:
        yield
    except ImportError as error:
        raise GivenError(
            f"The part for text messages is not installed: {error}.",
            next_step="Run: pip install 'probetell[sms]'.",
        ) from error


def now() -> str:
    """Give the present time as ISO 8601 text, in UTC to the second."""
    return datetime.now(UTC).isoformat(timespec="seconds")


def new_case_id() -> str:
    """Make an id that sorts by time and does not repeat."""
    return f"{datetime.now(UTC):%Y%m%d-%H%M%S}-{secrets.token_hex(3)}"


def open_diagnosis(opened: Opened) -> Diagnosing:
    """Make the diagnosis of a case that is opened."""
    from assistant.diagnosis.session import Diagnosis

    return Diagnosis.open(
        installation=opened.installation,
        complaint=opened.complaint,
        seed=opened.seed,
        worlds=opened.worlds,
    )


def open_casebook(settings: Settings) -> SqlCasebook:
    """Open the casebook of the settings; raise ``GivenError`` when it cannot be used."""
    from assistant.casebook.sql import SqlCasebook

    if settings.database is None:
        try:
            settings.data_dir.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise GivenError(
                f"The directory {settings.data_dir} cannot be made: {error.strerror}.",
                next_step="Set PROBETELL_HOME to a directory that you may write to.",
            ) from error
    return SqlCasebook(settings.database_url)


def make_case(casebook: Casebook, case_id: str) -> KeptCase:
    """Give a case by its id: as far as it was kept, or fresh when it is new."""
    from assistant.casebook.keeping import KeptCase
    from assistant.conversation.dialogue import Dialogue

    case = KeptCase(dialogue=Dialogue(open_diagnosis), casebook=casebook, case_id=case_id, now=now)
    if casebook.has_case(case_id):
        case.resume()
    return case


def last_case(casebook: Casebook, *, still_open: bool = False) -> str:
    """Name the case that was opened last; raise ``GivenError`` when there is none."""
    for row in casebook.cases():
        if row.closed is None or not still_open:
            return row.case_id
    raise GivenError(
        "There is no open case to go on with." if still_open else "The casebook holds no case.",
        next_step="Start one with: probetell type.",
    )


def read_mapping(path: Path) -> dict[str, object]:
    """Read a YAML file that holds names and values; raise ``GivenError`` that names it."""
    import yaml

    try:
        raw = yaml.safe_load(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, yaml.YAMLError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise GivenError(
            f"The file {path} cannot be read: {' '.join(why.split())}.",
            next_step="Give a YAML or JSON file in UTF-8.",
        ) from error
    if not isinstance(raw, dict):
        raise GivenError(
            f"The file {path} is not a table of names and values.",
            next_step="See the example in: probetell type --help.",
        )
    return raw


def load_installation(path: Path) -> Installation:
    """Read an installation from YAML; a file with ``installation:`` on top is taken too."""
    from pydantic import ValidationError

    from assistant.knowledge.schema import Installation, model_error

    raw = read_mapping(path)
    try:
        return Installation.model_validate(raw.get("installation", raw))
    except ValidationError as error:
        raise GivenError(
            f"The installation in {path} cannot be used: {model_error(error)}.",
            next_step="Correct the named values, or leave out what is not known.",
        ) from error


def load_complaint(text: str) -> Complaint:
    """Read a complaint such as ``protects``, ``protects:running,loud`` or ``noise::front_left``.

    The parts are the symptom, when it comes, and which positions.
    """
    from pydantic import ValidationError

    from assistant.knowledge.schema import Complaint, model_error

    symptom, when, where = (*text.split(":"), "", "")[:3]
    try:
        return Complaint.model_validate(
            {
                "symptom": symptom.strip(),
                "when": [w.strip() for w in when.split(",") if w.strip()],
                "where": [w.strip() for w in where.split(",") if w.strip()],
            }
        )
    except ValidationError as error:
        raise GivenError(
            f"The complaint {text!r} cannot be used: {model_error(error)}.",
            next_step="Write it as in: protects:running,loud.",
        ) from error
