"""Noise out of invented packages: licences, makers, parts, families, archives and both halves."""

from __future__ import annotations

import csv
import gzip
import io
import struct
import zipfile
from typing import TYPE_CHECKING

import numpy as np
import pytest

from assistant.errors import MisuseError
from assistant.speech.acoustic import recorded_noise
from assistant.speech.acoustic.debian_copyright import fits
from assistant.speech.acoustic.noise_pieces import cleaned, in_a_row, parts_of, trimmed
from assistant.speech.acoustic.recorded_noise import Package, gather_noise, packages
from assistant.speech.acoustic.recorded_people import recorded

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from numpy.typing import NDArray

soundfile = pytest.importorskip("soundfile", reason="soundfile writes the noise")

RATE = 16_000
# Machine-readable debian/copyright file, version 1.0: the last paragraph that fits counts.
_COPYRIGHT = """\
Format: https://www.debian.org/doc/packaging-manuals/copyright-format/1.0/

Files: *
Copyright: 2020 The Game
License: GPL-3+

Files: src/snd/*
Copyright: 2021 Ann Invented
License:
 Public Domain

Files: src/snd/steps/*
Copyright: 2022 Bob Invented
License: CC-BY-4.0 and CC0-1.0

Files: src/snd/closed.wav
Copyright: 2023 Cid Invented
License: CC-BY-SA-4.0
"""


def _tone(seconds: float, hertz: float = 300.0) -> NDArray[np.float64]:
    return np.asarray(np.sin(np.arange(round(seconds * RATE)) * 2 * np.pi * hertz / RATE) / 2)


def _rising(seconds: float) -> NDArray[np.float64]:
    """Rise from 200 Hz by 20 Hz a second."""
    at = np.arange(round(seconds * RATE)) / RATE
    return np.asarray(np.sin(2 * np.pi * (200 * at + 10 * at**2)) / 2)


def _wav(samples: NDArray[np.float64]) -> bytes:
    out = io.BytesIO()
    soundfile.write(out, samples, RATE, format="WAV")
    return out.getvalue()


def _write(root: Path, files: dict[str, NDArray[np.float64]], package: str = "game") -> None:
    doc = root / "usr/share/doc" / package / "copyright"
    doc.parent.mkdir(parents=True, exist_ok=True)
    doc.write_text(_COPYRIGHT, encoding="utf-8")
    for name, samples in files.items():
        (root / "game" / name).parent.mkdir(parents=True, exist_ok=True)
        (root / "game" / name).write_bytes(_wav(samples))


def _gathered(
    told: Iterable[Package], root: Path, monkeypatch: pytest.MonkeyPatch
) -> dict[str, dict[str, str]]:
    """Give the rows of the training half by the name of the piece."""
    monkeypatch.setattr(recorded_noise, "packages", lambda: tuple(told))
    gather_noise(root, root / "out")
    with (root / "out/train/noise.tsv").open(encoding="utf-8", newline="") as text:
        rows = list(csv.DictReader(text, delimiter="\t"))
    assert all((root / "out/train" / row["file"]).is_file() for row in rows)
    return {row["file"].removesuffix(".flac"): row for row in rows}


def _hertz(samples: NDArray[np.float64]) -> float:
    return float(np.abs(np.fft.rfft(samples)).argmax() * RATE / len(samples))


_GAME = Package(package="game", begin="g", folder="game", source="src/", inside=("snd/*",), parts=8)


def test_each_piece_has_the_licence_and_the_makers_of_its_path(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    names = ("snd/hum.wav", "snd/steps/wood.wav", "snd/closed.wav", "voice.wav")
    _write(tmp_path, {name: _tone(3) for name in names})
    rows = _gathered([_GAME], tmp_path, monkeypatch)
    assert {name: (row["licence"], row["attribution"]) for name, row in rows.items()} == {
        "g_snd_hum": ("Public Domain", "2021 Ann Invented"),
        "g_snd_steps_wood": ("CC-BY-4.0 and CC0-1.0", "2022 Bob Invented"),
    }
    assert rows["g_snd_hum"]["source"] == "game snd/hum.wav"


def test_a_licence_that_is_told_stands_for_the_copyright_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _write(tmp_path, {"snd/a.wav": _tone(3), "snd/b.wav": _tone(3)})
    told = {"licence": "CC-BY-3.0", "cc0": ("snd/b*",), "holders": "Dot Invented"}
    rows = _gathered([_GAME.model_copy(update=told)], tmp_path, monkeypatch)
    assert {row["licence"] for row in rows.values()} == {"CC-BY-3.0", "CC0"}
    assert rows["g_snd_b"]["licence"] == "CC0"
    assert {row["attribution"] for row in rows.values()} == {"Dot Invented"}
    assert _gathered([_GAME.model_copy(update={"licence": "GPL-3"})], tmp_path, monkeypatch) == {}


def test_a_long_sound_gives_parts_from_different_places(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _write(tmp_path, {"snd/long.wav": _rising(60), "snd/middle.wav": _tone(17)})
    rows = _gathered([_GAME], tmp_path, monkeypatch)
    assert set(rows) == {"g_snd_middle", *(f"g_snd_long_{number}" for number in (1, 2, 3, 4))}
    assert {rows[f"g_snd_long_{number}"]["seconds"] for number in (1, 2, 3, 4)} == {"14.0"}
    assert rows["g_snd_middle"]["seconds"] == "17.0"
    assert rows["g_snd_long_2"]["source"] == "game snd/long.wav part 2 of 4"
    read = [soundfile.read(tmp_path / f"out/train/g_snd_long_{n}.flac")[0] for n in (1, 2, 3, 4)]
    # 60 s hold four parts of 14 s; their beginnings are 46 / 3 s apart, 20 Hz a second.
    begin = [_hertz(part[RATE // 2 : RATE]) for part in read]
    assert np.diff(begin) == pytest.approx([46 / 3 * 20] * 3, abs=10)


@pytest.mark.parametrize(
    ("seconds", "most", "lengths"),
    [(18, 8, [18]), (20, 8, [12]), (27, 8, [12, 12]), (28, 8, [14, 14]), (300, 2, [12, 12])],
)
def test_parts_are_12_to_14_seconds(seconds: int, most: int, lengths: list[int]) -> None:
    parts = parts_of(np.ones(seconds * RATE), most)
    assert [len(part) / RATE for part in parts] == lengths
    assert {part.max() for part in parts} == {1.0}
    if seconds > 18:
        assert all(part[0] == part[-1] == 0 for part in parts)


def test_short_sounds_of_a_folder_and_a_stem_are_one_piece(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    tones = {f"snd/steps/wood{n}.wav": _tone(0.2, 400 * n) for n in (1, 2, 3)}
    others = {"snd/steps/tile1.wav": _tone(0.2), "snd/wood1.wav": _tone(0.2)}
    _write(tmp_path, {**tones, **others, "snd/steps/wood4.wav": _tone(4)})
    told = _GAME.model_copy(update={"families": True})
    rows = _gathered([told], tmp_path, monkeypatch)
    assert set(rows) == {"g_snd_steps_wood", "g_snd_steps_wood4", "g_snd_steps_tile", "g_snd_wood"}
    wood = rows["g_snd_steps_wood"]
    assert wood["source"] == "game snd/steps/wood1.wav snd/steps/wood2.wav snd/steps/wood3.wav"
    assert (wood["seconds"], wood["licence"]) == ("6.0", "CC-BY-4.0 and CC0-1.0")
    samples = soundfile.read(tmp_path / "out/train/g_snd_steps_wood.flac")[0]
    strength = np.abs(np.fft.rfft(samples))[np.array([400, 800, 1200, 1600]) * 6]
    assert strength[:3].min() > 20 * strength[3]


def test_a_family_that_is_named_has_all_its_licences_and_makers(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    names = ("snd/hum.wav", *(f"snd/steps/{name}.wav" for name in "abc"))
    _write(tmp_path, {name: _tone(0.3) for name in names})
    told = _GAME.model_copy(update={"together": {"all": ("snd/*",)}, "most": 4})
    rows = _gathered([told], tmp_path, monkeypatch)
    assert set(rows) == {"g_all"}
    assert rows["g_all"]["licence"] == "Public Domain and CC-BY-4.0 and CC0-1.0"
    assert rows["g_all"]["attribution"] == "2021 Ann Invented; 2022 Bob Invented"
    rows = _gathered([told.model_copy(update={"most": 2})], tmp_path, monkeypatch)
    assert set(rows) == {"g_all_1", "g_all_2"}


def test_a_loop_goes_on_and_other_sounds_have_pauses() -> None:
    sound = [np.ones(RATE // 2)]
    loop = in_a_row(sound, "name", seconds=8, pauses=False)
    assert (len(loop), loop.min()) == (8 * RATE, 1)
    row = in_a_row(sound, "name", seconds=6, pauses=True)
    assert len(row) == 6 * RATE
    assert 0.1 < (row == 0).mean() < 0.6
    assert np.array_equal(row, in_a_row(sound, "name", seconds=6, pauses=True))
    assert not np.array_equal(row, in_a_row(sound, "other", seconds=6, pauses=True))


def test_quiet_ends_and_deep_sounds_go() -> None:
    assert len(trimmed(np.concatenate([np.zeros(900), _tone(1) + 1, np.zeros(900)]))) == RATE
    assert len(trimmed(np.zeros(900))) == 0
    low, high = (cleaned(_tone(4, hertz) + 0.3)[RATE:] for hertz in (5, 400))
    assert np.abs(low).max() < 0.02
    assert np.abs(high).max() == pytest.approx(0.5, rel=0.02)


def test_sounds_in_a_zip_and_in_a_group_are_taken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _write(tmp_path, {})
    (tmp_path / "game").mkdir()
    with zipfile.ZipFile(tmp_path / "game/data.pk3", "w") as made:
        made.writestr("snd/hum.wav", _wav(_tone(3)))
        made.writestr("snd/closed.wav", _wav(_tone(3)))
        made.writestr("snd/readme.txt", b"text")
    # A C4Group of one entry: see test_archives.py for its layout.
    sound = _wav(_tone(4))
    head = bytearray(byte ^ 237 for byte in bytes(36) + struct.pack("<i", 1) + bytes(164))
    for at in range(0, 204, 3):
        head[at : at + 3] = head[at : at + 3][::-1]
    entry = b"Rain.wav".ljust(260, b"\0") + struct.pack("<5i", 1, 0, len(sound), 0, 0) + bytes(36)
    packed = gzip.compress(bytes(head) + entry + sound)
    (tmp_path / "game/Sound.ocg").write_bytes(b"\x1e\x8c" + packed[2:])
    zipped = _GAME.model_copy(update={"archives": ("*.pk3",)})
    group = {"begin": "c", "archives": ("Sound.ocg",), "inside": ("Sound.ocg/*",)}
    grouped = _GAME.model_copy(update={**group, "licence": "CC0", "holders": "Eve Invented"})
    rows = _gathered([zipped, grouped], tmp_path, monkeypatch)
    assert {name: (row["seconds"], row["licence"]) for name, row in rows.items()} == {
        "g_snd_hum": ("3.0", "Public Domain"),
        "c_sound_rain": ("4.0", "CC0"),
    }


def test_names_of_the_test_half_stay_out_of_the_training_half(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = recorded()["noise"]["kept"]
    _write(tmp_path, {f"snd/{name}.wav": _tone(3) for name in (*kept, "new")})
    plain = _GAME.model_copy(update={"parts": 0, "begin": ""})
    rows = _gathered([plain], tmp_path, monkeypatch)
    assert set(rows) == {"new"}
    tested = {path.stem for path in (tmp_path / "out/test").glob("*.flac")}
    assert tested == set(kept)


def test_samples_with_pieces_of_their_own_are_not_taken_once_more(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told = recorded()["noise"]["samples"]
    used = (*told["loops"], *(name for names in told["blows"] for name in names))
    _write(tmp_path, {f"snd/{name}.wav": _tone(3) for name in (*used, "new")}, told["package"])
    same = _GAME.model_copy(update={"package": told["package"]})
    assert set(_gathered([same], tmp_path, monkeypatch)) == {"g_snd_new"}


def test_two_pieces_of_one_name_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _write(tmp_path, {"snd/a-b.wav": _tone(3), "snd/a_b.wav": _tone(3)})
    with pytest.raises(MisuseError, match="g_snd_a_b"):
        _gathered([_GAME], tmp_path, monkeypatch)


def test_what_the_recipe_takes_cannot_be_of_the_test_half() -> None:
    noise = recorded()["noise"]
    cut = [told for told in packages() if told.parts]
    assert all(told.begin for told in cut)
    for name in noise["kept"]:
        assert not [told.begin for told in cut if name.startswith(f"{told.begin}_")], name
    # Luanti's game has the doors of which minetest-data gives some to the test half.
    luanti = [told for told in packages() if told.package == "luanti-game-minetest"]
    doors = "mods/doors/sounds/doors_steel_door_close.ogg"
    assert luanti
    assert not [told for told in luanti if fits(doors, told.inside)]


def test_the_recipe_names_no_licence_that_asks_for_the_same_one() -> None:
    noise = recorded()["noise"]
    told = [*noise["licences"], *(one.licence for one in packages() if one.licence)]
    assert all(name.startswith(("CC0", "CC-BY-", "public", "Public")) for name in told)
    assert not [name for name in told if "SA" in name or "NC" in name or "ND" in name]
    assert all(one.holders for one in packages() if one.licence)
