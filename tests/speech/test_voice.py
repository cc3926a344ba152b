from __future__ import annotations

import io
import sys
from typing import TYPE_CHECKING

import pytest

from assistant.speech.voice import EngineVoice, NoVoiceError, SilentVoice, open_voice

if TYPE_CHECKING:
    from pathlib import Path


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
