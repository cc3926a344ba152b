"""``probetell practice`` as a user and as another program meets it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from typing import TYPE_CHECKING, Any

import html5lib
import numpy as np
import pytest

from assistant.commands.practice_voice import Speaker
from assistant.lessons.aloud import spoken_action
from assistant.lessons.events import AskNotes, GiveUp, Pick, RepairNamed, SwitchOff
from assistant.lessons.lesson import Lesson
from assistant.lessons.lines import LessonInterface, lesson_object
from assistant.lessons.plan import plan_lesson
from assistant.speech.audio import Sound

if TYPE_CHECKING:
    from pathlib import Path

WORLDS = 2000


def practice(home: Path, *arguments: str, text: str = "") -> subprocess.CompletedProcess[str]:
    environment = {
        **os.environ,
        "PROBETELL_HOME": str(home),
        "PROBETELL_WORLDS": str(WORLDS),
        "COLUMNS": "200",
        "NO_COLOR": "1",
        "PYTHONIOENCODING": "utf-8",
    }
    return subprocess.run(
        [sys.executable, "-m", "assistant", "practice", *arguments],
        input=text,
        capture_output=True,
        text=True,
        encoding="utf-8",
        env=environment,
        cwd=home,
        check=False,
        timeout=120,
    )


def test_lines_through_a_pipe_are_those_of_the_lesson(tmp_path: Path) -> None:
    lines: list[dict[str, Any]] = [
        {"type": "check", "id": "amp_supply"},
        {"type": "check", "id": "load_ohms.sub", "go": True},
        {"type": "undo"},
        {"type": "text", "text": "remote at amp"},
        {"type": "list", "place": "fuse"},
        {"type": "repair", "id": "renew_main_fuse"},
        {"type": "go"},
    ]
    text = "".join(json.dumps(line) + "\n" for line in lines)
    report = tmp_path / "lesson.html"
    done = practice(
        tmp_path, "--jsonl", "--seed", "3", "--kind", "van_mono", "--report", report.name,
        text=text,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    found = [json.loads(line) for line in done.stdout.splitlines()]
    lesson = Lesson(plan_lesson(3, kind="van_mono"), worlds=WORLDS)
    here = LessonInterface(lesson, worlds=WORLDS)
    expected = [lesson_object(lesson), *(here.answer(json.dumps(line).encode()) for line in lines)]
    end = next(line for line in found if line["type"] == "end")
    assert end.pop("report") == report.name
    assert found == json.loads(json.dumps(expected))
    html5lib.HTMLParser(strict=True).parse(report.read_text(encoding="utf-8"))


def test_a_report_that_cannot_be_written_does_not_lose_the_end(tmp_path: Path) -> None:
    done = practice(
        tmp_path, "--jsonl", "--seed", "3", "--kind", "van_mono", "--report", "none/x.html",
        text='{"type":"repair","id":"renew_main_fuse"}\n',
    )  # fmt: skip
    _, end = (json.loads(line) for line in done.stdout.splitlines())
    assert end["type"] == "end"
    assert "could not be written" in end["report_error"]


def test_a_lesson_at_the_keyboard(tmp_path: Path) -> None:
    typed = "help\namp supply running\ngo\noff\nundo\nlist fuse\nnotes\nrepair 99\nrepair fuse\n"
    typed += "repair renew main fuse\n"
    done = practice(tmp_path, "--seed", "3", "--kind", "van_mono", text=typed)
    assert done.returncode == 0, done.stderr
    said = " ".join(done.stdout.split())
    for words in (
        "The amplifier will not turn on",
        "a delivery van with a mono amplifier",
        "be told the fault",
        "carbon monoxide",
        "0.1 mV",  # the main fuse is open: nothing is left at the amplifier
        "Everything is off.",
        "nothing can be taken back",
        "drop across the main fuse",
        "99 is no number of a repair",
        "The trouble is gone.",
        "The main fuse is open.",
        "minute by minute",
        "probetell practice --seed 3 --level 1 --kind van_mono",
    ):
        assert words in said, words


def test_leaving_tells_how_to_come_back(tmp_path: Path) -> None:
    for text in ("quit\n", ""):
        done = practice(tmp_path, "--seed", "5", "--level", "2", text=text)
        assert done.returncode == 0
        assert "probetell practice --seed 5 --level 2 --kind" in " ".join(done.stdout.split())


def test_without_a_seed_there_is_one_to_come_back_with(tmp_path: Path) -> None:
    done = practice(tmp_path, "--jsonl", "--kind", "van_mono")
    (line,) = done.stdout.splitlines()
    told = json.loads(line)
    again = practice(tmp_path, "--jsonl", "--kind", "van_mono", "--seed", str(told["seed"]))
    assert json.loads(again.stdout) == told


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--kind", "airship"), "No car of kind"),
        (("--level", "9"), "--level"),
        (("--keys", "--jsonl"), "one of"),
        (("--voice", "--jsonl"), "one of"),
        (("--files", "answers", "--jsonl"), "one of"),
        (("--files", "answers", "--keys"), "one of"),
    ],
)
def test_what_there_is_not_is_refused(
    tmp_path: Path, arguments: tuple[str, ...], words: str
) -> None:
    done = practice(tmp_path, *arguments)
    assert done.returncode == 2
    assert done.stdout == ""
    assert words in done.stderr
    assert "Traceback" not in done.stderr


def test_help_documents_the_lines(tmp_path: Path) -> None:
    done = practice(tmp_path, "--help")
    said = " ".join(done.stdout.split())
    for words in (
        '"type":"check"',
        "give_up",
        "By voice, hands free",
        "number two",
        "LIST.yaml",
        "probetell practice --voice",
        "probetell practice --jsonl",
    ):
        assert words in said, words


# --- aloud ---------------------------------------------------------------------------------


class Recorder:
    """A voice and a loudspeaker that only remember."""

    name = "recorder"

    def __init__(self) -> None:
        self.said: list[str] = []
        self.played = 0
        self.closed = False

    def render(self, text: str, *, slow: bool = False) -> Sound:
        del slow
        self.said.append(text)
        return Sound(np.zeros(160 if text else 0, dtype=np.int16), 16_000)

    def play(self, sound: Sound) -> Recorder:
        assert len(sound.samples)
        self.played += 1
        return self

    def wait(self) -> bool:
        return True

    def stop(self) -> None:
        """Nothing plays."""

    def close(self) -> None:
        self.closed = True


def test_cautions_readings_and_the_end_are_said() -> None:
    lesson = Lesson(plan_lesson(3, kind="van_mono"), worlds=WORLDS)
    recorder = Recorder()
    aloud = Speaker(recorder, recorder, lesson)  # type: ignore[arg-type]
    for event in (
        Pick(check="amp_supply_running"),
        Pick(check="amp_supply_running", go=True),
        Pick(check="load_ohms.sub", go=True),
        SwitchOff(),
        RepairNamed(repair="set_gain"),
        AskNotes(),
        GiveUp(),
    ):
        aloud.tell(lesson.handle(event))
    aloud.close()
    warned, read, live, off, vain, notes, given = recorder.said
    assert "carbon monoxide" in warned
    assert read == "zero point one millivolts."
    assert "still on" in live
    assert off == "Everything is off."
    assert vain == "That did not help."
    assert notes.startswith("14 minutes. Supply voltage at the amplifier, engine running: zero")
    assert given == "It was this: the main fuse is open."
    assert recorder.played == 7
    assert recorder.closed


def test_the_right_repair_is_said() -> None:
    lesson = Lesson(plan_lesson(3, kind="van_mono"), worlds=WORLDS)
    done = lesson.handle(RepairNamed(repair="renew_main_fuse"))
    assert spoken_action(done, lesson) == "The trouble is gone."
