"""Recordings out of packages: which licences, which side, and no training on people."""

from __future__ import annotations

import csv
import shutil
from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.io import wavfile

from assistant.speech.acoustic.clips import read_manifest
from assistant.speech.acoustic.recorded_noise import (
    Piece,
    filled,
    gather_noise,
    halves,
    packages,
)
from assistant.speech.acoustic.recorded_people import gather_people, joined_numbers, recorded
from assistant.speech.acoustic.soundfont import midi_file, music
from assistant.speech.events import accepts, spoken_graph

if TYPE_CHECKING:
    from pathlib import Path

# Machine-readable debian/copyright file, version 1.0: paragraphs, "Files" over several lines.
_COPYRIGHT = """\
Format: https://www.debian.org/doc/packaging-manuals/copyright-format/1.0/

Files: data/sfx/a.ogg
 data/sfx/b.ogg
Copyright: somebody
License: CC0
Comment: found somewhere

Files:
 data/sfx/c.ogg
Copyright: another
License: GPL-2+

License: GPL-2+
 Text of the licence.
"""


def _tone(path: Path, seconds: float) -> None:
    rate = 16_000
    wave = np.sin(np.arange(int(seconds * rate)) * 2 * np.pi * 300 / rate)
    path.parent.mkdir(parents=True, exist_ok=True)
    wavfile.write(path, rate, np.round(9000 * wave).astype(np.int16))


def test_noise_of_the_right_licence_is_gathered(tmp_path: Path) -> None:
    soundfile = pytest.importorskip("soundfile", reason="soundfile writes the noise")
    told = packages()[0]
    doc = tmp_path / "usr/share/doc" / told.package
    doc.mkdir(parents=True)
    (doc / "copyright").write_text(_COPYRIGHT, encoding="utf-8")
    for name in "abc":
        place = tmp_path / told.folder / f"data/sfx/{name}.ogg"
        place.parent.mkdir(parents=True, exist_ok=True)
        soundfile.write(place, np.sin(np.arange(24_000) / 9.0) / 2, 16_000)
    assert gather_noise(tmp_path, tmp_path / "out") == (2, 0)
    rows = (tmp_path / "out/train/noise.tsv").read_text(encoding="utf-8").splitlines()
    assert [row.split("\t")[0] for row in rows[1:]] == ["a.flac", "b.flac"]
    assert {row.split("\t")[2] for row in rows[1:]} == {"CC0"}
    assert {row.split("\t")[4] for row in rows[1:]} == {"somebody"}


def test_a_piece_is_on_one_side() -> None:
    kept = recorded()["noise"]["kept"]
    names = [*kept[:3], "a", "b"]
    train, test = halves([Piece(name, np.ones(9), "CC0", "x") for name in names])
    assert [piece.name for piece in train] == ["a", "b"]
    assert [piece.name for piece in test] == kept[:3]


def test_a_short_sound_is_repeated_and_a_long_one_cut() -> None:
    assert len(filled(np.ones(8000), 1)) == 5 * 16_000
    assert len(filled(np.ones(16_000 * 20), 1)) == 8 * 16_000
    assert filled(np.ones(8000), 1)[-16_000 * 2 :].any()


def test_people_are_for_development_only(tmp_path: Path) -> None:
    if shutil.which("ffmpeg") is None:
        pytest.skip("ffmpeg reads the recordings")
    places = next(one for one in recorded()["people"] if one.set == "alsa_channels")
    for name in places.words:
        _tone(tmp_path / places.folder / f"{name}{places.ending}", 0.8)
    assert gather_people(tmp_path, tmp_path / "out") == 4
    with (tmp_path / "out/manifest.tsv").open(encoding="utf-8", newline="") as text:
        rows = list(csv.DictReader(text, delimiter="\t"))
    assert {row["words"] for row in rows} == {
        *("front left", "front right", "rear left", "rear right"),
    }
    assert {row["split"] for row in rows} == {"dev"}
    assert all((tmp_path / "out" / row["file"]).is_file() for row in rows)
    assert read_manifest(tmp_path / "out/manifest.tsv") == ()  # what a pack would take


def test_other_words_are_no_phrase_and_the_rest_are() -> None:
    graph = spoken_graph("any")
    for one in recorded()["people"]:
        phrases = [words for words in one.words.values() if accepts(graph, tuple(words.split()))]
        if one.set.endswith("_others"):
            assert phrases == [], one.set
        elif one.set.endswith(("_numbers", "_channels", "_words")):
            assert len(phrases) == len(one.words), one.set


def test_joined_numbers_are_of_the_words_that_were_recorded() -> None:
    said = {w for one in recorded()["people"] for w in one.words.values()}
    drawn = joined_numbers(60, 7)
    assert len(set(drawn)) == 60
    assert {word for number in drawn for word in number} <= said


def test_a_midi_file_is_a_head_and_a_track() -> None:
    # Standard MIDI Files 1.0: MThd, length 6, format 0, one track, 480 ticks a beat; MTrk; the
    # lengths 0x40, 0x2000 and 0x0FFFFF are written 40, C0 00 and BF FF 7F.
    data = midi_file([(0x40, b"\x90\x3c\x40"), (0x40 + 0x2000, b"\x80\x3c\x00")])
    assert data[:14] == b"MThd\x00\x00\x00\x06\x00\x00\x00\x01\x01\xe0"
    assert data[14:18] == b"MTrk"
    assert data[22:] == b"\x40\x90\x3c\x40\xc0\x00\x80\x3c\x00\x83\x60\xff\x2f\x00"
    assert int.from_bytes(data[18:22], "big") == len(data) - 22


def test_every_note_that_begins_ends() -> None:
    open_notes: dict[tuple[int, int], int] = {}
    for _, message in sorted(music((25, 33, 48), 1), key=lambda event: event[0]):
        if message[0] & 0xF0 in {0x80, 0x90}:
            note = (message[0] & 15, message[1])
            step = 1 if message[0] & 0xF0 == 0x90 else -1
            open_notes[note] = open_notes.get(note, 0) + step
    assert open_notes
    assert not any(open_notes.values())
