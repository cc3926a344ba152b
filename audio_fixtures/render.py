"""Render the spoken fixtures, or a benchmark set of held-out voices.

    python audio_fixtures/render.py --set readings --kokoro-voices DIR
    python audio_fixtures/render.py --benchmark OUT --count 300 --kokoro-voices DIR

The first renders the files of phrases.yaml that are missing (all of the set with --all) and
brings index.yaml up to date; without --set it does so for every set. The second writes WAV files
and manifest.tsv into OUT. README.md beside this file says what to install.
"""

from __future__ import annotations

import argparse
import re
import sys
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from scipy.io import wavfile

if not __package__:  # run as a script: let the repository's root be importable
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from assistant.errors import GivenError, ProbetellError
from audio_fixtures.heldout import MANIFEST_HEAD, draw
from audio_fixtures.listing import HERE, Entry, Phrase, load_index, load_phrases, save_index
from audio_fixtures.room import RATE, in_room
from audio_fixtures.voices import Speaker

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["main", "render_benchmark", "render_sets"]


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


def render_benchmark(out: Path, speaker: Speaker, *, count: int, seed: int) -> int:
    """Render ``count`` phrases of held-out voices and their manifest into ``out``; give how many.

    Raises ``GivenError`` when ``out`` lies inside the project: such sets are not committed.
    """
    if out.resolve().is_relative_to(HERE.parent):
        raise GivenError(f"{out} lies inside the project.", next_step="Choose a folder outside it.")
    rows = [MANIFEST_HEAD]
    for number, spoken in enumerate(draw(count, seed)):
        slug = re.sub(r"[^a-z]+", "_", spoken.words.replace("'", ""))[:40]
        file = f"{number:04d}_{spoken.voice}_{slug}.wav"
        rows.append(spoken.row(file))
        if (out / file).exists():
            continue
        clean = speaker.say(spoken.words, spoken.voice, speed=spoken.speed)
        noisy = in_room(
            clean,
            room=spoken.room,
            noise=spoken.noise,
            noise_db=spoken.noise_db,
            level_db=-26.0,
            seed=spoken.seed,
        )
        _write(out / file, noisy)
    out.mkdir(parents=True, exist_ok=True)
    (out / "manifest.tsv").write_text("\n".join(rows) + "\n", "utf-8")
    return count


def main(arguments: list[str] | None = None) -> int:
    """Run as a command; give the exit code."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--set", action="append", default=[], help="a set of phrases.yaml")
    parser.add_argument("--all", action="store_true", help="render anew what exists, too")
    parser.add_argument("--kokoro-voices", type=Path, help="folder of Kokoro's voice files (.bin)")
    parser.add_argument("--benchmark", type=Path, metavar="OUT", help="write a benchmark set")
    parser.add_argument("--count", type=int, default=300, help="phrases of the benchmark set")
    parser.add_argument("--seed", type=int, default=7, help="seed of the benchmark set")
    given = parser.parse_args(arguments)
    speaker = Speaker(kokoro_voices=given.kokoro_voices)
    try:
        if given.benchmark:
            done = render_benchmark(given.benchmark, speaker, count=given.count, seed=given.seed)
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
