"""The command line. Each command imports what it needs when it is run."""

from __future__ import annotations

import sys
from pathlib import Path  # noqa: TC003 - typer reads it
from typing import Annotated

import typer

from assistant import __version__
from assistant.errors import ProbetellError

__all__ = ["app", "main"]

app = typer.Typer(
    name="probetell",
    help="Finds the faulty part of a car-audio installation from spoken or typed meter readings.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode="markdown",
    pretty_exceptions_enable=False,
)

_INSTALLATION = typer.Option(
    "--installation",
    "-i",
    metavar="FILE.yaml",
    help="What is built in. Without it, questions are asked; Enter skips each.",
)
_COMPLAINT = typer.Option(
    "--complaint",
    "-c",
    metavar="SYMPTOM[:WHEN,..[:WHERE,..]]",
    help="What the customer says, as in protects:running,loud or silent_channel::front_left.",
)
_SEED = typer.Option("--seed", min=0, help="Fixes every draw; the same case gives the same checks.")

_RESUME = typer.Option("--resume", help="Go on with the last case that is still open.")
_REPORT = typer.Option("--report", metavar="FILE.html", help="Write a report at the end.")


def _version(asked: bool) -> None:
    if asked:
        typer.echo(f"probetell {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Say the version.")
    ] = False,
) -> None:
    """Find the faulty part of a car-audio installation by elimination, hands on the probes."""


@app.command("case")
def case_command(
    jsonl: Annotated[
        bool, typer.Option("--jsonl", help="One JSON object a line, in and out.")
    ] = False,
    seed: Annotated[int, _SEED] = 0,
    case_id: Annotated[
        str | None,
        typer.Option("--case", metavar="ID", help="Name the case; a kept one is gone on with."),
    ] = None,
    keep: Annotated[
        bool, typer.Option("--keep/--no-keep", help="Keep the events in the casebook.")
    ] = True,
) -> None:
    """Drive a case from another program.

    Reads one JSON object a line on standard input (open, reading, cannot, text, undo, repaired,
    close) and answers each with JSON objects, one a line; a check, confirm, verdict or error ends
    the answer.

    A case is kept unless --no-keep is given; with --case ID an "open" line of the same case goes
    on where it was left.

    Example: probetell case --jsonl --seed 7 < lines.jsonl
    """
    if not jsonl:
        raise typer.BadParameter("give --jsonl; no other form exists yet", param_hint="--jsonl")
    from assistant.commands.case import run_machine
    from assistant.settings import load_settings

    raise typer.Exit(run_machine(load_settings(), seed=seed, case_id=case_id, keep=keep))


@app.command("type")
def type_command(
    installation: Annotated[Path | None, _INSTALLATION] = None,
    complaint: Annotated[str | None, _COMPLAINT] = None,
    resume: Annotated[bool, _RESUME] = False,
    seed: Annotated[int, _SEED] = 0,
    report: Annotated[Path | None, _REPORT] = None,
) -> None:
    """Work through a case at the keyboard.

    Each check is shown with what hurts and what to expect. Type the reading (12.6, 13,9v, OL, no
    beep, 12.6 key on, 8 running) or a command: repeat, back, undo, correction 12.4, skip,
    can't, why, status, safety, help, stop.

    Examples: probetell type | probetell type -i van.yaml -c protects:running |
    probetell type --resume
    """
    from assistant.commands.typed import run_typed
    from assistant.settings import load_settings

    raise typer.Exit(
        run_typed(
            load_settings(),
            installation=installation,
            complaint=complaint,
            resume=resume,
            seed=seed,
            report=report,
        )
    )


@app.command("talk")
def talk_command(
    installation: Annotated[Path | None, _INSTALLATION] = None,
    complaint: Annotated[str | None, _COMPLAINT] = None,
    resume: Annotated[bool, _RESUME] = False,
    seed: Annotated[int, _SEED] = 0,
    files: Annotated[
        Path | None,
        typer.Option(
            "--files",
            metavar="DIR|LIST.yaml",
            help="Answer from recordings named by check id instead of the microphone.",
        ),
    ] = None,
    report: Annotated[Path | None, _REPORT] = None,
) -> None:
    """Work through a case by voice, hands on the probes.

    The program asks aloud and hears your readings; talk over it to cut it off. At any time:
    repeat, slower, back, undo, correction, skip, I can't, why, status, help, safety, stop.
    When you say nothing it waits quietly and goes on at whatever you say next.

    Examples: probetell talk -i van.yaml -c protects:running | probetell talk --resume |
    probetell talk --files answers/ -c cuts_out:loud
    """
    from assistant.commands.talk import run_talk
    from assistant.settings import load_settings

    raise typer.Exit(
        run_talk(
            load_settings(),
            installation=installation,
            complaint=complaint,
            resume=resume,
            seed=seed,
            files=files,
            report=report,
        )
    )


@app.command("practice")
def practice_command(
    kind: Annotated[
        str | None,
        typer.Option(
            "--kind",
            metavar="KIND",
            help="van_mono, coupe_five, hatch_four, wagon_bridged or pickup_two. Default: drawn.",
        ),
    ] = None,
    level: Annotated[
        int,
        typer.Option(
            "--level",
            min=1,
            max=3,
            help="1: clear single faults. 2: every single fault. 3: pairs, faults that come and "
            "go, slipped readings.",
        ),
    ] = 1,
    seed: Annotated[
        int | None, typer.Option("--seed", min=0, help="Brings the same car back. Default: drawn.")
    ] = None,
    misread: Annotated[
        float | None,
        typer.Option(
            "--misread", min=0, max=1, help="Chance that a reading slips; at level 3 0.05, else 0."
        ),
    ] = None,
    keys: Annotated[bool, typer.Option("--keys", help="At the keyboard (the default).")] = False,
    voice: Annotated[
        bool,
        typer.Option(
            "--voice", help="By voice, hands free. With --keys it is only said aloud: you type."
        ),
    ] = False,
    files: Annotated[
        Path | None,
        typer.Option(
            "--files",
            metavar="DIR|LIST.yaml",
            help="Speak by recordings instead of the microphone, in the order of their names or "
            "of the list.",
        ),
    ] = None,
    jsonl: Annotated[
        bool, typer.Option("--jsonl", help="One JSON object a line, in and out.")
    ] = False,
    report: Annotated[Path | None, _REPORT] = None,
) -> None:
    """Train on a virtual car with a hidden fault: you choose each check, the car answers.

    Type the number of a check or words of its name (amp supply running), go when its cautions are
    read, off to switch everything off, list PLACE, find WORDS, hint, notes, repairs, repair WORDS,
    give up, help, quit. Minutes count as in a shop. At the end your order stands beside the
    program's on the same car, with what each check told.

    With --voice say a check by name (supply voltage at the amplifier), or a place to hear its
    checks (the main fuse; ohms at the front left) and then number two. What was heard is read
    back and done at "do it"; "no" drops it. Name a repair by the fault (the main fuse is open) or
    hear them: what repairs. Also: list, go on, what next (a hint), notes, everything off, repeat,
    slower, undo, safety, give up, help, stop.

    With --jsonl the first line out is {"type":"lesson",...}; then each line in gets one line out.
    In: {"type":"check","id":ID} or "number":N (with "go":true its cautions are taken as read), go,
    off, hint, notes, list ("place" or "find"), repairs ("find"), repair ("id" or "number"), undo,
    give_up, text ("text": as typed). Out: caution, reading, off, hint, notes, list, repairs,
    repair, end (both orders, belief, advice) or error, which changes nothing.

    Examples: probetell practice | probetell practice --level 2 --seed 7 --report seven.html |
    probetell practice --voice | probetell practice --jsonl --seed 7 < lines.jsonl
    """
    if jsonl and (keys or voice or files is not None):
        raise typer.BadParameter(
            "give one of --jsonl and --keys, --voice or --files", param_hint="--jsonl"
        )
    if keys and files is not None:
        raise typer.BadParameter("give one of --keys and --files", param_hint="--files")
    from assistant.commands.practice import run_practice
    from assistant.settings import load_settings

    raise typer.Exit(
        run_practice(
            load_settings(),
            kind=kind,
            level=level,
            seed=seed,
            misread=misread,
            jsonl=jsonl,
            keys=keys,
            voice=voice,
            files=files,
            report=report,
        )
    )


@app.command("hear")
def hear_command(
    files: Annotated[list[Path], typer.Argument(metavar="FILE...", help="Sound files.")],
    expect: Annotated[
        str | None,
        typer.Option("--expect", metavar="QUANTITY", help="dc_voltage, resistance, light, ..."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object a file.")] = False,
) -> None:
    """Say what is heard in sound files (WAV, FLAC, OGG or MP3, any rate, mono or stereo).

    Without --expect any reading or command may come.

    Examples: probetell hear answer.wav | probetell hear --expect dc_voltage --json *.wav
    """
    from assistant.commands.hear import run_hear
    from assistant.settings import load_settings

    raise typer.Exit(run_hear(load_settings(), files=files, expect=expect, as_json=as_json))


@app.command("selfcheck")
def selfcheck_command(
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object a part.")] = False,
) -> None:
    """Say of every part whether it is ready, and what to install if it is not.

    The exit code is 1 when a part that every case needs is not ready.

    Example: probetell selfcheck
    """
    from assistant.commands.selfcheck import run_selfcheck
    from assistant.settings import load_settings

    raise typer.Exit(run_selfcheck(load_settings(), as_json=as_json))


@app.command("report")
def report_command(
    case_id: Annotated[str | None, typer.Argument(metavar="[CASE_ID]")] = None,
    last: Annotated[bool, typer.Option("--last", help="The case that was opened last.")] = False,
    listing: Annotated[bool, typer.Option("--list", help="List the kept cases.")] = False,
    output: Annotated[
        Path | None,
        typer.Option("--output", "-o", metavar="FILE.html", help="Default: the case id."),
    ] = None,
) -> None:
    """Write the report of a kept case as one HTML file.

    Examples: probetell report --list | probetell report --last -o van.html
    """
    from assistant.commands.report import run_report
    from assistant.settings import load_settings

    raise typer.Exit(
        run_report(load_settings(), case_id=case_id, last=last, listing=listing, output=output)
    )


@app.command("serve")
def serve_command(
    practice: Annotated[
        bool,
        typer.Option("--practice", help="No account: customers' telephones on this machine."),
    ] = False,
    host: Annotated[str | None, typer.Option("--host", help="Default: 127.0.0.1.")] = None,
    port: Annotated[
        int | None, typer.Option("--port", min=0, max=65535, help="Default: 8321.")
    ] = None,
    workers: Annotated[
        int | None, typer.Option("--workers", min=1, max=64, help="Processes that answer.")
    ] = None,
) -> None:
    """Answer customers by text message, and show the shop's screen.

    The message provider posts to /sms of the public address; the settings name account, token
    and number. With --practice there is no account: a page and the command "text" act as
    customers' telephones.

    Examples: probetell serve --practice | probetell serve --workers 2
    """
    from assistant.commands.serve import run_serve
    from assistant.settings import load_settings

    raise typer.Exit(
        run_serve(load_settings(), practice=practice, host=host, port=port, workers=workers)
    )


@app.command("text")
def text_command(
    number: Annotated[
        str, typer.Option("--as", metavar="NUMBER", help="Whose telephone, as +12125550142.")
    ],
    message: Annotated[list[str] | None, typer.Argument(metavar="[MESSAGE...]")] = None,
    wait: Annotated[
        float, typer.Option("--wait", min=0.5, max=600, help="Seconds to wait for a reply.")
    ] = 60.0,
) -> None:
    """Write as a customer to a running "serve --practice", and print the reply.

    Without a message each line of standard input is one.

    Examples: probetell text --as +12125550142 "my amp shuts off" | probetell text --as +12125550142
    """
    from assistant.commands.text import run_text
    from assistant.settings import load_settings

    raise typer.Exit(run_text(load_settings(), number=number, message=message or [], wait=wait))


@app.command("forget")
def forget_command(
    number: Annotated[str, typer.Argument(metavar="NUMBER", help="As in +12125550142.")],
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    practice: Annotated[bool, typer.Option("--practice", help="From the practice cases.")] = False,
) -> None:
    """Erase a customer's number with all its messages and cases, for good.

    Example: probetell forget +12125550142
    """
    from assistant.commands.forget import run_forget
    from assistant.settings import load_settings

    raise typer.Exit(run_forget(load_settings(), number=number, yes=yes, practice=practice))


def main() -> None:
    """Run the command line; what goes wrong is one line on standard error."""
    try:
        app()
    except ProbetellError as error:
        print(f"probetell: {error}", file=sys.stderr)
        sys.exit(2)
    except KeyboardInterrupt:
        sys.exit(130)


if __name__ == "__main__":
    main()
