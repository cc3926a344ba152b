"""Voices of programs that say lines, with a program of the test in the engine's place."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from assistant.speech.acoustic import line_voices
from assistant.speech.acoustic.clips import read_listed
from assistant.speech.acoustic.line_voices import LineMaker, gnuspeech_manner, rhvoice_manner
from assistant.speech.acoustic.voices import render

if TYPE_CHECKING:
    from collections.abc import Iterator

# Says a tone for every line, nothing for "mum", and ends on "die".
_PROGRAM = """
import sys, wave, array, math
for line in sys.stdin:
    out, text, *settings = line.rstrip("\\n").split("\\t")
    if text == "die":
        break
    if text == "mum" or settings != ["loud"]:
        print("not said", flush=True)
        continue
    sound = array.array("h", (int(8000 * math.sin(k / 9)) for k in range(8000)))
    with wave.open(out, "wb") as wav:
        wav.setnchannels(1), wav.setsampwidth(2), wav.setframerate(8000)
        wav.writeframes(sound.tobytes())
    print("ok", flush=True)
"""


@pytest.fixture
def maker(tmp_path: Path) -> Iterator[LineMaker]:
    program = tmp_path / "says.py"
    program.write_text(_PROGRAM, encoding="utf-8")
    made = LineMaker("test", [sys.executable, str(program)], lambda _rng: ("voice", ["loud"]))
    yield made
    made.close()


def test_a_phrase_is_said_at_16_khz(maker: LineMaker) -> None:
    voice, samples = maker("one two", np.random.default_rng(1))
    assert voice == "test voice"
    assert len(samples) == 16_000
    assert np.abs(samples).max() == pytest.approx(8000 / 32_768, rel=0.05)


def test_what_is_not_said_is_an_error_and_the_next_phrase_is_said(maker: LineMaker) -> None:
    rng = np.random.default_rng(1)
    with pytest.raises(ValueError, match="not said"):
        maker("mum", rng)
    assert maker("one", rng)[1].any()


def test_a_program_that_ends_is_started_again(maker: LineMaker) -> None:
    rng = np.random.default_rng(1)
    with pytest.raises(ValueError, match="ended"):
        maker("die", rng)
    assert maker("one", rng)[1].any()


def test_clips_of_a_development_voice_are_marked(maker: LineMaker, tmp_path: Path) -> None:
    render(["one", "mum", "two"], tmp_path / "out", maker, kind="test", seed=1, split="dev")
    clips = read_listed(tmp_path / "out" / "clips.jsonl")
    assert [(clip.words, clip.split) for clip in clips] == [("one", "dev"), ("two", "dev")]


def test_a_throat_has_a_length_of_people() -> None:
    # G. Fant, Acoustic Theory of Speech Production (1960): about 17.5 cm in a man, 14.5 in a
    # woman, less in children (from memory).
    rng = np.random.default_rng(3)
    drawn = [gnuspeech_manner(rng) for _ in range(200)]
    lengths = [float(dict(s.split("=") for s in given)["vocal_tract_length"]) for _, given in drawn]
    pitches = [
        float(dict(s.split("=") for s in given)["reference_glottal_pitch"]) for _, given in drawn
    ]
    assert min(lengths) >= 12.5
    assert max(lengths) <= 18.6
    # Longer throats speak lower.
    assert np.corrcoef(lengths, pitches)[0, 1] < -0.8


def test_only_people_that_no_test_keeps_speak() -> None:
    rng = np.random.default_rng(4)
    assert {rhvoice_manner(rng)[0] for _ in range(100)} == {"Bdl", "Clb"}


def test_the_c_program_compiles_without_a_warning() -> None:
    compiler = shutil.which("cc")
    if compiler is None:
        pytest.skip("no C compiler")
    source = Path(line_voices.__file__).with_name("rhvoice_lines.c")
    done = subprocess.run(
        [compiler, "-std=c99", "-Wall", "-Werror", "-fsyntax-only", str(source)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr


def test_the_script_for_node_is_well_formed() -> None:
    node = shutil.which("node")
    if node is None:
        pytest.skip("no node")
    source = Path(line_voices.__file__).with_name("gnuspeech_lines.mjs")
    done = subprocess.run([node, "--check", str(source)], capture_output=True, check=False)
    assert done.returncode == 0, done.stderr
