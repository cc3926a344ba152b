from __future__ import annotations

import math
from itertools import groupby
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.errors import MisuseError
from assistant.speech.edges import (
    FRAME,
    Began,
    EchoGate,
    Edge,
    EdgeSettings,
    Ended,
    NoiseFloor,
    Sounded,
    SpeechEdges,
    VoiceGate,
    frames_of,
    level_db,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.speech.audio import Samples


def frame(number: int) -> Samples:
    return np.full(FRAME, number % 30_000, dtype=np.int16)


def run(votes: list[bool], *, playing: bool = False) -> list[Edge]:
    edges = SpeechEdges(EdgeSettings(longest_ms=2000))
    out = [
        edge
        for number, vote in enumerate(votes)
        for edge in edges.step(frame(number), voiced=vote, playing=playing)
    ]
    return [*out, *edges.finish()]


def kinds(edges: list[Edge]) -> str:
    return "".join({Began: "B", Sounded: "s", Ended: "E"}[type(edge)] for edge in edges)


def test_speech_is_given_from_before_its_onset_to_the_pause_after_it() -> None:
    votes = [False] * 30 + [True] * 20 + [False] * 60
    edges = run(votes)
    assert [key for key, _ in groupby(kinds(edges))] == ["B", "s", "E"]
    first = edges[0]
    assert isinstance(first, Began)
    # the onset needs 4 voiced frames: it is known at frame 33; 15 frames of pre-roll and 16 of
    # the longest window are kept
    assert first.samples[-1] == 33
    assert first.samples[0] == 34 - 31
    assert sum(isinstance(edge, Sounded) for edge in edges) == 16 + 35


def test_a_click_is_no_speech() -> None:
    assert run([False] * 10 + [True] * 3 + [False] * 40) == []


def test_a_short_pause_does_not_end_a_reading() -> None:
    votes = [True] * 20 + [False] * 30 + [True] * 20 + [False] * 40
    assert kinds(run(votes)).count("E") == 1


def test_two_readings_are_told_apart() -> None:
    votes = ([False] * 10 + [True] * 20 + [False] * 40) * 2
    assert kinds(run(votes)).count("B") == kinds(run(votes)).count("E") == 2


def test_what_never_pauses_is_cut() -> None:
    edges = run([True] * 300)
    assert Ended(cut=True) in edges


def test_speech_over_the_own_voice_must_last_longer() -> None:
    short = [False] * 10 + [True] * 8 + [False] * 60
    assert kinds(run(short)).startswith("B")
    assert run(short, playing=True) == []
    assert kinds(run([False] * 10 + [True] * 20 + [False] * 60, playing=True)).startswith("B")


@given(st.lists(st.booleans(), max_size=400), st.booleans())
def test_edges_come_in_order_and_no_frame_comes_twice(votes: list[bool], playing: bool) -> None:
    edges = run(votes, playing=playing)
    told = kinds(edges)
    assert told == "" or all(
        part.startswith("B") and set(part[1:]) <= {"s"} for part in told.split("E") if part
    )
    assert told.count("B") == told.count("E")
    given_ = [
        number
        for edge in edges
        if isinstance(edge, Began | Sounded)
        for number in edge.samples[::FRAME].tolist()
    ]
    assert given_ == sorted(set(given_))


def test_a_frame_of_another_size_is_refused() -> None:
    with pytest.raises(MisuseError):
        SpeechEdges().step(np.zeros(100, dtype=np.int16), voiced=False)


def test_the_echo_of_the_own_voice_does_not_pass_and_a_louder_voice_does() -> None:
    gate = EchoGate()
    assert not any(gate.passes(-30.0 - k % 3, playing=True) for k in range(100))
    assert gate.passes(-20.0, playing=True)
    assert not gate.passes(-30.0, playing=True)
    assert gate.passes(-60.0, playing=False)


def test_the_echo_is_learnt_anew_each_time_the_voice_plays() -> None:
    gate = EchoGate()
    for _ in range(50):
        gate.passes(-30.0, playing=True)
    gate.passes(-60.0, playing=False)
    # louder than before from the first frame on, as after the volume was turned up
    assert not any(gate.passes(-10.0, playing=True) for _ in range(100))


def test_speech_stands_out_of_an_engine_and_the_engine_does_not() -> None:
    floor = NoiseFloor()
    idle = [-30.0 + (k % 5) * 0.5 for k in range(100)]
    speech = [-20.0] * 75  # a second and a half
    found = [floor.stands_out(level) for level in (*idle, *speech, *idle)]
    assert found == [False] * 100 + [True] * 75 + [False] * 100


def test_noise_that_grows_is_taken_for_noise_after_a_while() -> None:
    floor = NoiseFloor()
    for _ in range(50):
        floor.stands_out(-60.0)
    revved = [floor.stands_out(-40.0) for _ in range(50 * 8)]
    assert revved[0]
    assert not revved[-1]


def test_digital_silence_does_not_make_a_whisper_stand_out() -> None:
    floor = NoiseFloor()
    assert not floor.stands_out(-math.inf)
    assert not floor.stands_out(-78.0)
    assert floor.stands_out(-50.0)


def test_levels_are_in_decibels_of_full_scale() -> None:
    assert level_db(np.full(100, -32768, dtype=np.int16)) == pytest.approx(0.0)
    sine = (32767 * np.sin(np.arange(16_000) / 5)).astype(np.int16)
    assert level_db(sine) == pytest.approx(-3.01, abs=0.01)  # a sine's mean square is a half
    assert level_db(np.zeros(10, dtype=np.int16)) == -math.inf


@given(st.integers(0, 3000))
def test_frames_hold_all_samples(count: int) -> None:
    samples = np.arange(count, dtype=np.int16)
    frames = frames_of(samples)
    assert all(len(one) == FRAME for one in frames)
    joined = np.concatenate([*frames, np.zeros(0, dtype=np.int16)])
    assert np.array_equal(joined[:count], samples)
    assert not joined[count:].any()


def test_the_detector_tells_speech_from_silence(say: Callable[[str], Samples]) -> None:
    gate = VoiceGate()
    spoken = [gate.voiced(one) for one in frames_of(say("twelve point six volts"))]
    assert sum(spoken) > 0.4 * len(spoken)
    assert not any(gate.voiced(one) for one in frames_of(np.zeros(16_000, dtype=np.int16)))
