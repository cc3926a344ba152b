"""``probetell selfcheck``: which parts are ready, and what to do about the others."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from importlib import import_module
from typing import TYPE_CHECKING

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from assistant.commands.workplace import open_casebook
from assistant.errors import ProbetellError

if TYPE_CHECKING:
    from assistant.settings import Settings

__all__ = ["Part", "parts", "run_selfcheck"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One part: ``needed`` by every case or optional, and what to do when it is not ready."""

    part: str
    ready: bool
    detail: str
    install: str = ""
    needed: bool = False


def _data_files() -> Part:
    from assistant.conversation.phrases import load_phrases
    from assistant.knowledge import load
    from assistant.readings.grammarfile import grammar_names, load_grammar

    try:
        knowledge, phrases = load(), load_phrases()
        grammars = [load_grammar(name) for name in grammar_names()]
    except ProbetellError as error:
        return Part(
            part="data files",
            ready=False,
            detail=error.message,
            install=error.next_step,
            needed=True,
        )
    checks, faults = len(knowledge.check_entries), len(knowledge.fault_entries)
    counted = (
        f"{checks} kinds of checks, {faults} of faults, "
        f"{len(grammars)} grammars, {len(phrases.phrases)} phrases"
    )
    return Part(part="data files", ready=True, detail=counted, needed=True)


def _store(settings: Settings) -> Part:
    try:
        book = open_casebook(settings)
        try:
            cases = book.cases()
        finally:
            book.dispose()
    except ProbetellError as error:
        return Part(
            part="store", ready=False, detail=error.message, install=error.next_step, needed=True
        )
    where = settings.data_dir if settings.database is None else "the database of the settings"
    return Part(part="store", ready=True, detail=f"{len(cases)} cases in {where}", needed=True)


def _reports() -> Part:
    try:
        import_module("assistant.reports")
    except ImportError as error:
        return Part(part="reports", ready=False, detail=str(error), install="pip install probetell")
    return Part(part="reports", ready=True, detail="one HTML file a case")


def _messages(settings: Settings) -> Part:
    ready = settings.sms_token is not None and settings.sms_token.get_secret_value() != ""
    return Part(
        part="text-message token",
        ready=ready,
        detail="set" if ready else "not set; text messages are neither taken nor sent",
        install="" if ready else "Set PROBETELL_SMS_TOKEN to the token of your message provider.",
    )


def _speech(settings: Settings) -> list[Part]:
    try:
        from assistant.speech.readiness import speech_readiness
    except ImportError as error:
        return [
            Part(
                part="speech",
                ready=False,
                detail=f"cannot be loaded: {error}",
                install="pip install 'probetell[voice]'",
            )
        ]
    return [
        Part(part=r.part, ready=r.ready, detail=r.detail, install=r.install)
        for r in speech_readiness(settings)
    ]


def parts(settings: Settings) -> list[Part]:
    """Try every part and give what was found; loads what it reports on."""
    return [
        _data_files(),
        _store(settings),
        *_speech(settings),
        _reports(),
        _messages(settings),
    ]


def run_selfcheck(settings: Settings, *, as_json: bool) -> int:
    """Print every part; give 1 when one that every case needs is not ready."""
    found = parts(settings)
    if as_json:
        for part in found:
            print(json.dumps(asdict(part)))
    else:
        table = Table(box=None, pad_edge=False)
        for heading in ("part", "ready", "what was found", "what to do"):
            table.add_column(heading, overflow="fold")
        for part in found:
            word = "[green]yes[/green]" if part.ready else "[yellow]no[/yellow]"
            table.add_row(escape(part.part), word, escape(part.detail), escape(part.install))
        Console(highlight=False).print(table)
    return int(any(part.needed and not part.ready for part in found))
