from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.errors import MisuseError
from audio_fixtures import room
from audio_fixtures.room import LEAD_S, NOISES, RATE, ROOMS, TAIL_S, active_level, in_room

SECONDS = np.arange(3 * RATE) / RATE
TONE = np.sin(2 * np.pi * 440.0 * SECONDS)


def syllables(seconds: float = 1.0) -> np.ndarray:
    """Speech-like bursts: 150 Hz with harmonics, four a second."""
    at = np.arange(int(seconds * RATE)) / RATE
    voice = sum(np.sin(2 * np.pi * 150.0 * order * at) / order for order in range(1, 12))
    return np.asarray(voice * (0.55 + 0.45 * np.sin(2 * np.pi * 4.0 * at)))


def test_active_level_of_a_steady_tone_is_its_power() -> None:
    # ITU-T P.56: for a signal that is active all the time the active level is the long-term
    # level; a full-scale sine has 10 lg 1/2 = -3.01 dB. The envelope's rise costs a little.
    assert active_level(TONE) == pytest.approx(-3.01, abs=0.1)


def test_active_level_leaves_pauses_out() -> None:
    # ITU-T P.56: the active level is taken over the time that is active, which here is the second
    # of tone, 0.1 s in which two averagers of 0.03 s fall below the threshold and 0.2 s of
    # hang-over: 10 lg 1.3 = 1.1 dB under the tone. The long-term level is 4.8 dB under it.
    gated = np.where((SECONDS >= 1.0) & (SECONDS < 2.0), TONE, 0.0)
    assert active_level(gated) == pytest.approx(-3.01 - 1.14, abs=0.15)
    long_term = 10 * np.log10(np.mean(gated**2))
    assert active_level(gated) - long_term > 3.5


def test_active_level_follows_gain_and_silence_has_none() -> None:
    assert active_level(0.1 * TONE) == pytest.approx(active_level(TONE) - 20.0, abs=0.2)
    assert active_level(np.zeros(RATE)) == float("-inf")


@pytest.mark.parametrize("name", [name for name, place in ROOMS.items() if place])
def test_echo_decays_as_fast_as_the_room_says(name: str) -> None:
    # ISO 3382-2: reverberation time from the backward-integrated impulse response, here
    # evaluated from -5 to -25 dB (T20) of the echo without the direct sound.
    place = ROOMS[name]
    assert place is not None
    tail = room._echo(place, np.random.default_rng(5))[int(place.first_echo_s * RATE) + 1 :]
    curve = 10 * np.log10(np.cumsum(tail[::-1] ** 2)[::-1] / np.sum(tail**2))
    span = np.flatnonzero((curve <= -5) & (curve >= -25))
    slope = np.polyfit(span / RATE, curve[span], 1)[0]
    assert -60.0 / slope == pytest.approx(place.decay_s, rel=0.25)


@pytest.mark.parametrize("name", [name for name, place in ROOMS.items() if place])
def test_direct_sound_stands_over_the_echo_as_said(name: str) -> None:
    place = ROOMS[name]
    assert place is not None
    echo = room._echo(place, np.random.default_rng(6))
    ratio = 10 * np.log10(echo[0] ** 2 / np.sum(echo[1:] ** 2))
    assert ratio == pytest.approx(place.direct_db, abs=0.01)


def test_pink_noise_loses_three_decibels_an_octave() -> None:
    # Pink noise has equal power in each octave (IEC 60050-801, definition of pink noise).
    noise = NOISES["pink"](8 * RATE, np.random.default_rng(1))
    power = np.abs(np.fft.rfft(noise)) ** 2
    frequency = np.fft.rfftfreq(len(noise), 1 / RATE)
    octaves = [
        10 * np.log10(power[(frequency >= low) & (frequency < 2 * low)].sum())
        for low in (125.0, 250.0, 500.0, 1000.0, 2000.0)
    ]
    assert np.ptp(octaves) < 1.0


@pytest.mark.parametrize("noise", sorted(NOISES))
@pytest.mark.parametrize("noise_db", [25.0, 20.0, 15.0, 10.0])
def test_noise_lies_under_the_speech_as_asked(noise: str, noise_db: float) -> None:
    speech = syllables(2.0)
    how = {"room": "cabin", "noise": noise, "level_db": -26.0, "seed": 3}
    clean = in_room(speech, noise_db=None, **how)
    noisy = in_room(speech, noise_db=noise_db, **how)
    under = active_level(clean) - 10 * np.log10(np.mean((noisy - clean) ** 2))
    assert active_level(clean) == pytest.approx(-26.0, abs=0.1)
    assert under == pytest.approx(noise_db, abs=0.2)


@settings(max_examples=25, deadline=None)
@given(
    place=st.sampled_from(sorted(ROOMS)),
    noise=st.sampled_from(sorted(NOISES)),
    noise_db=st.none() | st.floats(5.0, 40.0),
    level_db=st.floats(-36.0, -22.0),
    seed=st.integers(0, 2**32 - 1),
)
def test_any_room_is_repeatable_and_never_clips(
    place: str, noise: str, noise_db: float | None, level_db: float, seed: int
) -> None:
    how = {"room": place, "noise": noise, "noise_db": noise_db, "level_db": level_db, "seed": seed}
    once, twice = (in_room(syllables(0.6), **how) for _ in range(2))
    assert np.array_equal(once, twice)
    assert len(once) == int(0.6 * RATE) + int(LEAD_S * RATE) + int(TAIL_S * RATE)
    assert np.max(np.abs(once)) < 1.0


def test_what_does_not_exist_or_clips_is_refused() -> None:
    how = {"noise_db": 20.0, "seed": 1}
    with pytest.raises(MisuseError, match="no room"):
        in_room(TONE, room="cathedral", noise="pink", level_db=-26.0, **how)
    with pytest.raises(MisuseError, match="no room"):
        in_room(TONE, room="cabin", noise="choir", level_db=-26.0, **how)
    with pytest.raises(MisuseError, match="clip"):
        in_room(TONE, room="none", noise="pink", level_db=0.0, **how)
