"""The commands as a user meets them: help, a case at the keyboard, reports, clear errors."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from typing import TYPE_CHECKING, get_args

import pytest
from typer.testing import CliRunner

from assistant.cli import app
from assistant.commands.intake import SYMPTOMS, WHEN, ask_complaint, ask_installation
from assistant.commands.workplace import load_complaint, load_installation
from assistant.errors import GivenError
from assistant.knowledge.schema import Symptom, When

if TYPE_CHECKING:
    from pathlib import Path

COMMANDS = ("talk", "type", "case", "hear", "selfcheck", "report", "practice")
VAN = """
amplifier: {channels: 1, watts_per_channel: 500, class: D, minimum_ohms: 1, latches: true}
speakers: {sub: {nominal_ohms: 4}, sub_2: {nominal_ohms: 4}}
supply: {main_fuse: {amps: 80, kind: anl}, wire: {gauge: "4 AWG", length_m: 5}}
"""


def run(home: Path, *arguments: str, text: str = "") -> subprocess.CompletedProcess[str]:
    environment = {
        **os.environ,
        "PROBETELL_HOME": str(home),
        "PROBETELL_WORLDS": "4000",
        "PROBETELL_WORKSHOP": "Harbour Street Audio",
        "COLUMNS": "400",
        "NO_COLOR": "1",
    }
    return subprocess.run(
        [sys.executable, "-m", "assistant", *arguments],
        input=text,
        capture_output=True,
        text=True,
        env=environment,
        cwd=home,
        check=False,
        timeout=120,
    )


@pytest.fixture
def van(tmp_path: Path) -> Path:
    path = tmp_path / "van.yaml"
    path.write_text(VAN, encoding="utf-8")
    return path


def only_line(done: subprocess.CompletedProcess[str]) -> str:
    """One line on standard error, nothing on standard output, and no exit code of success."""
    assert done.returncode != 0
    assert done.stdout == ""
    (line,) = done.stderr.splitlines()
    assert line.startswith("probetell: ")
    return line


# --- help ----------------------------------------------------------------------------------


def helped(*arguments: str) -> str:
    done = CliRunner().invoke(app, [*arguments, "--help"], env={"COLUMNS": "200"})
    assert done.exit_code == 0
    return " ".join(done.output.split())


def test_help_names_every_command() -> None:
    said = helped()
    for command in COMMANDS:
        assert re.search(rf"\b{command}\b", said)


@pytest.mark.parametrize("command", COMMANDS)
def test_each_command_explains_itself_with_an_example(command: str) -> None:
    said = helped(command)
    assert "Example" in said
    assert f"probetell {command}" in said.split("Example", 1)[1]


def test_the_core_commands_need_no_voice_part() -> None:
    """Help and cases must come up where the voice extra is not installed."""
    code = (
        "import sys\n"
        "sys.argv = ['probetell', 'type', '--help']\n"
        "from assistant.cli import main\n"
        "try: main()\n"
        "except SystemExit: pass\n"
        "import assistant.commands.case, assistant.commands.typed\n"
        "heavy = {'vosk', 'miniaudio', 'pyttsx3', 'matplotlib', 'sqlalchemy', 'fastapi'}\n"
        "assert not heavy & set(sys.modules), heavy & set(sys.modules)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


# --- a case at the keyboard ------------------------------------------------------------------


def test_a_case_is_typed_stopped_and_gone_on_with(tmp_path: Path, van: Path) -> None:
    options = ("type", "-i", str(van), "-c", "protects:running")
    first = run(tmp_path, *options, text="ready\n16.4\nstop\n")
    assert first.returncode == 0, first.stderr
    assert "procedure and local rules come first" in first.stdout
    assert "Noted: 16.4 V." in first.stdout
    assert "type --resume" in first.stdout
    second = run(
        tmp_path, "type", "--resume", "--report", "van.html", text="status\nhello\nundo\nback\n"
    )
    assert second.returncode == 0, second.stderr
    assert "1 answered so far" in second.stdout
    assert "Taken back" in second.stdout
    assert "Nothing has been answered yet" in second.stdout
    assert "Harbour Street Audio" in (tmp_path / "van.html").read_text(encoding="utf-8")


def test_intake_questions_can_all_be_skipped(tmp_path: Path) -> None:
    done = run(tmp_path, "type", text="\n" * 14)
    assert done.returncode == 0, done.stderr
    assert "Power wire" in done.stdout
    assert "Before this step" in done.stdout


def test_input_that_ends_early_is_no_fault(tmp_path: Path) -> None:
    done = run(tmp_path, "type", text="1\n")
    assert done.returncode == 0
    assert done.stderr == ""


def test_intake_covers_the_schema() -> None:
    assert set(SYMPTOMS) == set(get_args(Symptom))
    assert set(WHEN) == set(get_args(When))


def test_intake_asks_again_where_an_answer_cannot_be_used() -> None:
    given = iter(
        ["two", "0", "5", "75 W", "D", "", "maybe", "y", "roof 4", "front_left 4, sub 2", "",
         "100 A", "fat", "4 AWG", "-2", "5,5", "perhaps", "relay"]
    )  # fmt: skip
    told: list[str] = []
    found = ask_installation(lambda _: next(given), told.append)
    assert found.amplifier.channels == 5
    assert found.amplifier.watts_per_channel == 75
    assert found.amplifier.latches is True
    assert set(found.speakers) == {"front_left", "sub"}
    assert found.supply.main_fuse is not None
    assert found.supply.main_fuse.amps == 100
    assert found.supply.wire is not None
    assert (found.supply.wire.gauge, found.supply.wire.length_m) == ("4 AWG", 5.5)
    assert found.supply.second_battery is not None
    assert found.supply.second_battery.joined == "charge_relay"
    assert len(told) == 7


def test_complaints_by_number_and_by_name() -> None:
    given = iter(["9", "4", "running, 5 5", "", ""])
    found = ask_complaint(lambda _: next(given), lambda _: None)
    assert (found.symptom, found.when, found.where) == ("silent_channel", ("running", "loud"), ())
    assert load_complaint("noise:running,loud:sub").where == ("sub",)
    assert load_complaint("protects").when == ()


# --- reports -------------------------------------------------------------------------------


def test_reports_of_kept_cases(tmp_path: Path, van: Path) -> None:
    run(tmp_path, "type", "-i", str(van), "-c", "protects", text="ready\n12.1\n")
    listed = run(tmp_path, "report", "--list").stdout.split()
    done = run(tmp_path, "report", "--last", "-o", "out.html")
    assert done.returncode == 0, done.stderr
    html = (tmp_path / "out.html").read_text(encoding="utf-8")
    assert "Harbour Street Audio" in html
    by_id = run(tmp_path, "report", listed[0])
    assert by_id.returncode == 0
    assert (tmp_path / f"{listed[0]}.html").read_text(encoding="utf-8") == html


def test_reports_of_no_case(tmp_path: Path) -> None:
    assert "holds no case" in only_line(run(tmp_path, "report", "--last"))
    assert "no case 'x'" in only_line(run(tmp_path, "report", "x"))
    assert "--list" in only_line(run(tmp_path, "report"))


# --- bad input -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("amplifier: [unclosed", "cannot be read"),
        ("- 1\n- 2", "not a table"),
        ("supply: {wire: {gauge: fat}}", "supply.wire.gauge"),
        ("supply: {wire: {length_m: -2}}", "supply.wire.length_m"),
        ("speakers: {roof: {}}", "speakers.roof"),
        ("amplifier: {channels: many}", "amplifier.channels"),
    ],
)
def test_a_bad_installation_is_one_clear_error(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "bad.yaml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(GivenError, match=r"bad\.yaml") as caught:
        load_installation(path)
    assert said in caught.value.message


def test_bad_files_end_the_command_with_one_line(tmp_path: Path) -> None:
    line = only_line(run(tmp_path, "type", "-i", "no.yaml", "-c", "protects"))
    assert "no.yaml" in line
    (tmp_path / "bin.yaml").write_bytes(b"\xff\xfe\x00")
    assert "bin.yaml" in only_line(run(tmp_path, "type", "-i", "bin.yaml", "-c", "protects"))


@pytest.mark.parametrize("text", ["sings", "protects:never", "noise::roof", ""])
def test_a_bad_complaint_is_one_clear_error(text: str) -> None:
    with pytest.raises(GivenError):
        load_complaint(text)


def test_a_casebook_that_cannot_be_written_is_one_clear_error(tmp_path: Path, van: Path) -> None:
    (tmp_path / "casebook.sqlite").write_bytes(b"no database, but text" * 200)
    line = only_line(run(tmp_path, "type", "-i", str(van), "-c", "protects"))
    assert "casebook.sqlite" in line


def test_nothing_to_resume(tmp_path: Path) -> None:
    assert "no open case" in only_line(run(tmp_path, "type", "--resume"))


def test_machine_cases_go_on_where_no_casebook_can_be_kept(tmp_path: Path) -> None:
    (tmp_path / "casebook.sqlite").write_bytes(b"no database, but text" * 200)
    opened = '{"type":"open","installation":{},"complaint":{"symptom":"noise"}}\n'
    done = run(tmp_path, "case", "--jsonl", text=opened)
    assert done.returncode == 0
    assert '"type": "check"' in done.stdout
    assert "not kept" in done.stderr


def test_case_needs_its_form(tmp_path: Path) -> None:
    assert run(tmp_path, "case").returncode != 0
