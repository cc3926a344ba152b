from __future__ import annotations

from itertools import count
from typing import TYPE_CHECKING

import numpy as np
import pytest

from assistant.speech.audio import EAR_RATE, Samples, Sound
from assistant.speech.edges import FRAME, EdgeSettings, SpeechEdges, VoiceGate
from assistant.speech.events import Heard, Hypothesis
from assistant.speech.talk import Talk

if TYPE_CHECKING:
    from collections.abc import Callable

LOUD, SOFT = 8000, 0


class ListEar:
    """Takes down how many samples it was fed."""

    name = "a list"

    def __init__(self) -> None:
        self.fed: list[Samples] = []
        self.grammars: list[str] = []

    def begin(self, grammar: str) -> ListEar:
        self.grammars.append(grammar)
        self.fed = []
        return self

    def feed(self, pcm: Samples) -> None:
        self.fed.append(pcm)

    def finish(self) -> Heard:
        seconds = sum(map(len, self.fed)) / EAR_RATE
        phrase = Hypothesis(text="stop", score=0.0)
        return Heard(kind="phrase", hypotheses=(phrase,), seconds=seconds)


class ToneVoice:
    """One second of sound for any text."""

    name = "a tone"

    def render(self, text: str, *, slow: bool = False) -> Sound:
        del slow
        return Sound(np.ones(EAR_RATE if text else 0, dtype=np.int16), EAR_RATE)

    def close(self) -> None: ...


class Room:
    """Microphone, loudspeaker and clock in one: time goes on by a frame with each read."""

    def __init__(self, hears: Callable[[int, bool], Samples | None]) -> None:
        self._hears = hears
        self._left = 0
        self.reads = 0
        self.stopped = False

    def read(self, timeout_s: float | None = None) -> Samples | None:
        assert timeout_s is not None
        self.reads += 1
        assert self.reads < 5000, "it waits for ever"
        self._left = max(0, self._left - FRAME)
        return self._hears(self.reads, self.playing)

    @property
    def playing(self) -> bool:
        return self._left > 0

    def play(self, sound: Sound) -> None:
        self._left = len(sound.samples)

    def stop(self) -> None:
        self.stopped = True
        self._left = 0

    def clock(self) -> float:
        return self.reads * 0.02


class LoudIsSpeech:
    def voiced(self, frame: Samples) -> bool:
        return int(np.abs(frame).max()) > 100


def frame(level: int) -> Samples:
    return np.full(FRAME, level, dtype=np.int16)


def talk(room: Room, ear: ListEar, *, barge_in: bool = True) -> Talk:
    return Talk(
        ear=ear,
        voice=ToneVoice(),
        microphone=room,
        loudspeaker=room,
        gate=LoudIsSpeech(),
        edges=SpeechEdges(EdgeSettings()),
        barge_in=barge_in,
        clock=room.clock,
    )


def test_what_is_said_is_heard_from_pre_roll_to_pause() -> None:
    room = Room(lambda n, _: frame(LOUD if 50 <= n < 100 else SOFT))
    ear = ListEar()
    heard = talk(room, ear).listen("volts", patience_s=5.0)
    assert heard is not None
    assert heard.text == "stop"
    assert ear.grammars == ["volts"]
    fed = np.concatenate(ear.fed)
    assert (fed == LOUD).sum() == 50 * FRAME
    assert fed[0] == SOFT


def test_silence_is_told_after_patience() -> None:
    room = Room(lambda *_: frame(SOFT))
    assert talk(room, ListEar()).listen("volts", patience_s=2.0) is None
    assert room.clock() == pytest.approx(2.0, abs=0.1)


def test_a_microphone_that_falls_silent_ends_the_wait() -> None:
    room = Room(lambda n, _: frame(LOUD if n > 5 else SOFT) if n < 45 else None)
    heard = talk(room, ListEar()).listen("volts", patience_s=1.0)
    assert heard is not None
    assert heard.seconds > 0.5


def test_speech_over_the_voice_cuts_it_off_and_is_heard_whole() -> None:
    echo = 300
    room = Room(lambda n, playing: frame(LOUD if 30 <= n < 80 else echo if playing else SOFT))
    ear = ListEar()
    conversation = talk(room, ear)
    assert conversation.say("Put the red probe on the battery.") is False
    assert room.stopped
    heard = conversation.listen("volts", patience_s=5.0)
    assert heard is not None
    assert (np.concatenate(ear.fed) == LOUD).sum() == 50 * FRAME


def test_the_echo_of_the_voice_alone_does_not_cut_it_off() -> None:
    room = Room(lambda n, playing: frame(2000 + n % 7 * 50 if playing else SOFT))
    assert talk(room, ListEar()).say("Put the red probe on the battery.") is True
    assert not room.stopped


@pytest.mark.parametrize(("can_be_cut", "barge_in"), [(False, True), (True, False)])
def test_a_caution_is_said_to_its_end(can_be_cut: bool, barge_in: bool) -> None:
    room = Room(lambda *_: frame(LOUD))
    conversation = talk(room, ListEar(), barge_in=barge_in)
    assert conversation.say("Rings off.", can_be_cut=can_be_cut) is True
    assert not room.stopped


def test_nothing_to_say_takes_no_time() -> None:
    room = Room(lambda *_: frame(SOFT))
    assert talk(room, ListEar()).say("") is True
    assert room.reads == 0


def test_real_speech_is_cut_out_of_a_stream_in_odd_blocks(say: Callable[[str], Samples]) -> None:
    sound = np.concatenate(
        [np.zeros(9000, dtype=np.int16), say("twelve point six volts"), np.zeros(32_000, np.int16)]
    )
    blocks = iter(np.array_split(sound, range(777, len(sound), 777)))
    numbers = count()

    def hears(*_: object) -> Samples | None:
        next(numbers)
        return next(blocks, None)

    room, ear = Room(hears), ListEar()
    conversation = Talk(
        ear=ear, voice=ToneVoice(), microphone=room, loudspeaker=room, gate=VoiceGate(),
        clock=room.clock,
    )  # fmt: skip
    heard = conversation.listen("volts", patience_s=8.0)
    assert heard is not None
    assert 1.0 < heard.seconds < 4.0
