"""Throats: what is drawn lies in people's range, and a clip has the pitch and length asked for."""

from __future__ import annotations

import sys
from types import ModuleType, SimpleNamespace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from scipy.signal import lfilter

from assistant.errors import GivenError
from assistant.speech.acoustic.clips import read_listed
from assistant.speech.acoustic.hibari_voice import HIBARI_TRAINING, HibariMaker
from assistant.speech.acoustic.resynthesis import Changed, drawn_for, resaid
from assistant.speech.acoustic.throats import (
    Throat,
    colour_db,
    cut,
    drawn_throat,
    formants_moved,
    pitch_of,
)
from assistant.speech.acoustic.voices import KOKORO_TRAINING, render

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

RATE = 16_000


def measured_pitch(samples: NDArray[np.float64]) -> float:
    """Median pitch in Hz of the voiced 40 ms pieces, by autocorrelation."""
    pitches = []
    for start in range(0, len(samples) - 640, 320):
        piece = samples[start : start + 640] - samples[start : start + 640].mean()
        power = np.correlate(piece, piece, "full")[639:]
        # Fewer samples overlap at a longer lag
        strength = power / max(power[0], 1e-9) * 640 / (640 - np.arange(640))
        lags = np.arange(RATE // 500, RATE // 60)
        peak = strength[lags].max()
        if peak < 0.7 or power[0] < 1e-3 * 640 * samples.std() ** 2:
            continue
        # The first peak nearly as high: its multiples are as high
        first = lags[np.flatnonzero(strength[lags] > 0.93 * peak)[0]]
        near = np.arange(first, min(first + 8, 600))
        pitches.append(RATE / near[strength[near].argmax()])
    return float(np.median(pitches)) if pitches else 0.0


def vowel(pitch: float, formant: float = 1000.0, seconds: float = 1.0) -> NDArray[np.float64]:
    """Pulses of a pitch through one resonance 120 Hz wide."""
    turns = np.floor(np.arange(int(seconds * RATE)) * pitch / RATE)
    pulses = np.diff(turns, prepend=0.0)
    radius, angle = np.exp(-np.pi * 120 / RATE), 2 * np.pi * formant / RATE
    made = lfilter([1.0], [1.0, -2 * radius * np.cos(angle), radius**2], pulses)
    return np.asarray(0.5 * made / np.abs(made).max())


def middle(samples: NDArray[np.float64]) -> float:
    """Mean frequency in Hz of the power from 500 to 2,000 Hz."""
    power = np.abs(np.fft.rfft(samples)) ** 2
    hertz = np.fft.rfftfreq(len(samples), 1 / RATE)
    band = (hertz > 500) & (hertz < 2000)
    return float((power[band] * hertz[band]).sum() / power[band].sum())


def test_the_measure_of_pitch_knows_a_pitch() -> None:
    for pitch in (90.0, 140.0, 220.0, 300.0):
        assert measured_pitch(vowel(pitch)) == pytest.approx(pitch, rel=0.03)


def test_throats_lie_around_those_of_people() -> None:
    # Peterson and Barney (J. Acoust. Soc. Am. 24, 1952), from memory: men 132 Hz, women 223,
    # children 264 on the average.
    rng = np.random.default_rng(1)
    drawn = [drawn_throat(rng) for _ in range(600)]
    assert all(0.8 <= one.formants <= 1.2 for one in drawn)
    assert all(80 <= one.pitch <= 310 for one in drawn)
    assert all(0.3 <= one.liveliness <= 1.5 for one in drawn)
    for low, high, mean in ((0.80, 0.92, 132), (0.92, 1.06, 223), (1.08, 1.20, 264)):
        pitches = [one.pitch for one in drawn if low <= one.formants < high]
        assert min(pitches) < mean < max(pitches)
    # Longer throats speak lower.
    formants, pitches = zip(*((one.formants, one.pitch) for one in drawn), strict=True)
    assert np.corrcoef(formants, pitches)[0, 1] > 0.6


@pytest.mark.parametrize("own", [85.0, 130.0, 220.0, 300.0])
def test_a_throat_for_a_voice_stays_near_it(own: float) -> None:
    rng = np.random.default_rng(2)
    for _ in range(200):
        drawn = drawn_for(own, rng)
        assert own * 0.55 - 1e-9 <= drawn.pitch <= own * 1.9 + 1e-9
        assert 0.82 <= drawn.formants <= 1.2


def test_what_is_drawn_follows_the_seed() -> None:
    def draws(seed: int) -> tuple[Throat, Throat]:
        rng = np.random.default_rng(seed)
        return drawn_throat(rng), drawn_for(150.0, rng)

    assert draws(3) == draws(3)
    assert draws(3) != draws(4)


def test_a_peak_moves_by_the_factor() -> None:
    spectra = np.exp(-(((np.arange(601) - 200.0) / 12.0) ** 2))[:, None].repeat(3, 1)
    for factor in (0.8, 1.0, 1.2):
        moved = formants_moved(spectra, factor)
        assert moved.shape == spectra.shape
        assert set(moved.argmax(0)) == {round(200 * factor)}
    assert np.allclose(formants_moved(spectra, 1.0), spectra)


def test_the_pitch_keeps_its_mean_and_its_silences() -> None:
    own = np.array([0.0, 180.0, 200.0, 222.0, 0.0])
    flat = pitch_of(Throat(formants=1.0, pitch=110.0, liveliness=0.0), own)
    assert flat.tolist() == pytest.approx([0.0, 110.0, 110.0, 110.0, 0.0])
    moved = pitch_of(Throat(formants=1.0, pitch=110.0, liveliness=1.0), own)
    assert moved[3] / moved[1] == pytest.approx(222 / 180)
    assert not pitch_of(Throat(formants=1.0, pitch=110.0, liveliness=1.0), own * 0).any()
    high = pitch_of(Throat(formants=1.0, pitch=400.0, liveliness=5.0), own)
    assert high.max() <= 480


def test_a_colour_leaves_the_loudness_within_reason() -> None:
    rng = np.random.default_rng(5)
    hertz = np.linspace(0, 8000, 513)
    for _ in range(50):
        tilted, ripple = colour_db(hertz, rng)
        assert -14 <= tilted.min() <= tilted.max() <= 10
        assert np.abs(ripple).max() < 1.9 * 5


def test_a_cut_keeps_what_is_said() -> None:
    said = vowel(150.0, seconds=0.5)
    clip = np.concatenate([np.zeros(8000), said, np.zeros(9600)])
    lengths = set()
    for seed in range(20):
        kept = cut(clip, np.random.default_rng(seed))
        lengths.add(len(kept))
        # Nothing to hide: the pulses' frames, 30 ms before and 40 ms after, whole hundredths
        assert len(said) - 160 <= len(kept) <= len(said) + (0.03 + 0.04 + 0.02) * RATE
        assert kept[0] == kept[-1] == 0.0
        assert (kept**2).sum() == pytest.approx((said**2).sum(), rel=0.05)
    assert len(lengths) > 10
    assert len(cut(np.zeros(100), np.random.default_rng(1))) == 100


def test_another_throat_has_the_pitch_and_the_length_asked_for() -> None:
    pytest.importorskip("pyworld", reason="needs pyworld-prebuilt")
    given = vowel(150.0)
    for pitch, factor in ((95.0, 1.0), (150.0, 0.85), (240.0, 1.15)):
        asked = Throat(formants=factor, pitch=pitch, liveliness=1.0)
        throat, samples = resaid(given, np.random.default_rng(6), asked)
        assert throat == asked
        assert len(samples) == len(given)
        assert measured_pitch(samples) == pytest.approx(pitch, rel=0.04)
        assert middle(samples) / middle(given) == pytest.approx(factor, rel=0.07)


def test_silence_has_no_throat_to_change() -> None:
    pytest.importorskip("pyworld", reason="needs pyworld-prebuilt")
    with pytest.raises(ValueError, match="voiced"):
        resaid(np.zeros(8000), np.random.default_rng(1))


def test_shares_of_clips_are_changed(tmp_path: Path) -> None:
    pytest.importorskip("pyworld", reason="needs pyworld-prebuilt")

    def maker(_phrase: str, _rng: np.random.Generator) -> tuple[str, NDArray[np.float64]]:
        return "tone", np.concatenate([np.zeros(4000), vowel(150.0, seconds=0.4), np.zeros(4000)])

    changed = Changed(maker=maker, throats=0.5, cuts=0.5)
    render(["one"] * 30, tmp_path, changed, kind="tone", seed=1)
    clips = read_listed(tmp_path / "clips.jsonl")
    assert len(clips) == 30
    others = [clip.speaker for clip in clips if clip.speaker.startswith("tone throat ")]
    assert 5 < len(others) < 25
    rng = np.random.default_rng(2)
    lengths = [len(changed("one", rng)[1]) for _ in range(30)]
    assert 5 < sum(length < 10_000 for length in lengths) < 25
    assert {clip.set for clip in clips} == {"tone"}


def test_a_missing_vocoder_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pyworld", None)

    def maker(_phrase: str, _rng: np.random.Generator) -> tuple[str, NDArray[np.float64]]:
        return "tone", vowel(150.0)

    with pytest.raises(GivenError, match="pyworld-prebuilt"):
        Changed(maker=maker, throats=0.5)
    assert Changed(maker=maker, cuts=1.0)("one", np.random.default_rng(1))[0] == "tone"


def _package(monkeypatch: pytest.MonkeyPatch, learned_from: str) -> list[str]:
    """Put a package of the test in hibari's place; give the list of voices that are loaded."""
    loaded: list[str] = []
    house, listed, spelling, sound = (
        ModuleType(name) for name in ("hibari", "hibari.voices", "hibari.g2p", "hibari.dsp")
    )
    given: dict[ModuleType, dict[str, Any]] = {
        house: {"Hibari": lambda voice, threads: loaded.append(voice) or threads},
        listed: {"VOICES": {"heart": {"kokoro": learned_from, "bundled": True}}},
        spelling: {"G2P": lambda british=False: SimpleNamespace(british=british)},
        sound: {"synth": None},
    }
    for module, names in given.items():
        for name, value in names.items():
            setattr(module, name, value)
        monkeypatch.setitem(sys.modules, module.__name__, module)
    monkeypatch.setitem(sys.modules, "onnxruntime", ModuleType("onnxruntime"))
    return loaded


def test_a_voice_that_is_kept_for_testing_is_never_loaded(monkeypatch: pytest.MonkeyPatch) -> None:
    from audio_fixtures.voices import HELD_OUT

    for kept in HELD_OUT:
        loaded = _package(monkeypatch, kept)
        with pytest.raises(GivenError, match="not one to train on"):
            HibariMaker()
        assert loaded == []
    loaded = _package(monkeypatch, "af_heart")
    HibariMaker()
    assert loaded == [HIBARI_TRAINING]


def test_a_missing_hibari_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "onnxruntime", ModuleType("onnxruntime"))
    monkeypatch.setitem(sys.modules, "hibari", None)
    with pytest.raises(GivenError, match="hibari-tts"):
        HibariMaker()


def test_hibari_says_what_was_asked_in_the_throat_that_was_asked() -> None:
    pytest.importorskip("onnxruntime", reason="runs the voice")
    voices = pytest.importorskip("hibari.voices", reason="needs hibari-tts")
    assert voices.VOICES[HIBARI_TRAINING]["kokoro"] in KOKORO_TRAINING
    maker = HibariMaker()
    sounds = maker.sounds("nine volts", "us")
    lengths = {}
    for pitch, factor, speed in ((100.0, 0.85, 0.8), (180.0, 1.0, 1.0), (280.0, 1.15, 1.25)):
        throat = Throat(formants=factor, pitch=pitch, liveliness=0.0)
        samples = maker.say(sounds, throat, speed, np.random.default_rng(7))
        assert measured_pitch(samples) == pytest.approx(pitch, rel=0.06)
        lengths[speed] = len(samples)
    # The package rounds each sound to frames of 12.5 ms.
    assert lengths[0.8] / lengths[1.0] == pytest.approx(1.25, rel=0.1)
    assert lengths[1.0] / lengths[1.25] == pytest.approx(1.25, rel=0.1)
    with pytest.raises(ValueError, match="nothing"):
        maker.say(
            "", Throat(formants=1.0, pitch=150.0, liveliness=1.0), 1.0, np.random.default_rng(1)
        )
    name, samples = maker("twelve point six volts", np.random.default_rng(1))
    assert name.startswith("hibari ")
    assert RATE < len(samples) < 5 * RATE
