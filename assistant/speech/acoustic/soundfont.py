"""Noise out of a soundfont, played by fluidsynth: its sound effects, and music from drawn notes.

The notes are drawn here, a bar of chords, bass, drums and a melody after the other, as a radio or
a test of the customer's own system may sound. The Fluid soundfonts are under the MIT licence.
MIDI files: format 0 of the Standard MIDI Files specification 1.0.
"""

from __future__ import annotations

import shutil
import struct
import subprocess
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from assistant.speech.acoustic.recorded_noise import Piece, filled
from assistant.speech.acoustic.recorded_people import recorded
from assistant.speech.acoustic.voices import wav_at_rate

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

__all__ = ["Event", "effects_and_music", "midi_file", "music"]

Event = tuple[int, bytes]
"""Ticks from the start (480 a beat, two beats a second) and a MIDI message."""

_FOLDER: Final = "usr/share/sounds/sf2"
_LONG: Final = 7600


def _length(ticks: int) -> bytes:
    """Write a number in MIDI's variable length: seven bits a byte, the last without the top bit."""
    parts = [ticks & 127]
    while ticks := ticks >> 7:
        parts.insert(0, ticks & 127 | 128)
    return bytes(parts)


def midi_file(events: Sequence[Event]) -> bytes:
    """Write events as a file of one track."""
    track, at = b"", 0
    for tick, message in sorted(events, key=lambda event: event[0]):
        track += _length(tick - at) + message
        at = tick
    track += _length(480) + b"\xff\x2f\x00"
    head = b"MThd" + struct.pack(">IHHH", 6, 0, 1, 480)
    return head + b"MTrk" + struct.pack(">I", len(track)) + track


def _note(start: int, end: int, channel: int, key: int, strength: int) -> list[Event]:
    return [(start, bytes([0x90 | channel, key, strength])), (end, bytes([0x80 | channel, key, 0]))]


def music(band: Sequence[int], seed: int) -> list[Event]:
    """Draw five bars for a band of three programs and drums."""
    rng = np.random.default_rng(seed)
    events: list[Event] = [(0, bytes([0xC0 | k, program])) for k, program in enumerate(band)]
    key, beat = int(rng.integers(45, 57)), int(rng.choice([300, 360, 420]))
    third = int(rng.choice([3, 4]))
    for bar in range(5):
        root, start = key + int(rng.choice([0, 5, 7, 9, 3])), bar * beat * 4
        for place in range(4):
            at = start + place * beat
            if place % 2 == 0:
                for step in (12, 12 + third, 19):
                    events += _note(at, at + 2 * beat - 20, 0, root + step, 80)
            events += _note(at, at + beat - 20, 1, root - 12, 95)
            high = root + int(rng.choice([12, 14, 16, 19, 24]))
            events += _note(at, at + beat - 30, 2, high, 85)
            drum = 36 if place % 2 == 0 else 38
            events += _note(at, at + beat // 2, 9, drum, 100)
            for half in (at, at + beat // 2):
                events += _note(half, half + 60, 9, 42, 70)
    return events


def _effect(bank: int, program: int) -> list[Event]:
    start: list[Event] = [(0, bytes([0xB0, 0, bank])), (0, bytes([0xC0, program]))]
    return start + _note(0, _LONG, 0, 60, 110)


def effects_and_music(root: Path) -> Iterator[Piece]:
    """Play what there is; nothing without fluidsynth or the soundfonts under ``root``."""
    player = shutil.which("fluidsynth")
    general, standard = (root / _FOLDER / f"FluidR3_{name}.sf2" for name in ("GM", "GS"))
    if player is None or not general.is_file():
        return
    told = recorded()["noise"]["soundfont"]
    wanted = [
        (name, _effect(bank, program), standard if bank else general, "effect")
        for name, (bank, program) in told["effects"].items()
    ]
    bands = enumerate(told["bands"])
    wanted += [(f"music{seed}", music(band, seed), general, "music") for seed, band in bands]
    for number, (name, events, font, sort) in enumerate(wanted):
        if not font.is_file():
            continue
        with tempfile.TemporaryDirectory() as folder:
            score, out = Path(folder) / "a.mid", Path(folder) / "a.wav"
            score.write_bytes(midi_file(events))
            given = ["-ni", "-q", "-g", "0.8", "-r", "32000", "-F", str(out), str(font), str(score)]
            subprocess.run([player, *given], check=True, capture_output=True)  # noqa: S603
            samples = wav_at_rate(out)
        mono = samples if samples.ndim == 1 else samples.mean(1)
        if np.abs(mono).max() > 1e-3:
            source = f"{told['package']} {font.stem} {sort} {name}"
            yield Piece(name, filled(mono, number), told["licence"], source)
