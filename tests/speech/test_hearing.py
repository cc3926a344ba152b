from __future__ import annotations

import json
from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile

from assistant.errors import GivenError, MisuseError
from assistant.readings.reading import OpenLine, Value
from assistant.speech.events import ANY, Heard, Hypothesis
from assistant.speech.hearing import FailedFile, HeardFile, hear_file, hear_files

if TYPE_CHECKING:
    from pathlib import Path

    from assistant.speech.audio import Samples


class FixedEar:
    """Hears the same in every file."""

    name = "fixed"

    def __init__(self, heard: Heard) -> None:
        self.heard = heard
        self.grammar = ""

    def begin(self, grammar: str) -> FixedEar:
        self.grammar = grammar
        return self

    def feed(self, pcm: Samples) -> None:
        assert pcm.dtype == np.int16

    def finish(self) -> Heard:
        return self.heard


def phrase(*texts: tuple[str, float], other: float | None = None) -> Heard:
    found = tuple(Hypothesis(text=text, score=score) for text, score in texts)
    return Heard(kind="phrase", hypotheses=found, other_words=other)


@pytest.fixture
def clip(tmp_path: Path) -> Path:
    path = tmp_path / "clip.wav"
    soundfile.write(path, np.zeros((8000, 2)), 44_100)
    return path


def test_the_object_has_exactly_the_fields_of_the_contract(clip: Path) -> None:
    ear = FixedEar(phrase(("twelve point six volts", -10.0), ("twelve point six volt", -13.0)))
    told = hear_file(clip, expect="dc_voltage", ear=ear).to_json()
    assert list(told) == ["file", "text", "reading", "command", "candidates", "seconds"]
    assert told["file"] == str(clip)
    assert told["text"] == "twelve point six volts"
    assert told["reading"] == {"value": 12.6, "unit": "V"}
    assert told["command"] is None
    assert [list(one) for one in told["candidates"]] == [["text", "reading", "weight"]] * 2
    assert told["candidates"][0]["weight"] == pytest.approx(1 / (1 + np.exp(-3.0)), abs=1e-4)
    assert told["seconds"] >= 0.0
    json.dumps(told)
    assert ear.grammar == "volts"


def test_without_an_expectation_anything_may_come(clip: Path) -> None:
    ear = FixedEar(phrase(("open line", -1.0)))
    heard = hear_file(clip, ear=ear)
    assert ear.grammar == ANY
    assert heard.reading == OpenLine()


def test_a_command_is_told(clip: Path) -> None:
    heard = hear_file(clip, expect="resistance", ear=FixedEar(phrase(("repeat", -1.0))))
    assert (heard.command, heard.reading) == ("repeat", None)


@pytest.mark.parametrize("kind", ["silence", "other_words"])
def test_silence_and_other_words_give_no_text(clip: Path, kind: str) -> None:
    heard = hear_file(clip, ear=FixedEar(Heard(kind=kind)))  # type: ignore[arg-type]
    assert heard.to_json() | {"seconds": 0} == {
        "file": str(clip), "text": "", "reading": None, "command": None, "candidates": [],
        "seconds": 0,
    }  # fmt: skip


def test_an_open_number_is_no_reading_but_names_what_it_may_be(clip: Path) -> None:
    heard = hear_file(clip, expect="dc_voltage", ear=FixedEar(phrase(("twelve six", -1.0))))
    assert heard.reading is None
    assert Value(value=12.6, unit="V") in [one.reading for one in heard.candidates]
    assert sum(one.weight for one in heard.candidates) == pytest.approx(1.0)


def test_weights_leave_room_for_other_words() -> None:
    heard = phrase(("two volts", -5.0), ("ten volts", -6.0), other=-5.0)
    assert heard.weights == pytest.approx((1 / (2 + np.exp(-1)), np.exp(-1) / (2 + np.exp(-1))))
    assert heard.margin == pytest.approx(1.0)


def test_a_phrase_behind_other_words_is_a_candidate_only(clip: Path) -> None:
    ear = FixedEar(phrase(("two volts", -5.0), other=-4.0))
    heard = hear_file(clip, expect="dc_voltage", ear=ear)
    assert (heard.text, heard.reading, heard.command) == ("", None, None)
    assert [one.text for one in heard.candidates] == ["two volts"]
    assert heard.candidates[0].weight == pytest.approx(1 / (1 + np.e))
    near = FixedEar(phrase(("two volts", -5.0), other=-5.0))
    assert hear_file(clip, expect="dc_voltage", ear=near).text == "two volts"


def test_an_unreadable_file_is_told_and_the_next_is_heard(clip: Path, tmp_path: Path) -> None:
    bad = tmp_path / "bad.wav"
    bad.write_text("not sound", encoding="utf-8")
    ear = FixedEar(phrase(("repeat", -1.0)))
    told = list(hear_files([bad, tmp_path / "none.wav", clip], ear=ear))
    assert [type(one) for one in told] == [FailedFile, FailedFile, HeardFile]
    assert isinstance(told[0], FailedFile)
    assert isinstance(told[0].error, GivenError)
    assert "bad.wav" in told[0].error.message


def test_misuse_is_not_taken_for_a_bad_file(clip: Path) -> None:
    class Broken(FixedEar):
        def finish(self) -> Heard:
            raise MisuseError("used up", next_step="begin anew")

    with pytest.raises(MisuseError):
        list(hear_files([clip], ear=Broken(Heard(kind="silence"))))
