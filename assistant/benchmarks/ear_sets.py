"""The sets of the ear's table: voices that no model was trained on, people, other words, noise.

Natural voices are those of a set that ``audio_fixtures/render.py --voices natural --clean`` made;
without one flite's rms and kal16 speak there and then. So do four of espeak-ng's voice variants,
which compute their sound by rules and are a set of their own. Training uses none of them
(``assistant.speech.acoustic.voices``). The phrases are drawn by ``audio_fixtures.heldout``, with
a seed of their own. What is not installed or not given is left out, and a set that stays empty
has no data.
"""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from dataclasses import dataclass, replace
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from assistant.benchmarks.ear_clips import Clip, degraded, grammar_of, noises_in, read_clips
from assistant.speech.acoustic.clips import read_manifest
from assistant.speech.audio import EAR_RATE, Samples, read_sound, resample
from assistant.speech.events import accepts, spoken_graph
from assistant.speech.parts import need

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

__all__ = [
    "DEVELOPMENT",
    "Said",
    "changed",
    "formant",
    "natural",
    "noise_alone",
    "noises",
    "other_words",
    "packaged",
    "people",
    "speakers",
    "speech_over_clip",
    "teens",
]

FLITE: Final = ("rms", "kal16")
ESPEAK: Final = ("en-us+Andy", "en-gb+Annie", "en-us+steph2", "en-gb+edward")
DEVELOPMENT: Final = frozenset({"cstr_uk_female", "joe", "pico_us"})
"""Voices that no network was trained on, but that figures were chosen with."""
_SEED: Final = 2026
_ON_THE_SPOT: Final = 100
_LEAD: Final = EAR_RATE // 4
_PIECE: Final = 2 * EAR_RATE
_DIGITS: Final = frozenset(
    {"zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"}
)
_TEENS: Final = (
    *("thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen"),
    *("thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"),
)
_SENTENCES: Final = (
    "hand me the torch please",
    "where did the screwdriver go",
    "she comes back after lunch",
    "close the door behind you",
    "that song again on the radio",
    "put the kettle on",
    "the customer waits outside",
    "it rains since this morning",
    "who left the ladder here",
    "we need more coffee",
    "my brother bought a boat",
    "careful with the paint",
    "look at that dog over there",
    "the phone rang twice yesterday",
    "tell him tomorrow is fine",
    "what a terrible colour",
    "sweep the floor before dinner",
    "the garden wants water",
)


@dataclass(frozen=True, slots=True)
class Said:
    """A sound in memory, what is said in it, and the grammar it is heard with."""

    clip: Clip
    sound: Samples
    grammar: str


def _drawn_clips(function: str, count: int) -> list[Clip]:
    """Have ``audio_fixtures.heldout`` draw what is to be spoken; nothing where it is not."""
    try:
        heldout = import_module("audio_fixtures.heldout")
    except ModuleNotFoundError:
        return []
    head = heldout.MANIFEST_HEAD.split("\t")
    drawn = [one.row("").split("\t") for one in getattr(heldout, function)(count, _SEED)]
    read = [dict(zip(head, row, strict=True)) for row in drawn]
    return [Clip(Path(), row["words"], row) for row in read]


def speakers(*engines: str) -> tuple[tuple[str, str], ...]:
    """Give engine and voice of every voice of ``engines`` that is installed here."""
    voices = {"flite": FLITE, "espeak-ng": ESPEAK}
    return tuple((one, name) for one in engines if shutil.which(one) for name in voices[one])


def _spoken(words: str, engine: str, voice: str) -> Samples:
    """Speak, with a quarter of a second of quiet around."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "said.wav"
        program = shutil.which(engine) or engine
        given = {
            "flite": [program, "-voice", voice, "-t", words, "-o", str(out)],
            "espeak-ng": [program, "-v", voice, "-s", "150", "-w", str(out), words],
        }[engine]
        subprocess.run(given, check=True, capture_output=True)  # noqa: S603 - no shell
        sound = read_sound(out).samples
    loud = np.flatnonzero(np.abs(sound) > 0.005 * np.abs(sound).max())
    quiet = np.zeros(_LEAD, np.int16)
    return np.concatenate([quiet, sound[loud[0] : loud[-1] + 1], quiet])


def _by_turns(
    clips: Sequence[Clip], voices: Sequence[tuple[str, str]], grammar: str | None = None
) -> list[Said]:
    """Have the voices speak the clips in turn; the rows then name the voice."""
    if not voices:
        return []
    found = []
    for k, clip in enumerate(clips):
        engine, voice = voices[k % len(voices)]
        told = replace(clip, row={**clip.row, "voice": voice})
        found.append(Said(told, _spoken(clip.words, engine, voice), grammar_of(clip, grammar)))
    return found


def _rendered(folder: Path, name: str, count: int | None) -> list[Said]:
    """Read the clean clips of one set of ``folder``, ``count`` of them evenly chosen.

    A row without a set is one of the phrases.
    """
    clean = read_clips(folder, ["noise_db=clean"])
    clips = [one for one in clean if (one.row.get("set") or "phrases") == name]
    if count is not None and count < len(clips):
        clips = [clips[k * len(clips) // count] for k in range(count)]
    return [Said(one, read_sound(one.path).samples, grammar_of(one)) for one in clips]


def natural(count: int | None = None, voices: Path | None = None) -> list[Said]:
    """Give phrases of unseen natural voices: those of ``voices``, or of flite there and then.

    ``count``: at most so many; without it all of ``voices``, or a hundred.
    """
    if voices is not None:
        return _rendered(voices, "phrases", count)
    return _by_turns(_drawn_clips("draw", count or _ON_THE_SPOT), speakers("flite"))


def formant(count: int | None = None) -> list[Said]:
    """Have unseen variants of espeak-ng's formant voice speak phrases."""
    return _by_turns(_drawn_clips("draw", count or _ON_THE_SPOT), speakers("espeak-ng"))


def teens(count: int | None = None, voices: Path | None = None) -> list[Said]:
    """Give 13 to 19 and 30 to 90, bare and with units, of the voices of ``natural``."""
    if voices is not None:
        return _rendered(voices, "teens", count)
    return _by_turns(_drawn_clips("draw_teens", count or _ON_THE_SPOT), speakers("flite"))


def changed(
    said: Iterable[Said],
    *,
    noise: Sequence[Samples] = (),
    snr_db: float = 10.0,
    telephone: bool = False,
) -> list[Said]:
    """Add noise so many dB under the speech, then a telephone line."""
    return [
        replace(
            one,
            sound=degraded(
                one.sound,
                noise=noise[k % len(noise)] if noise else None,
                snr_db=snr_db,
                telephone=telephone,
                seed=k,
            ),
        )
        for k, one in enumerate(said)
    ]


def noises(folder: Path | None) -> list[Samples]:
    """Read the noise of ``folder``, or without one compute that of the fixtures."""
    if folder is not None:
        return noises_in(folder)
    try:
        makers = import_module("audio_fixtures.room").NOISES
    except ModuleNotFoundError:
        return []
    rng = np.random.default_rng(_SEED)
    made = [makers[name](10 * EAR_RATE, rng) for name in sorted(makers) for _ in range(2)]
    return [np.round(one / np.abs(one).max() * 8000).astype(np.int16) for one in made]


def speech_over_clip(said: Sequence[Said]) -> float | None:
    """Give by how many dB speech alone is louder than its clip, half of all being below it.

    Speech alone is measured as ITU-T P.56 says; the clip with its pauses is what ``changed`` sets
    noise by. None without clips or without the fixtures.
    """
    try:
        active_level = import_module("audio_fixtures.room").active_level
    except ModuleNotFoundError:
        return None
    ahead = []
    for one in said:
        samples = one.sound.astype(np.float64) / 32768.0
        power = float(np.mean(samples**2))
        if power > 0:
            ahead.append(active_level(samples, EAR_RATE) - 10 * np.log10(power))
    return float(np.median(ahead)) if ahead else None


def noise_alone(found: Sequence[Samples]) -> list[Said]:
    """Cut pieces of two seconds, to be heard while volts are expected."""
    pieces = [
        sound[start : start + _PIECE]
        for sound in found
        for start in range(0, len(sound) - _PIECE + 1, 2 * _PIECE)
    ]
    return [Said(Clip(Path(), "", {}), piece, "volts") for piece in pieces]


def _recorded(path: Path) -> Samples:
    """Read a sound; the program itself reads no Opus, so OGG goes through soundfile."""
    if path.suffix != ".ogg":
        return read_sound(path).samples
    samples, rate = need("soundfile").read(str(path), dtype="int16", always_2d=True)
    return resample(samples[:, 0], int(rate), EAR_RATE)


def people(folder: Path | None, which: str) -> list[Said]:
    """Give recordings of people who are in no training set.

    ``which``: "fsdd" is the development speakers of the Free Spoken Digit Dataset; the others are
    of the speakers that the recipe splits off its training sets: "numbers" connected numbers,
    "digits", "words" (yes, no, stop), "others" words that no grammar has.
    """
    if folder is None:
        return []
    if which == "fsdd":
        clips = read_clips(folder, ["set=fsdd", "split=dev"])
        return [Said(one, _recorded(one.path), "digits") for one in clips]
    graph, numbers = spoken_graph("any"), frozenset(_TEENS) | _DIGITS | {"oh", "twenty"}
    numbers |= {"ten", "eleven", "twelve"}
    chosen: list[tuple[str, str, str]] = []
    for one in read_manifest(folder / "manifest.tsv"):
        words = one.words.split()
        sort = "others"
        if len(words) > 1 and set(words) <= numbers:
            sort = "numbers"
        elif len(words) == 1 and words[0] in _DIGITS:
            sort = "digits"
        elif one.words in {"yes", "no", "stop"}:
            sort = "words"
        elif accepts(graph, tuple(words)) or len(words) > 1:
            sort = ""
        if one.split == "dev" and sort == which:
            chosen.append((one.file, one.words, one.speaker))
    grammar = {"numbers": "numbers", "digits": "digits"}.get(which, "any")
    return [
        Said(Clip(Path(file), words, {"speaker": who}), _recorded(Path(file)), grammar)
        for file, words, who in chosen
    ]


def packaged(folder: Path | None, which: str) -> list[Said]:
    """Give recordings of people that packages carry (``gather people``).

    No network was trained on them, but figures were chosen with them. ``which``: "numbers" one
    by one, but for what no grammar takes alone; "joined" longer ones, put together of the words
    of one speaker; "others" words that no grammar has. All are heard with their row's grammar.
    """
    if folder is None:
        return []
    wanted = {"numbers": "_numbers", "joined": "_joined", "others": "_others"}[which]
    clips = [one for one in read_clips(folder) if one.row["set"].endswith(wanted)]
    if which != "others":
        clips = [
            one for one in clips if accepts(spoken_graph(grammar_of(one)), tuple(one.words.split()))
        ]
    return [Said(one, _recorded(one.path), grammar_of(one)) for one in clips]


def other_words(folder: Path | None) -> list[Said]:
    """Give sentences of the voices spoken here, and words of people, that no grammar has."""
    voices = speakers("flite", "espeak-ng")
    said = _by_turns([Clip(Path(), words, {}) for words in _SENTENCES], voices, "any")
    return said + people(folder, "others")
