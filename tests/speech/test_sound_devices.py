from __future__ import annotations

import time

import miniaudio
import numpy as np
import pytest

from assistant.speech.audio import EAR_RATE, Sound
from assistant.speech.devices import Loudspeaker, Microphone, NoSoundCardError, sound_cards

# miniaudio's own backend without hardware: keeps time, throws sound away, records silence.
_NULL = [miniaudio.Backend.NULL]
_HALF = Sound(np.full(EAR_RATE // 2, 500, dtype=np.int16), EAR_RATE)


@pytest.fixture
def no_card(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(**_: object) -> None:
        raise miniaudio.MiniaudioError("failed to init device", -401)

    monkeypatch.setattr(miniaudio, "CaptureDevice", refuse)
    monkeypatch.setattr(miniaudio, "PlaybackDevice", refuse)


@pytest.mark.usefixtures("no_card")
def test_a_missing_sound_card_is_one_clear_error() -> None:
    with pytest.raises(NoSoundCardError, match="no microphone") as caught:
        Microphone()
    assert caught.value.next_step
    with pytest.raises(NoSoundCardError, match="no loudspeaker"):
        Loudspeaker().play(_HALF)


def test_the_microphone_gives_blocks_and_ends_when_closed() -> None:
    microphone = Microphone(_NULL)
    block = microphone.read(5.0)
    assert block is not None
    assert block.dtype == np.int16
    microphone.close()
    assert len(list(microphone.blocks())) < 500


def test_a_sound_is_played_to_its_end() -> None:
    playback = Loudspeaker(_NULL).play(_HALF)
    assert playback.wait(10.0)
    assert playback.played_s == pytest.approx(0.5)
    assert not playback.playing


def test_a_sound_can_be_cut_off() -> None:
    speaker = Loudspeaker(_NULL)
    playback = speaker.play(Sound(np.zeros(EAR_RATE * 60, dtype=np.int16), EAR_RATE))
    assert speaker.playing
    speaker.stop()
    time.sleep(0.05)
    played = playback.played_s
    assert played < 30.0
    assert not playback.playing
    assert not speaker.playing
    time.sleep(0.1)
    assert playback.played_s == played


def test_a_new_sound_cuts_the_old_one_off() -> None:
    speaker = Loudspeaker(_NULL)
    first = speaker.play(Sound(np.zeros(EAR_RATE * 60, dtype=np.int16), EAR_RATE))
    second = speaker.play(_HALF)
    assert not first.playing
    assert second.wait(10.0)


def test_cards_are_listed_without_the_one_that_throws_sound_away() -> None:
    cards = sound_cards()
    assert not any("Discard" in name for name in (*cards.microphones, *cards.loudspeakers))
