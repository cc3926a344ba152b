"""How sure a score is: every clip lands in one class, and the shares are those of the clips."""

from __future__ import annotations

import math
import shutil
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.benchmarks import ear, ear_sure
from assistant.benchmarks.ear_clips import Clip, meaning_weight, read_clips, rivalry
from assistant.benchmarks.ear_sure import Score, scores, sure
from assistant.speech.events import Heard, Hypothesis
from audio_fixtures.listing import HERE

if TYPE_CHECKING:
    from pathlib import Path

    from assistant.speech.calibration import Calibration

_FIRST = "r01_twelve_point_six_volts.flac"


def _score(sort: str, margin: float, ahead: float = -math.inf, weight: float = 0.99) -> Score:
    return Score(sort=sort, margin=margin, ahead=ahead, weight=weight)


def _line(lines: list[str], start: str) -> list[str]:
    return next(line for line in lines if line.startswith(start))[24:].split()


def test_shares_of_a_few_scores() -> None:
    told = list(
        sure(
            [
                _score("right", 0.5, weight=0.55),
                _score("wrong", 0.5, ahead=0.1, weight=0.55),
                _score("right", math.inf, weight=1.0),
                _score("right", 9.0, ahead=1000.0),  # refused: not in the first two tables
                _score("other words", 4.0, ahead=5.0),
            ]
        )
    )
    assert _line(told, "phrases") == ["2", "0", "0", "0", "0", "1"]
    assert _line(told, "right, %") == ["50.0", "-", "-", "-", "-", "100.0"]
    assert _line(told, "of right ones asked, %")[:3] == ["0.0", "50.0", "50.0"]
    assert _line(told, "taken and wrong, %")[:2] == ["33.3", "0.0"]
    assert _line(told, "0.5-0.6")[:3] == ["2", "0.550", "0.500"]
    assert _line(told, "right (3)") == ["66.7", "0.0", "0.0", "0.0", "0.0", "33.3"]
    assert _line(told, "wrong (1)") == ["0.0", "100.0", "0.0", "0.0", "0.0", "0.0"]
    assert _line(told, "other words (1)") == ["0.0", "0.0", "0.0", "100.0", "0.0", "0.0"]
    assert "Stated and right are 0.033 apart on average." in told


@given(st.lists(st.floats(-50, 50) | st.just(math.inf) | st.just(-math.inf)))
def test_every_value_has_one_class(values: list[float]) -> None:
    for edges in (ear_sure._MARGINS, ear_sure._GAPS, ear_sure._WEIGHTS):
        assert sum(ear_sure._shares(values, edges)) == len(values)


def test_the_weight_of_a_meaning_is_that_of_all_phrases_with_it(tmp_path: Path) -> None:
    told = (("twelve volts", 0.0), ("twelve volt", 0.0), ("eleven volts", math.log(0.5)))
    found = tuple(Hypothesis(text=text, score=score) for text, score in told)
    clip = Clip(tmp_path, "twelve volts", {"expect": "dc_voltage"})
    heard = Heard(kind="phrase", hypotheses=found)
    assert meaning_weight(heard, clip) == pytest.approx(0.8)


def test_other_words_are_a_rival_too(tmp_path: Path) -> None:
    told = (("twelve volts", 0.0), ("twelve volt", -1.0), ("eleven volts", -5.0))
    found = tuple(Hypothesis(text=text, score=score) for text, score in told)
    clip = Clip(tmp_path, "twelve volts", {"expect": "dc_voltage"})
    for other, margin in ((None, 5.0), (-2.0, 2.0), (-7.0, 5.0)):
        heard = Heard(kind="phrase", hypotheses=found, other_words=other)
        assert rivalry(heard, clip) == pytest.approx(margin)
    alone = Heard(kind="phrase", hypotheses=found[:2])
    assert rivalry(alone, clip) == math.inf


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    shutil.copyfile(HERE / "readings" / _FIRST, tmp_path / _FIRST)
    row = f"{_FIRST}\ttwelve point six volts\tdc_voltage\n"
    (tmp_path / "manifest.tsv").write_text(f"file\twords\texpect\n{row}", encoding="utf-8")
    return tmp_path


def test_clips_are_heard_as_they_are_and_over_a_line(folder: Path) -> None:
    pytest.importorskip("vosk", reason="vosk has no wheel for this machine")
    clips = read_clips(folder)
    found = scores(clips, others=clips, telephone=True)
    assert [one.sort for one in found] == ["other words", "other words", "right", "right"]
    assert all(0.0 < one.weight <= 1.0 and one.margin > 0.0 for one in found)


def test_the_command_prints_the_tables(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pytest.importorskip("vosk", reason="vosk has no wheel for this machine")
    assert ear.main([str(folder), "--sure"]) == 0
    told = capsys.readouterr().out.splitlines()
    assert any(line.startswith("right (1)") for line in told)
    (folder / "empty").mkdir()
    assert ear.main([str(folder), "--sure", "--noise", str(folder / "empty")]) == 2


@pytest.mark.parametrize("once", [(), ("--once",)])
def test_the_second_network_can_be_left_out(
    folder: Path, monkeypatch: pytest.MonkeyPatch, once: tuple[str, ...]
) -> None:
    pytest.importorskip("vosk", reason="vosk has no wheel for this machine")
    given: list[bool] = []

    def counted(*_: object, figures: Calibration, **__: object) -> list[Score]:
        given.append(figures.second)
        return []

    monkeypatch.setattr(ear, "scores", counted)
    assert ear.main([str(folder), "--sure", *once]) == 0
    assert given == [not once]


def test_the_command_prints_the_cost(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pytest.importorskip("vosk", reason="vosk has no wheel for this machine")
    assert ear.main([str(folder), "--cost"]) == 0
    told = capsys.readouterr().out.splitlines()
    assert sum("MB" in line.split(",")[-1] or "MB:" in line for line in told) == 2
    assert any(line.startswith("processor time for a second") for line in told)
    assert any(line.startswith("one ear") for line in told)
    assert not any(line.startswith("both ears") for line in told)
