"""Microphone, loudspeaker and voice are opened together and closed together."""

from __future__ import annotations

from typing import TYPE_CHECKING, Self

import pytest

from assistant.commands.listening import open_talk
from assistant.settings import Settings
from assistant.speech import devices, voice
from assistant.speech.devices import NoSoundCardError
from assistant.speech.talk import Talk
from assistant.speech.voice import NoVoiceError

if TYPE_CHECKING:
    from pathlib import Path


class Parts:
    """Microphone and voice in one, which remember that they were closed."""

    def __init__(self) -> None:
        self.closed: list[str] = []

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.closed.append("microphone")

    def close(self) -> None:
        self.closed.append("voice")


@pytest.fixture
def parts(monkeypatch: pytest.MonkeyPatch) -> Parts:
    made = Parts()
    monkeypatch.setattr(devices, "Microphone", lambda: made)
    monkeypatch.setattr(devices, "Loudspeaker", lambda: made)
    monkeypatch.setattr(voice, "open_voice", lambda **_: made)
    return made


def interrupted(talk: object) -> None:
    assert isinstance(talk, Talk)
    raise KeyboardInterrupt


def test_what_was_opened_is_closed_whatever_happens(parts: Parts, tmp_path: Path) -> None:
    notes: list[str] = []
    opened = open_talk(Settings(data_dir=tmp_path), ear=parts, note=notes.append)  # type: ignore[arg-type]
    with pytest.raises(KeyboardInterrupt), opened as talk:
        interrupted(talk)
    assert parts.closed == ["microphone", "voice"]
    assert notes == []


def test_without_a_speech_engine_it_is_noted_and_printed(
    parts: Parts,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    def none(**_: object) -> Parts:
        raise NoVoiceError("There is no engine.", next_step="Install one.")

    monkeypatch.setattr(voice, "open_voice", none)
    notes: list[str] = []
    with open_talk(
        Settings(data_dir=tmp_path),
        ear=parts,  # type: ignore[arg-type]
        note=notes.append,
    ) as talk:
        assert talk.say("Which check?")
    assert notes == ["No voice: There is no engine. Install one."]
    assert "Which check?" in capsys.readouterr().out
    assert parts.closed == ["microphone"]


def test_without_a_microphone_the_voice_is_closed_again(
    parts: Parts, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def none() -> Parts:
        raise NoSoundCardError("There is no microphone.", next_step="Plug one in.")

    monkeypatch.setattr(devices, "Microphone", none)
    with (
        pytest.raises(NoSoundCardError),
        open_talk(Settings(data_dir=tmp_path), ear=parts, note=print),  # type: ignore[arg-type]
    ):
        raise AssertionError
    assert parts.closed == ["voice"]
