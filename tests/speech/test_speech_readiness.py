from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from assistant.errors import GivenError
from assistant.settings import Settings
from assistant.speech import ear, readiness
from assistant.speech.ear_both import BothEars
from assistant.speech.ear_sphinx import SphinxEar
from assistant.speech.ear_vosk import BuiltinEar
from assistant.speech.parts import MissingPartError

if TYPE_CHECKING:
    from pathlib import Path


def _settings(tmp_path: Path, **fields: object) -> Settings:
    return Settings.model_validate({"data_dir": tmp_path, **fields})


def _no_vosk(*_: object) -> None:
    raise MissingPartError("The part 'vosk' cannot be loaded.", next_step="Install it.")


def test_vosk_hears_or_what_the_settings_say(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert isinstance(ear.open_ear(), BuiltinEar)
    assert isinstance(ear.open_ear(_settings(tmp_path, recogniser="vosk")), BuiltinEar)
    assert isinstance(ear.open_ear(_settings(tmp_path, recogniser="pocketsphinx")), SphinxEar)
    assert isinstance(ear.open_ear(_settings(tmp_path, recogniser="both")), BothEars)
    monkeypatch.setattr(ear, "BuiltinEar", _no_vosk)
    assert isinstance(ear.open_ear(_settings(tmp_path)), SphinxEar)
    for which in ("vosk", "both"):
        with pytest.raises(MissingPartError):
            ear.open_ear(_settings(tmp_path, recogniser=which))
    monkeypatch.undo()
    monkeypatch.setattr(ear, "SphinxEar", _no_vosk)
    assert isinstance(ear.open_ear(), BuiltinEar)


def test_a_directory_without_a_model_is_refused(tmp_path: Path) -> None:
    with pytest.raises(GivenError, match="no vosk model"):
        ear.open_ear(_settings(tmp_path, model_dir=tmp_path))


def test_every_part_is_reported_once_and_what_is_not_ready_says_what_to_do(
    tmp_path: Path,
) -> None:
    told = readiness.speech_readiness(_settings(tmp_path))
    parts = [one.part for one in told]
    assert len(set(parts)) == len(parts)
    assert {"recogniser", "words of the grammars", "voice", "microphone", "loudspeaker"} <= set(
        parts
    )
    for one in told:
        assert one.detail
        assert one.ready or one.install
    by_name = {one.part: one for one in told}
    assert by_name["recogniser"].ready
    assert by_name["words of the grammars"].ready
    assert by_name["voice"].ready


def test_what_fails_is_reported_and_nothing_is_raised(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(readiness, "open_ear", _no_vosk)
    monkeypatch.setattr(readiness, "EngineVoice", _no_vosk)
    monkeypatch.setattr(readiness, "want", lambda _: None)
    monkeypatch.setattr(readiness, "try_devices", _no_vosk)
    told = readiness.speech_readiness(_settings(tmp_path))
    assert not any(one.ready for one in told)
    assert all(one.install for one in told)


def test_a_voice_that_is_switched_off_is_not_missed(tmp_path: Path) -> None:
    told = readiness.speech_readiness(_settings(tmp_path, voice="off"))
    assert next(one for one in told if one.part == "voice").ready
