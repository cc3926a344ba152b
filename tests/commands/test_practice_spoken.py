"""A lesson by voice, from sound to sound: recordings made by the program's own voice."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
from io import StringIO
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from rich.console import Console
from scipy.io import wavfile

sys.path.insert(0, str(Path(__file__).parents[1] / "conversation"))

from list_talk import ListTalk

from assistant.commands import practice_voice
from assistant.commands.practice import run_practice
from assistant.commands.practice_screen import LessonScreen
from assistant.commands.practice_voice import lesson_figures, talk_lesson
from assistant.lessons.lesson import Lesson
from assistant.lessons.plan import plan_lesson
from assistant.lessons.spoken import SpokenLesson
from assistant.lessons.vocabulary import Vocabulary, grammar_name, plain_words
from assistant.reports.phrases import complaint_words
from assistant.settings import Settings
from assistant.speech.ear import open_ear
from assistant.speech.voice import EngineVoice

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from assistant.speech.audio import Sound

WORLDS = 2000
LESSON = (
    "main fuse", "number four", "no", "supply voltage at the amplifier", "do it",
    "ohms at the sub", "everything off", "ohms at the sub", "number two", "go ahead",
    "notes", "the ground is bad", "do it", "the main fuse is open", "yes",
)  # fmt: skip


@pytest.fixture(scope="module")
def say() -> Iterator[Callable[[str], Sound]]:
    voice = EngineVoice(rate=150)
    yield voice.render
    voice.close()


def record(folder: Path, say: Callable[[str], Sound], *texts: str) -> None:
    folder.mkdir()
    for number, text in enumerate(texts):
        sound = say(text)
        wavfile.write(folder / f"{number:02}.wav", sound.rate, sound.samples)


def practice(home: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    environment = {
        **os.environ, "PROBETELL_HOME": str(home), "PROBETELL_WORLDS": str(WORLDS),
        "COLUMNS": "200", "NO_COLOR": "1", "PYTHONIOENCODING": "utf-8",
    }  # fmt: skip
    return subprocess.run(
        [sys.executable, "-m", "assistant", "practice", *arguments],
        capture_output=True, text=True, encoding="utf-8", env=environment, cwd=home,
        stdin=subprocess.DEVNULL, check=False, timeout=240,
    )  # fmt: skip


@pytest.mark.slow
def test_a_whole_lesson_is_spoken_from_recordings(
    tmp_path: Path, say: Callable[[str], Sound]
) -> None:
    record(tmp_path / "said", say, *LESSON)
    done = practice(
        tmp_path, "--voice", "--files", "said", "--seed", "3", "--kind", "van_mono",
        "--report", "lesson.html",
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    lines = [line.strip() for line in done.stdout.splitlines()]
    assert [line for line in lines if line.startswith("> ")] == [
        f"> {text}  {number:02}.wav" for number, text in enumerate(LESSON)
    ]
    shown = " ".join(done.stdout.split())
    for words in (
        "Say a check (supply voltage at the amplifier)",
        "Number one: voltage on the battery side of the main fuse.",
        "When it is safe: do it",
        "Not done. Which check?",
        "0.3 mV",
        "Everything is off.",
        "Number one: ohms of the sub speaker line at the amplifier.",
        "ohms of the sub speaker at its terminals 7.",
        "No help. The customer says:",
        "Found, after one repair in vain",
        "The same car again: probetell practice --seed 3 --level 1 --kind van_mono",
    ):
        assert words in shown, words
    assert (tmp_path / "lesson.html").is_file()


@pytest.mark.slow
def test_a_list_gives_the_recordings_and_the_lesson_may_be_left(
    tmp_path: Path, say: Callable[[str], Sound]
) -> None:
    record(tmp_path / "said", say, "main fuse", "drop across the main fuse")
    (tmp_path / "order.yaml").write_text("trainee: [said/01.wav, said/00.wav]\n", encoding="utf-8")
    done = practice(tmp_path, "--files", "order.yaml", "--seed", "3", "--kind", "van_mono")
    assert done.returncode == 0, done.stderr
    first, second = (line for line in done.stdout.splitlines() if line.startswith("> "))
    assert first.startswith(("> drop across the main fuse", "> drop across main fuse"))
    assert second.startswith("> main fuse")
    assert "Left before the end." in done.stdout


def test_files_that_are_not_there_are_named(tmp_path: Path) -> None:
    done = practice(tmp_path, "--voice", "--files", "none.yaml", "--seed", "3")
    assert done.returncode == 2
    assert "none.yaml" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.slow
def test_most_names_of_checks_are_heard_and_hardly_any_wrongly(
    say: Callable[[str], Sound],
) -> None:
    """Every third check of a car, by the very name that is read out, one voice, no noise.

    What is not heard is asked again, and what is heard wrongly is read back before it is done.
    """
    from assistant.commands.listening import heard_event
    from assistant.speech.audio import EAR_RATE, resample

    lesson = Lesson(plan_lesson(3, kind="van_mono"), worlds=500)
    vocabulary = Vocabulary(lesson)
    ear = open_ear(graphs=vocabulary.graph, figures=lesson_figures())
    outcomes: list[str] = []
    for entry in lesson.checks.entries[::3]:
        name = plain_words(entry.check.name)
        sound = say(name)
        stream = ear.begin(grammar_name(listed=False, asked=False))
        stream.feed(resample(sound.samples, sound.rate, EAR_RATE))
        said = SpokenLesson(lesson, complaint_words).handle(heard_event(stream.finish())).say
        read_back = plain_words(said.partition(".")[0])
        asked = "Which one?" in said or "did not get" in said
        outcomes.append("asked" if asked else "right" if read_back == name else "wrong")
    count = len(outcomes)
    assert outcomes.count("right") >= 0.75 * count, outcomes
    assert outcomes.count("wrong") <= 0.1 * count, outcomes


@pytest.mark.slow
@pytest.mark.parametrize(
    "other", ["i think it might rain this afternoon", "did you see the game on sunday"]
)
def test_talk_about_other_things_chooses_nothing(say: Callable[[str], Sound], other: str) -> None:
    from assistant.commands.listening import heard_event
    from assistant.speech.audio import EAR_RATE, resample

    lesson = Lesson(plan_lesson(3, kind="van_mono"), worlds=500)
    spoken = SpokenLesson(lesson, complaint_words)
    ear = open_ear(graphs=spoken.vocabulary.graph, figures=lesson_figures())
    sound = say(other)
    stream = ear.begin(grammar_name(listed=True, asked=True))
    stream.feed(resample(sound.samples, sound.rate, EAR_RATE))
    assert spoken.handle(heard_event(stream.finish())).say.startswith("I did not get that.")


# --- over a microphone ---------------------------------------------------------------------


def talk(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, *heard: str | None
) -> tuple[ListTalk, Lesson, str]:
    listing = ListTalk(*heard)

    @contextlib.contextmanager
    def opened(*_: object, **__: object) -> Iterator[ListTalk]:
        yield listing

    monkeypatch.setattr(practice_voice, "open_talk", opened)
    lesson = Lesson(plan_lesson(3, kind="van_mono"), worlds=500)
    out = StringIO()
    screen = LessonScreen(Console(file=out, width=150), lesson, voice=True)
    settings = Settings(data_dir=tmp_path, silence_seconds=7.0)
    talk_lesson(lesson, settings, screen, None, lambda: "Well done.")
    return listing, lesson, out.getvalue()


def test_a_lesson_over_a_microphone_ends_with_the_advice(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    listing, lesson, shown = talk(
        monkeypatch, tmp_path, "drop across the main fuse", None, "~", "do it", "?", "slower",
        "the main fuse is open", "yes",
    )  # fmt: skip
    assert lesson.right
    texts = [text for text, _, _ in listing.said]
    assert texts[0].startswith("The customer says: ")
    assert texts[1].startswith("Drop across the main fuse. Key on")
    assert texts[2].startswith("Drop across the main fuse: twelve")  # silence says nothing
    assert texts[3].startswith("I did not get that.")
    assert texts[4] == texts[2]
    assert texts[-2:] == ["The trouble is gone.", "Well done."]
    assert [cut for _, _, cut in listing.said[:3]] == [True, False, True]
    assert [slow for _, slow, _ in listing.said[3:6]] == [False, True, True]
    assert listing.grammars[:2] == ["lesson", "lesson_question"]
    assert "> (other words)" in shown


def test_control_c_leaves_without_a_word(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    listing, lesson, _ = talk(monkeypatch, tmp_path, "main fuse")
    assert not lesson.ended
    assert len(listing.said) == 2


def test_with_keys_it_is_only_said_aloud(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    said: list[str] = []

    class Aloud:
        def say(self, text: str) -> None:
            said.append(text)

        def tell(self, action: object) -> None:
            said.append(type(action).__name__)

        def close(self) -> None:
            said.append("closed")

    typed = iter(["list fuse", "repair renew main fuse"])
    monkeypatch.setattr(practice_voice, "open_aloud", lambda *_: Aloud())
    monkeypatch.setattr(Console, "input", lambda *_: next(typed))
    code = run_practice(
        Settings(data_dir=tmp_path, worlds=WORLDS), kind="van_mono", level=1, seed=3, misread=None,
        jsonl=False, keys=True, voice=True, files=None, report=None,
    )  # fmt: skip
    assert code == 0
    assert said[0].startswith("The customer says: ")
    assert said[1:] == ["Listed", "RepairDone", "closed"]


def test_words_that_another_model_lacks_are_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    wanted: list[frozenset[str]] = []

    class Deaf:
        missing = ("ripple", "subwoofer")

    def opened(_: Settings, *, words: frozenset[str], **__: object) -> Deaf:
        wanted.append(words)
        return Deaf()

    monkeypatch.setattr("assistant.speech.ear.open_ear", opened)
    _, _, shown = talk(monkeypatch, tmp_path)
    assert "The recogniser does not know: ripple, subwoofer." in shown
    assert {"ripple", "yes", "number", "fuse", "repeat"} <= wanted[0]


def test_numbers_are_heard_after_a_list(say: Callable[[str], Sound]) -> None:
    """The five numbers are the way to every check: all of them are heard, by this voice."""
    from assistant.speech.audio import EAR_RATE, resample

    vocabulary = Vocabulary(Lesson(plan_lesson(3, kind="van_mono"), worlds=500))
    ear = open_ear(graphs=vocabulary.graph, figures=lesson_figures())
    quiet = np.zeros(EAR_RATE // 4, dtype=np.int16)
    for digit in ("one", "two", "three", "four", "five"):
        sound = say(f"number {digit}")
        stream = ear.begin(grammar_name(listed=True, asked=False))
        heard = resample(sound.samples, sound.rate, EAR_RATE)
        stream.feed(np.concatenate([quiet, heard, quiet]))
        assert stream.finish().text == f"number {digit}"
