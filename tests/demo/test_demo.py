"""The demonstration's case: heard right, diagnosed right, and nothing of it made up twice."""

from __future__ import annotations

import re
from io import StringIO
from typing import TYPE_CHECKING

import pytest
from rich.console import Console

from assistant.conversation.events import Alternative, Heard
from assistant.knowledge import load
from assistant.practice.scenario import draw_case
from assistant.readings import ReadingFound, interpret_spoken
from assistant.readings.reading import Unstable, Value, reading_from_json, reading_to_json
from assistant.reports import write_report
from audio_fixtures.listing import load_index
from demo.make_scenario import asked
from demo.play import ROOT, main, misheard, play
from demo.scenario import load_scenario, scenario_ear

if TYPE_CHECKING:
    from pathlib import Path

    from assistant.commands.recorded import Recordings
    from assistant.diagnosis.casefile import CaseFile
    from assistant.readings.reading import Quantity

SCENARIO = load_scenario()
CHECKS = load().checks(SCENARIO.installation)


@pytest.fixture(scope="module")
def played() -> tuple[CaseFile, str]:
    """The case as demo/run plays it, and what it prints."""
    pytest.importorskip("vosk", reason="the recordings are heard with probetell[voice]")
    out = StringIO()
    return play(SCENARIO, Console(file=out, width=100)), out.getvalue()


@pytest.mark.slow
def test_the_recorded_case_finds_what_was_hidden(played: tuple[CaseFile, str]) -> None:
    file, printed = played
    assert file.verdict is not None
    assert file.verdict.faults[0][0] == SCENARIO.car.fault
    assert file.verdict.holds
    assert file.steps[-1].kind == "repaired"
    assert file.verdict.reply
    assert "reply to the customer" in printed
    assert len([step for step in file.steps if step.kind == "reading"]) <= 12


@pytest.mark.slow
def test_every_answer_is_taken_as_it_was_said(played: tuple[CaseFile, str]) -> None:
    file, printed = played
    assert misheard(SCENARIO, file) == []
    assert {step.kind for step in file.steps} == {"reading", "repaired"}
    for step in file.steps:
        if step.kind != "reading" or step.check is None:
            continue
        # A reading counts by its value: "volt" for "volts" is the same.
        words = SCENARIO.answers[step.check.id].words.removesuffix("s")
        assert f"> {words}" in printed
    assert "as if typed" not in printed


@pytest.mark.slow
def test_its_report_stands_alone(played: tuple[CaseFile, str], tmp_path: Path) -> None:
    file, _ = played
    path = tmp_path / "report.html"
    write_report(file, path)
    text = path.read_text(encoding="utf-8")
    assert SCENARIO.workshop.name in text
    assert not re.search(r'(?:src|href)="https?:', text)


# --- the scenario itself -------------------------------------------------------------------


def test_every_check_of_the_installation_has_an_answer_and_a_recording() -> None:
    assert set(SCENARIO.answers) == set(CHECKS)
    assert set(SCENARIO.after) <= set(CHECKS)
    for said in SCENARIO.everything_spoken.values():
        assert (ROOT / said.file).is_file(), said.file


def test_recordings_are_listed_with_the_words_of_the_scenario() -> None:
    listed = {f"audio_fixtures/{entry.file}": entry.words for entry in load_index()}
    for said in SCENARIO.everything_spoken.values():
        assert listed[said.file] == said.words


@pytest.mark.parametrize("key", [*SCENARIO.answers, *(f"{key}/after" for key in SCENARIO.after)])
def test_words_mean_the_reading_that_stands_beside_them(key: str) -> None:
    check, _, after = key.partition("/")
    answer = (SCENARIO.after if after else SCENARIO.answers)[check]
    quantity: Quantity = CHECKS[check].do.quantity
    (found,) = interpret_spoken(answer.words, quantity=quantity).findings
    assert isinstance(found, ReadingFound)
    assert reading_to_json(found.reading) == answer.reading


@pytest.mark.parametrize("after", [False, True])
def test_answers_are_those_of_the_car_with_the_hidden_fault(*, after: bool) -> None:
    """The car is drawn anew and asked again; it is no part of the program's own model."""
    case = draw_case(SCENARIO.car.seed, SCENARIO.car.kind, [SCENARIO.car.fault], forget=0.0)
    if after:
        case.car.mend(SCENARIO.car.fault)
    for key, answer in (SCENARIO.after if after else SCENARIO.answers).items():
        drawn = reading_from_json(asked(case.car, CHECKS[key], SCENARIO.car.seed))
        said = reading_from_json(answer.reading)
        assert type(drawn) is type(said), key
        if isinstance(said, Value) and isinstance(drawn, Value):
            # Another processor may round the last digit otherwise.
            assert said.si == pytest.approx(drawn.si, rel=2e-3, abs=0.011), key
        elif not isinstance(said, Unstable):
            assert drawn == said, key


def test_names_and_numbers_are_invented() -> None:
    assert SCENARIO.workshop.telephone.startswith("555-01")
    assert SCENARIO.customer.telephone.startswith("555-01")


# --- what is missing is said ---------------------------------------------------------------


def test_a_missing_recording_is_said_and_its_words_are_typed(tmp_path: Path) -> None:
    told: list[str] = []

    def deaf(_path: Path, _grammar: str) -> Heard:
        raise AssertionError("nothing here can be heard")

    ear = scenario_ear(SCENARIO, tmp_path, deaf, told.append)
    recordings: Recordings = SCENARIO.recordings(tmp_path)
    path = recordings["ready"]
    assert not isinstance(path, list | tuple)
    assert ear(path, "yes_no") == Heard(alternatives=(Alternative(text="ready"),))
    assert "ready.wav" in told[0]


def test_an_answer_taken_otherwise_is_named() -> None:
    class Step:
        kind = "reading"
        check = CHECKS["amp_supply"]
        reading = Value(value=1.25, unit="V")

    class File:
        steps = (Step(),)

    assert misheard(SCENARIO, File()) == ["amp_supply"]  # type: ignore[arg-type]


def test_an_unknown_option_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stopped:
        main(["--sing"])
    assert stopped.value.code == 2
    assert "--sing" in capsys.readouterr().err
