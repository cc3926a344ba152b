from __future__ import annotations

import io
import sys
from pathlib import Path

import pytest

from assistant.speech.voice import EngineVoice, NoVoiceError, SilentVoice, open_voice
from assistant.speech.voice_worker import save


def test_text_becomes_sound(voice: EngineVoice) -> None:
    sound = voice.render("Twelve point six volts.")
    assert 0.8 < sound.seconds < 4.0
    assert abs(sound.samples.astype(int)).max() > 3000


def test_slower_is_longer(voice: EngineVoice) -> None:
    text = "Put the red probe on the battery."
    assert voice.render(text, slow=True).seconds > 1.1 * voice.render(text).seconds


def test_what_has_no_words_is_no_sound(voice: EngineVoice) -> None:
    assert len(voice.render("***").samples) == 0


def test_a_dead_engine_is_started_anew() -> None:
    voice = EngineVoice()
    try:
        first = voice._workers[False].process
        first.kill()
        first.wait()
        assert voice.render("still here").seconds > 0.3
        assert voice._workers[False].process.pid != first.pid
    finally:
        voice.close()


def test_the_packaged_engine_speaks_where_the_system_has_none(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("PROBETELL_PACKAGED_VOICE", "1")
    voice = EngineVoice()
    try:
        assert voice.render("twelve").seconds > 0.2
    finally:
        voice.close()


def _worker(tmp_path: Path, body: str) -> tuple[str, ...]:
    script = tmp_path / "worker.py"
    script.write_text(body, encoding="utf-8")
    return (sys.executable, str(script))


def test_a_missing_engine_is_told(tmp_path: Path) -> None:
    command = _worker(tmp_path, 'print(\'{"ok": false, "why": "no espeak"}\')')
    with pytest.raises(NoVoiceError, match="no espeak"):
        EngineVoice(command=command)


@pytest.mark.parametrize("body", ["", "print('hello')", "raise SystemExit(3)"])
def test_an_engine_that_says_nothing_of_use_is_told(tmp_path: Path, body: str) -> None:
    with pytest.raises(NoVoiceError):
        EngineVoice(command=_worker(tmp_path, body))


def test_a_hanging_engine_is_given_up_and_ended(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("assistant.speech.voice._RENDER_S", 0.2)
    body = "import sys, time\nprint('{\"ok\": true}', flush=True)\ntime.sleep(600)\n"
    voice = EngineVoice(command=_worker(tmp_path, body))
    hanging = voice._workers[False].process
    with pytest.raises(NoVoiceError, match="did not answer"):
        voice.render("hello")
    assert hanging.poll() is not None
    voice.close()


def test_without_a_voice_the_words_are_printed() -> None:
    out = io.StringIO()
    voice = open_voice(wanted=False, out=out)
    assert isinstance(voice, SilentVoice)
    assert len(voice.render("Red on the battery.").samples) == 0
    assert out.getvalue() == "Red on the battery.\n"


class _BusyEngine:
    """Writes files as pyttsx3 does on a busy machine: some without a sound, or at another rate."""

    def __init__(self, *outcomes: str) -> None:
        self.outcomes = list(outcomes)
        self.rate, self.path = 0, Path()

    def setProperty(self, name: str, value: int) -> None:  # noqa: N802 - pyttsx3 names it so
        assert name == "rate"
        self.rate = value

    def getProperty(self, name: str) -> int:  # noqa: N802 - pyttsx3 names it so
        assert name == "rate"
        return self.rate

    def save_to_file(self, text: str, path: str) -> None:
        assert text == "twelve volts"
        self.path = Path(path)

    def runAndWait(self) -> None:  # noqa: N802 - pyttsx3 names it so
        outcome = self.outcomes.pop(0)
        if outcome == "another rate":
            self.rate += 1
        if outcome != "no file":
            self.path.write_bytes(bytes(44 if outcome == "no sound" else 900))


@pytest.mark.parametrize(
    ("outcomes", "left"),
    [
        (("said", "said"), 1),
        (("no sound", "said", "said"), 1),
        (("no file", "another rate", "said"), 0),
        (("no sound", "no sound", "no sound", "said"), 1),
    ],
)
def test_what_a_busy_engine_did_not_say_is_said_anew(
    tmp_path: Path, outcomes: tuple[str, ...], left: int
) -> None:
    engine = _BusyEngine(*outcomes)
    save(engine, 165, "twelve volts", str(tmp_path / "a.wav"))
    assert len(engine.outcomes) == left
