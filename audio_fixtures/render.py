"""Render the spoken fixtures, or a benchmark set of voices that no training used.

    python audio_fixtures/render.py --set readings --kokoro-voices DIR
    python audio_fixtures/render.py --benchmark OUT --count 300 --kokoro-voices DIR

The first renders the files of phrases.yaml that are missing (all of the set with --all) and
brings index.yaml up to date; without --set it does so for every set. The second writes WAV files
and manifest.tsv into OUT: phrases in noise and rooms, or with --clean without, of the voices held
out, or with --voices natural also of those that chose figures, or of these alone (development);
--teens adds teens against tens.
README.md beside this file says what to install.
"""

from __future__ import annotations

import argparse
import re
import sys
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.io import wavfile

if not __package__:  # run as a script: let the repository's root be importable
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from assistant.errors import GivenError, MisuseError, ProbetellError
from audio_fixtures.heldout import MANIFEST_HEAD, Spoken, draw, draw_teens
from audio_fixtures.listing import HERE, Entry, Phrase, load_index, load_phrases, save_index
from audio_fixtures.room import RATE, in_room
from audio_fixtures.voices import DEVELOPMENT, HELD_OUT, NATURAL, Speaker

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

__all__ = ["main", "render_benchmark", "render_sets"]

_LEVEL_DB: Final = -26.0
_VOICES: Final = {"held-out": HELD_OUT, "natural": NATURAL, "development": DEVELOPMENT}


def _write(path: Path, samples: NDArray[np.float64]) -> None:
    """Write 16 kHz mono 16-bit, FLAC or WAV by the name's ending."""
    path.parent.mkdir(parents=True, exist_ok=True)
    whole = np.round(samples * 32767.0).astype(np.int16)
    if path.suffix == ".wav":
        wavfile.write(path, RATE, whole)
        return
    try:
        soundfile = import_module("soundfile")
    except ImportError as missing:
        raise GivenError(
            "FLAC cannot be written.", next_step="Install the package soundfile."
        ) from missing
    soundfile.write(path, whole, RATE, subtype="PCM_16")


def render_sets(
    chosen: list[str], speaker: Speaker, *, anew: bool = False, folder: Path = HERE
) -> list[str]:
    """Render the missing files of the ``chosen`` sets (all sets when empty) and the index.

    Gives the files written. What the recogniser heard is kept in the index for files that stay.
    Raises ``GivenError`` for a set that phrases.yaml does not have.
    """
    sets = load_phrases(folder / "phrases.yaml")
    unknown = [name for name in chosen if name not in sets]
    if unknown:
        raise GivenError(
            f"phrases.yaml has no set {unknown[0]!r}.", next_step=f"Sets: {', '.join(sets)}."
        )
    index_path = folder / "index.yaml"
    known = {entry.file: entry for entry in load_index(index_path)} if index_path.exists() else {}
    written = []
    entries = []
    for name, phrases in sets.items():
        for phrase in phrases:
            path = folder / phrase.file
            wanted = not chosen or name in chosen
            if wanted and (anew or not path.exists()):
                _write(path, _spoken(phrase, speaker))
                written.append(phrase.file)
            if path.exists():
                entries.append(_entry(phrase, None if phrase.file in written else known))
    save_index(tuple(entries), index_path)
    return written


def _spoken(phrase: Phrase, speaker: Speaker) -> NDArray[np.float64]:
    return in_room(
        speaker.say(phrase.words, phrase.voice, speed=phrase.speed),
        room=phrase.room,
        noise=phrase.noise,
        noise_db=phrase.noise_db,
        level_db=phrase.level_db,
        seed=phrase.seed,
    )


def _entry(phrase: Phrase, known: dict[str, Entry] | None) -> Entry:
    before = (known or {}).get(phrase.file)
    entry = Entry.of(phrase)
    if before is None:
        return entry
    return entry.model_copy(update={"hard": before.hard, "heard": before.heard})


def render_benchmark(out: Path, speaker: Speaker, phrases: Iterable[Spoken]) -> int:
    """Render drawn phrases and their manifest into ``out``; give how many. Files there stay.

    Raises ``GivenError`` when ``out`` lies inside the project: such sets are not committed.
    """
    if out.resolve().is_relative_to(HERE.parent):
        raise GivenError(f"{out} lies inside the project.", next_step="Choose a folder outside it.")
    rows = [MANIFEST_HEAD]
    for number, spoken in enumerate(phrases):
        slug = re.sub(r"[^a-z]+", "_", spoken.words.replace("'", ""))[:40]
        file = f"{number:04d}_{spoken.voice}_{slug}.wav"
        rows.append(spoken.row(file))
        if (out / file).exists():
            continue
        clean = speaker.say(spoken.words, spoken.voice, speed=spoken.speed)
        _write(out / file, _placed(clean, spoken))
    out.mkdir(parents=True, exist_ok=True)
    (out / "manifest.tsv").write_text("\n".join(rows) + "\n", "utf-8")
    return len(rows) - 1


def _placed(clean: NDArray[np.float64], spoken: Spoken) -> NDArray[np.float64]:
    """Place speech in its room, softer where its peaks would clip at the usual level."""
    level_db = _LEVEL_DB
    while True:
        try:
            return in_room(
                clean,
                room=spoken.room,
                noise=spoken.noise,
                noise_db=spoken.noise_db,
                level_db=level_db,
                seed=spoken.seed,
            )
        except MisuseError:
            if level_db < _LEVEL_DB - 20.0:
                raise
            level_db -= 3.0


def main(arguments: list[str] | None = None) -> int:
    """Run as a command; give the exit code."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--set", action="append", default=[], help="a set of phrases.yaml")
    parser.add_argument("--all", action="store_true", help="render anew what exists, too")
    parser.add_argument("--kokoro-voices", type=Path, help="folder of Kokoro's voice files (.bin)")
    parser.add_argument("--benchmark", type=Path, metavar="OUT", help="write a benchmark set")
    parser.add_argument("--count", type=int, default=300, help="phrases of the benchmark set")
    parser.add_argument("--seed", type=int, default=7, help="seed of the benchmark set")
    parser.add_argument("--voices", choices=_VOICES, default="held-out", help="who speaks it")
    parser.add_argument("--clean", action="store_true", help="no room and no noise in it")
    parser.add_argument("--teens", type=int, default=0, help="so many teens and tens beside it")
    parser.add_argument(
        "--hts-voice", type=Path, help="file of the HTS voice, for natural, development"
    )
    given = parser.parse_args(arguments)
    speaker = Speaker(kokoro_voices=given.kokoro_voices, hts_voice=given.hts_voice)
    try:
        if given.benchmark:
            voices = _VOICES[given.voices]
            phrases = draw(given.count, given.seed, voices=voices, clean=given.clean)
            close = draw_teens(given.teens, given.seed, voices=voices)
            done = render_benchmark(given.benchmark, speaker, (*phrases, *close))
            print(f"{done} phrases in {given.benchmark}")  # noqa: T201 - a command prints
        else:
            for file in render_sets(given.set, speaker, anew=given.all):
                print(file)  # noqa: T201
    except ProbetellError as problem:
        print(problem, file=sys.stderr)  # noqa: T201
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
