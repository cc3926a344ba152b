"""Cases by voice: from recorded answers, and over a microphone and a voice made of lists."""

from __future__ import annotations

import contextlib
import json
import math
import sys
from io import StringIO
from pathlib import Path

import pytest
from rich.console import Console

sys.path.insert(0, str(Path(__file__).parent / "conversation"))

from list_talk import ListTalk
from toy_diagnosis import ToyDiagnosis
from toy_talk import fresh

from assistant.casebook.keeping import KeptCase
from assistant.casebook.memory import MemoryCasebook
from assistant.commands import recorded
from assistant.commands.listening import heard_event
from assistant.commands.recorded import load_recordings, run_recorded_case
from assistant.commands.screen import Screen
from assistant.commands.talk import talk_through
from assistant.conversation.events import (
    Acknowledged,
    Alternative,
    Exact,
    Heard,
    Opened,
    Silence,
)
from assistant.conversation.table import State
from assistant.errors import GivenError
from assistant.knowledge.schema import Complaint, Installation
from assistant.readings.fusion import Confirm, Hypothesis, decide
from assistant.readings.reading import Value
from assistant.speech.events import Heard as SpeechHeard

COMPLAINT = Complaint(symptom="protects")


def text_ear(path: Path, _grammar: str) -> Heard:
    """Hears a file of text: each line one alternative."""
    lines = path.read_text(encoding="utf-8").splitlines()
    return Heard(alternatives=tuple(Alternative(text=line) for line in lines))


@pytest.fixture
def said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of recordings for the toy car with a poor ground."""
    monkeypatch.setattr(
        recorded, "open_diagnosis", lambda o: ToyDiagnosis(o.installation, o.complaint)
    )
    for name, words in {
        "ground_drop.wav": "one point two volts",
        "ground_drop.after.wav": "oh point oh five volts",
        "ready.wav": "ready",
        "done.wav": "done",
        "yes.wav": "yes",
    }.items():
        (tmp_path / name).write_text(words, encoding="utf-8")
    (tmp_path / "notes.txt").write_text("no sound", encoding="utf-8")
    return tmp_path


def play(folder: Path, lines: list[str] | None = None) -> recorded.CaseFile:
    out = (lambda _: None) if lines is None else lines.append
    return run_recorded_case(
        Installation(), COMPLAINT, load_recordings(folder), out, 0, ear=text_ear, workshop="Bay 3"
    )


def test_a_recorded_case_runs_from_the_caution_to_the_proved_repair(said: Path) -> None:
    lines: list[str] = []
    file = play(said, lines)
    shown = "\n".join(lines)
    for words in ("ready", "one point two volts", "done", "yes", "oh point oh five volts"):
        assert f"> {words}" in shown
    assert [(s.kind, s.repair) for s in file.steps] == [
        ("reading", None),
        ("repaired", "remake_ground"),
    ]
    assert file.verdict is not None
    assert (file.verdict.repair, file.workshop) == ("remake_ground", "Bay 3")


def test_a_recorded_case_without_a_repair_ends_with_its_verdict(said: Path) -> None:
    (said / "done.wav").unlink()
    file = play(said)
    assert [s.kind for s in file.steps] == ["reading"]
    assert file.verdict is not None


def test_checks_without_a_recording_are_left_out(said: Path) -> None:
    (said / "ground_drop.wav").unlink()
    (said / "done.wav").unlink()
    file = play(said)
    assert {s.kind for s in file.steps} == {"cannot"}


def test_a_recording_that_is_never_understood_is_given_up(said: Path) -> None:
    (said / "ground_drop.wav").write_text("the moon is full", encoding="utf-8")
    (said / "done.wav").unlink()
    assert play(said).steps[0].kind == "cannot"


def test_an_unclear_recording_is_confirmed_by_a_second_one(said: Path) -> None:
    """Fifteen and fifty ohms are equally likely by ear; the second recording says which."""
    (said / "ground_drop.wav").write_text("oh point six volts", encoding="utf-8")
    (said / "ground_drop.confirm.wav").write_text("yes", encoding="utf-8")
    (said / "protect_light.wav").write_text("blinking", encoding="utf-8")
    (said / "leak_to_chassis.wav").write_text("fifteen ohms\nfifty ohms", encoding="utf-8")
    (said / "leak_to_chassis.confirm.wav").write_text("one five ohms", encoding="utf-8")
    (said / "done.wav").unlink()
    readings = [s.reading for s in play(said).steps if s.kind == "reading"]
    assert Value(value=15.0, unit="ohm") in readings


def test_recordings_can_be_listed(tmp_path: Path) -> None:
    path = tmp_path / "answers.yaml"
    path.write_text("ready: a/r.wav\nground_drop: [one.wav, two.wav]\n", encoding="utf-8")
    assert load_recordings(path) == {
        "ready": tmp_path / "a/r.wav",
        "ground_drop": [tmp_path / "one.wav", tmp_path / "two.wav"],
    }


def test_bad_lists_and_empty_folders_are_named(tmp_path: Path) -> None:
    path = tmp_path / "answers.yaml"
    path.write_text("ready: 5", encoding="utf-8")
    with pytest.raises(GivenError, match="ready"):
        load_recordings(path)
    (tmp_path / "empty").mkdir()
    with pytest.raises(GivenError, match="no sound files"):
        load_recordings(tmp_path / "empty")


# --- what an ear gives ---------------------------------------------------------------------


def test_scores_become_weights_and_other_words_stand_beside_them() -> None:
    heard = SpeechHeard(
        kind="phrase",
        hypotheses=(Hypothesis(text="fifteen", score=-3.0), Hypothesis(text="fifty", score=-4.0)),
        other_words=-2.0,
    )
    event = heard_event(heard)
    assert [a.text for a in event.alternatives] == ["fifteen", "fifty", "[other words]"]
    weights = [a.weight for a in event.alternatives]
    assert weights[2] == 1.0
    assert weights[0] == pytest.approx(0.3679, abs=1e-4)  # exp(-1)
    assert heard_event(SpeechHeard(kind="silence")).alternatives == ()
    (other,) = heard_event(SpeechHeard(kind="other_words")).alternatives
    assert other.text == "[other words]"


@pytest.mark.parametrize("ahead", [1.0, 4.4, 8.4, 50.0])
def test_what_the_ear_gives_behind_other_words_is_asked_back_and_not_refused(ahead: float) -> None:
    heard = SpeechHeard(
        kind="phrase",
        hypotheses=(Hypothesis(text="four volts", score=-3.0),),
        other_words=ahead - 3,
    )
    told = [
        Hypothesis(text=one.text, score=math.log(one.weight))
        for one in heard_event(heard).alternatives
    ]
    decision = decide(
        told,
        quantity="dc_voltage",
        weigh=lambda readings: [1.0] * len(readings),
        would_change=lambda one, two: one != two,
    )
    assert isinstance(decision, Confirm)
    assert decision.reading == Value(value=4.0, unit="V")


# --- over a microphone ---------------------------------------------------------------------


def talk(*heard: str | None) -> tuple[ListTalk, KeptCase]:
    case = KeptCase(dialogue=fresh(), casebook=MemoryCasebook(), case_id="c", now=lambda: "t")
    actions = case.handle(Opened(installation=Installation(), complaint=COMPLAINT, channel="voice"))
    listing = ListTalk(*heard)
    screen = Screen(Console(file=StringIO()))
    with contextlib.suppress(KeyboardInterrupt):
        talk_through(case, actions, talk=listing, screen=screen, patience_s=7.0)
    return listing, case


def test_a_case_is_spoken_to_its_proved_end() -> None:
    listing, case = talk("ready", "one point two volts", "done", "yes", "ready", "zero volts")
    assert case.dialogue.scene.settled
    assert "one point two volts" in " ".join(text for text, _, _ in listing.said)


def test_cautions_are_said_to_their_end_and_checks_may_be_cut_off() -> None:
    listing, _ = talk("ready")
    assert [cut for _, _, cut in listing.said] == [False, True]


def test_the_ear_listens_for_the_open_check() -> None:
    listing, _ = talk("ready", "zero point six volts", "yes", "blinking")
    assert listing.grammars == ["yes_no", "volts", "volts", "light", "yes_no"]


def test_silence_parks_without_a_word_until_something_is_said() -> None:
    listing, case = talk("ready", None, None, None)
    assert case.dialogue.state is State.PARKED
    assert len(listing.said) == 2
    listing, case = talk("ready", None, None, "one point two volts")
    assert case.dialogue.state is State.CONCLUDED


def test_a_noise_that_was_silence_after_all_is_passed_over() -> None:
    listing, case = talk("ready", "~", "~")
    assert len(listing.said) == 2
    assert case.dialogue.state is State.MEASURING


def test_what_is_not_understood_is_not_complained_of_without_end() -> None:
    listing, _ = talk("ready", "?", "?", "?", "?", "?")
    complaints = listing.said[2:]
    assert len(complaints) == 2


# --- the real ear --------------------------------------------------------------------------


@pytest.mark.slow
def test_recorded_speech_is_heard_into_the_dialogue() -> None:
    """Recordings of the fixtures through the built-in recogniser, each with its known words."""
    pytest.importorskip("vosk")
    import yaml

    from assistant.commands.listening import file_ear

    home = Path(__file__).parent.parent / "audio_fixtures"
    index = yaml.safe_load((home / "index.yaml").read_text(encoding="utf-8"))["fixtures"]
    wanted = [f for f in index if f.get("expect") == "dc_voltage" and not f.get("hard")][:6]
    assert len(wanted) == 6
    ear = file_ear()
    right = 0
    for fixture in wanted:
        dialogue = fresh()
        dialogue.handle(Opened(installation=Installation(), complaint=COMPLAINT, channel="voice"))
        dialogue.handle(Acknowledged())
        dialogue.handle(ear(home / fixture["file"], dialogue.grammar))
        scene = dialogue.scene
        told = [t.reading for t in (scene.pending.candidates if scene.pending else ())]
        told += [s.reading for s in dialogue.diagnosis.steps]
        value = Value(value=fixture["reading"]["value"], unit=fixture["reading"]["unit"])
        right += value in told
    assert right >= 5


def test_hear_prints_one_object_a_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pytest.importorskip("vosk")
    from assistant.commands.hear import run_hear
    from assistant.settings import load_settings

    settings = load_settings({"PROBETELL_HOME": str(tmp_path)})
    bad = tmp_path / "no sound.wav"
    bad.write_text("this is no sound", encoding="utf-8")
    good = Path(__file__).parent.parent / "audio_fixtures/readings/r21_eight_volts.flac"
    assert run_hear(settings, files=[bad, good], expect="dc_voltage", as_json=True) == 2
    printed = capsys.readouterr()
    (line,) = printed.out.splitlines()
    assert set(json.loads(line)) == {"file", "text", "reading", "command", "candidates", "seconds"}
    assert "no sound.wav" in printed.err
    with pytest.raises(GivenError, match="shoe_size"):
        run_hear(settings, files=[good], expect="shoe_size", as_json=False)


def test_selfcheck_names_every_part(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from assistant.commands.selfcheck import run_selfcheck
    from assistant.settings import load_settings

    settings = load_settings({"PROBETELL_HOME": str(tmp_path), "PROBETELL_VOICE": "off"})
    assert run_selfcheck(settings, as_json=True) == 0
    found = {p["part"]: p for p in map(json.loads, capsys.readouterr().out.splitlines())}
    assert {
        "data files", "store", "recogniser", "voice", "microphone", "loudspeaker",
        "text-message token",
    } <= set(found)  # fmt: skip
    assert not found["text-message token"]["ready"]
    for part in found.values():
        assert part["ready"] or part["install"], part
    (tmp_path / "casebook.sqlite").write_bytes(b"no database, but text" * 200)
    assert run_selfcheck(settings, as_json=False) == 1


def test_silence_and_exact_readings_mix(tmp_path: Path) -> None:
    """A kept voice case may be gone on with by an exact reading, as from another channel."""
    del tmp_path
    _, case = talk("ready", None)
    case.handle(Exact(check="ground_drop", reading=Value(value=1.2, unit="V")))
    assert case.dialogue.state is State.CONCLUDED
    case.handle(Silence())
    assert case.dialogue.state is State.PARKED
