"""The machine interface, held to its contract: every kind of line, in and out.

The shapes below are written from the contract and share nothing with the program.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Annotated, Any, Literal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import BaseModel, ConfigDict, Field, TypeAdapter

sys.path.insert(0, str(Path(__file__).parent / "conversation"))

from toy_talk import fresh

from assistant.casebook.keeping import KeptCase
from assistant.casebook.memory import MemoryCasebook
from assistant.conversation.lines import LONGEST_LINE
from assistant.conversation.machine import MachineInterface

# --- the contract ----------------------------------------------------------------------------

NODE = (
    r"battery\.(positive|negative)|charging\.output|main_fuse\.(battery|amp)_side"
    r"|amp\.(power|ground|remote)|source\.remote|chassis|engine_block"
    r"|speaker\.POS\.(amp_positive|amp_negative|positive|negative)|signal\.PAIR\.(center|shell)"
)
PLACE = r"amp\.power_light|amp\.protect_light|sound\.POS|noise\.whine|amp\.case"
SETUP = (
    r"disconnect:(speakers|speaker\.POS|signal|signal\.PAIR|remote|amp_power)|remove:main_fuse"
    r"|jumper:remote|swap:signal\.PAIR|substitute:source|cycle_remote|cool_down"
)
POS = "(front_left|front_right|rear_left|rear_right|center|sub|sub_2)"
PAIR = "(front|rear|sub)"


def full(pattern: str) -> str:
    return "^(" + pattern.replace("POS", POS).replace("PAIR", PAIR) + ")$"


class Exactly(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)


Probability = Annotated[float, Field(ge=0, le=1)]


class Ranked(Exactly):
    id: str
    probability: Probability


class Belief(Exactly):
    type: Literal["belief"]
    repairs: list[Ranked]
    faults: list[Ranked]


class Metered(Exactly):
    quantity: Literal["dc_voltage", "ac_voltage", "resistance", "continuity", "dc_current"]
    red: Annotated[str, Field(pattern=full(NODE))]
    black: Annotated[str, Field(pattern=full(NODE))]
    vehicle: Literal["off", "accessory", "cranking", "running"]
    audio: Literal["off", "quiet", "loud"]
    setup: list[Annotated[str, Field(pattern=full(SETUP))]]


class Sensed(Exactly):
    quantity: Literal["light", "sound", "noise", "warmth"]
    red: Annotated[str, Field(pattern=full(PLACE))]
    vehicle: Literal["off", "accessory", "cranking", "running"]
    audio: Literal["off", "quiet", "loud"]
    setup: list[Annotated[str, Field(pattern=full(SETUP))]]


class Range(Exactly):
    low: float
    high: float
    unit: Literal["V", "A", "ohm"]


class States(Exactly):
    states: dict[str, Probability]


class Check(Exactly):
    type: Literal["check"]
    id: Annotated[str, Field(min_length=1)]
    say: Annotated[str, Field(min_length=1)]
    cautions: list[str]
    minutes: Annotated[float, Field(gt=0)]
    bits: Annotated[float, Field(ge=0)]
    do: Metered | Sensed
    expect: Range | States


class Confirm(Exactly):
    type: Literal["confirm"]
    say: Annotated[str, Field(min_length=1)]


class Option(Exactly):
    repair: str
    probability: Probability
    minutes: Annotated[float, Field(gt=0)]


class Verdict(Exactly):
    type: Literal["verdict"]
    repair: str
    probability: Probability
    faults: list[Ranked]
    order: Annotated[list[Option], Field(min_length=1)]
    evidence: list[str]
    reply: Annotated[str, Field(min_length=1)]


class Error(Exactly):
    type: Literal["error"]
    message: Annotated[str, Field(min_length=1)]
    line: Annotated[int, Field(ge=1)]


OUT: TypeAdapter[Any] = TypeAdapter(Belief | Check | Confirm | Verdict | Error)


def hold(objects: list[dict[str, Any]]) -> dict[str, Any]:
    """Hold one answer to the contract and give the object that ends it."""
    assert objects
    for item in objects:
        OUT.validate_json(json.dumps(item, allow_nan=False))
    assert [o["type"] for o in objects[:-1]] in ([], ["belief"])
    assert objects[-1]["type"] in {"check", "confirm", "verdict", "error"}
    return objects[-1]


# --- over the toy: every kind of line --------------------------------------------------------


class Driver:
    """Sends lines to the interface over the toy diagnosis, and holds each answer."""

    def __init__(self) -> None:
        self.book = MemoryCasebook()
        self.cases = 0
        self.interface = MachineInterface(self._start)
        self.lines = 0

    def _start(self, _opened: object) -> KeptCase:
        self.cases += 1
        return KeptCase(
            dialogue=fresh(), casebook=self.book, case_id=f"c{self.cases}", now=lambda: "t"
        )

    def raw(self, raw: bytes) -> dict[str, Any]:
        self.lines += 1
        end = hold(self.interface.answer(raw))
        if end["type"] == "error":
            assert end["line"] == self.lines
        return end

    def __call__(self, kind: str, **fields: Any) -> dict[str, Any]:
        return self.raw(json.dumps({"type": kind, **fields}).encode())

    def open(self) -> dict[str, Any]:
        return self("open", installation={}, complaint={"symptom": "protects"})

    def volts(self, number: float, check: str = "ground_drop") -> dict[str, Any]:
        return self("reading", check=check, reading={"value": number, "unit": "V"})


@pytest.fixture
def drive() -> Driver:
    return Driver()


def test_open_gives_the_first_check(drive: Driver) -> None:
    asked = drive.open()
    assert (asked["type"], asked["id"]) == ("check", "ground_drop")
    assert asked["cautions"] == ["Text of battery_short."]
    assert asked["expect"] == {"low": 0.0, "high": 1.5, "unit": "V"}


def test_a_check_without_a_probe_leaves_black_out(drive: Driver) -> None:
    drive.open()
    asked = drive.volts(0.6)
    assert asked["do"] == {
        "quantity": "light",
        "red": "amp.protect_light",
        "vehicle": "accessory",
        "audio": "off",
        "setup": [],
    }
    assert set(asked["expect"]) == {"states"}


def test_readings_are_taken_at_once_however_odd(drive: Driver) -> None:
    drive.open()
    assert drive.volts(9.9)["type"] in {"check", "verdict"}


def test_a_reading_may_be_for_any_check(drive: Driver) -> None:
    drive.open()
    assert drive.volts(12.2, check="remote_volts")["id"] == "ground_drop"
    ended = drive("reading", check="leak_to_chassis", reading={"value": 0.6, "unit": "ohm"})
    assert (ended["type"], ended["repair"]) == ("verdict", "mend_speaker_wire.front_left")


@pytest.mark.parametrize(
    ("check", "reading"),
    [
        ("leak_to_chassis", {"open_line": True}),
        ("leak_to_chassis", {"unstable": True, "low": 1.2, "high": 9.0, "unit": "ohm"}),
        ("leak_to_chassis", {"value": 0.2, "unit": "kohm"}),
        ("ground_drop", {"value": 50, "unit": "mV"}),
        ("protect_light", {"seen": "lit"}),
    ],
)
def test_every_kind_of_reading(drive: Driver, check: str, reading: dict[str, Any]) -> None:
    drive.open()
    assert drive("reading", check=check, reading=reading)["type"] in {"check", "verdict"}


def test_cannot_leaves_a_check_out(drive: Driver) -> None:
    drive.open()
    assert drive("cannot", check="ground_drop", why="no access")["id"] == "protect_light"
    assert drive("cannot", check="leak_to_chassis")["id"] == "protect_light"


def test_text_is_taken_asked_back_or_refused(drive: Driver) -> None:
    drive.open()
    assert drive("text", text="got 0.05 with the key on")["id"] == "protect_light"
    drive("undo")
    assert drive("text", text="9.9")["type"] == "confirm"
    assert drive("text", text="no")["type"] == "check"
    assert drive("text", text="9.9")["type"] == "confirm"
    assert drive("text", text="yes")["type"] in {"check", "verdict"}
    drive("undo")
    assert drive("text", text="9.9")["type"] == "confirm"
    assert drive("text", text="1.2")["type"] == "verdict"
    drive("undo")
    assert drive("text", text="forty ohms")["type"] == "error"
    assert drive("text", text="the moon")["type"] == "error"


@pytest.mark.parametrize("words", ["why", "status", "help", "safety", "repeat", "slower", "stop"])
def test_what_is_asked_in_words_is_answered_with_the_open_check(drive: Driver, words: str) -> None:
    first = drive.open()
    answer = drive("text", text=words)
    assert (answer["type"], answer["id"]) == ("check", first["id"])


def test_a_reading_settles_what_a_text_left_open(drive: Driver) -> None:
    drive.open()
    assert drive("text", text="9.9")["type"] == "confirm"
    assert drive.volts(0.05)["id"] == "protect_light"
    drive("undo")
    assert drive("text", text="9.9")["type"] == "confirm"
    assert drive("undo")["id"] == "ground_drop"


def test_undo_gives_the_check_as_it_stood(drive: Driver) -> None:
    first = drive.open()
    drive.volts(1.2)
    again = drive("undo")
    del first["say"], again["say"]
    assert again == first
    assert drive("undo")["type"] == "error"


def test_what_came_of_a_repair(drive: Driver) -> None:
    drive.open()
    assert drive.volts(1.2)["repair"] == "remake_ground"
    on = drive("repaired", repair="remake_ground", fixed=False)
    assert on["type"] in {"check", "verdict"}
    assert on != drive("undo")
    held = drive("repaired", repair="remake_ground", fixed=True)
    assert held["type"] == "verdict"


def test_after_a_verdict_the_case_goes_on(drive: Driver) -> None:
    drive.open()
    assert drive.volts(1.2)["type"] == "verdict"
    assert drive.volts(0.05, check="ground_drop_running")["type"] in {"check", "verdict"}


def test_close_ends_with_the_verdict_and_a_new_case_may_begin(drive: Driver) -> None:
    drive.open()
    assert drive("close")["type"] == "verdict"
    for kind in ("close", "undo"):
        assert drive(kind)["type"] == "error"
    assert drive.volts(1.0)["type"] == "error"
    assert drive.open()["type"] == "check"
    assert drive.cases == 2


def test_a_second_open_says_to_close_first(drive: Driver) -> None:
    first = drive.open()
    refused = drive.open()
    assert refused["type"] == "error"
    assert "Close it first" in refused["message"]
    assert drive("text", text="repeat")["id"] == first["id"]


def test_a_line_with_a_key_counts_once(drive: Driver) -> None:
    drive.open()
    line = {"check": "ground_drop", "reading": {"value": 0.6, "unit": "V"}, "key": "a1"}
    first = drive("reading", **line)
    again = drive("reading", **line)
    assert again["id"] == first["id"]
    assert len(drive.book.events("c1")) == 2


BEFORE_OPEN = [
    b'{"type":"reading","check":"ground_drop","reading":{"value":1,"unit":"V"}}',
    b'{"type":"cannot","check":"ground_drop","why":""}',
    b'{"type":"text","text":"12"}',
    b'{"type":"undo"}',
    b'{"type":"repaired","repair":"remake_ground","fixed":true}',
    b'{"type":"close"}',
]


@pytest.mark.parametrize("raw", BEFORE_OPEN)
def test_nothing_but_open_comes_first(drive: Driver, raw: bytes) -> None:
    refused = drive.raw(raw)
    assert refused["type"] == "error"
    assert "Open a case first" in refused["message"]


BAD = [
    b"",
    b"\n",
    b"nonsense",
    b"[1,2]",
    b"3",
    b"null",
    b'"open"',
    b"{}",
    b'{"type":"sing"}',
    b'{"type":7}',
    b'{"type":["open"]}',
    b'{"type":"undo"',
    b'{"type":"undo"} {"type":"undo"}',
    b"\xff\xfe{}",
    b'{"type":"text","text":"\xc3"}',
    b'{"type":"text"}',
    b'{"type":"text","text":12}',
    b'{"type":"text","text":"' + b"a" * 5000 + b'"}',
    b'{"type":"reading"}',
    b'{"type":"reading","check":"ground_drop"}',
    b'{"type":"reading","check":3,"reading":{"value":1,"unit":"V"}}',
    b'{"type":"reading","check":"no_such","reading":{"value":1,"unit":"V"}}',
    b'{"type":"reading","check":"ground_drop","reading":{"value":NaN,"unit":"V"}}',
    b'{"type":"reading","check":"ground_drop","reading":{"value":Infinity,"unit":"V"}}',
    b'{"type":"reading","check":"ground_drop","reading":{"value":1e999,"unit":"V"}}',
    b'{"type":"reading","check":"ground_drop","reading":{"value":1' + b"0" * 400 + b',"unit":"V"}}',
    b'{"type":"reading","check":"ground_drop","reading":{"value":1'
    + b"0" * 5000
    + b',"unit":"V"}}',
    b'{"type":"reading","check":"ground_drop","reading":{"value":1e12,"unit":"V"}}',
    b'{"type":"reading","check":"ground_drop","reading":{"value":"1","unit":"V"}}',
    b'{"type":"reading","check":"ground_drop","reading":{"value":true,"unit":"V"}}',
    b'{"type":"reading","check":"ground_drop","reading":{"value":1,"unit":"furlong"}}',
    b'{"type":"reading","check":"ground_drop","reading":{"value":1}}',
    b'{"type":"reading","check":"ground_drop","reading":{"value":1,"unit":"ohm"}}',
    b'{"type":"reading","check":"ground_drop","reading":{"open_line":true}}',
    b'{"type":"reading","check":"protect_light","reading":{"value":1,"unit":"V"}}',
    b'{"type":"reading","check":"protect_light","reading":{"seen":"purple"}}',
    b'{"type":"reading","check":"leak_to_chassis","reading":{"seen":"lit"}}',
    b'{"type":"cannot"}',
    b'{"type":"cannot","check":"no_such","why":"x"}',
    b'{"type":"cannot","check":"ground_drop","why":5}',
    b'{"type":"repaired","repair":"remake_ground"}',
    b'{"type":"repaired","repair":"remake_ground","fixed":"yes"}',
    b'{"type":"repaired","repair":"no_such","fixed":true}',
    b'{"type":"undo","key":7}',
    b'{"type":"undo","key":""}',
    b"[" * 100_000,
    b'{"type":"text","text":"' + b"a" * LONGEST_LINE + b'"}',
]


@pytest.mark.parametrize("raw", BAD, ids=range(len(BAD)))
def test_a_bad_line_gets_an_error_and_changes_nothing(drive: Driver, raw: bytes) -> None:
    drive.open()
    before = drive("text", text="repeat")
    kept = len(drive.book.events("c1"))
    assert drive.raw(raw)["type"] == "error"
    assert len(drive.book.events("c1")) == kept
    assert drive("text", text="repeat") == before


@pytest.mark.parametrize(
    "fields",
    [
        {},
        {"installation": {}, "complaint": {}},
        {"installation": {}, "complaint": {"symptom": "sings"}},
        {"installation": {}, "complaint": {"symptom": "noise", "when": ["never"]}},
        {"installation": {}, "complaint": {"symptom": "noise", "where": ["roof"]}},
        {"installation": [], "complaint": {"symptom": "noise"}},
        {"installation": None, "complaint": {"symptom": "noise"}},
        {
            "installation": {"supply": {"wire": {"gauge": "fat"}}},
            "complaint": {"symptom": "noise"},
        },
        {
            "installation": {"supply": {"wire": {"length_m": -2}}},
            "complaint": {"symptom": "noise"},
        },
    ],
)
def test_a_bad_open_opens_nothing(drive: Driver, fields: dict[str, Any]) -> None:
    assert drive("open", **fields)["type"] == "error"
    assert drive("undo")["type"] == "error"
    assert drive.open()["type"] == "check"


def test_unknown_keys_and_a_byte_order_mark_do_no_harm(drive: Driver) -> None:
    line = {"type": "open", "installation": {}, "complaint": {"symptom": "noise"}, "extra": [1]}
    assert drive.raw(b"\xef\xbb\xbf" + json.dumps(line).encode())["type"] == "check"


@settings(max_examples=200, deadline=None)
@given(
    st.lists(
        st.one_of(
            st.binary(max_size=30),
            st.recursive(
                st.none() | st.booleans() | st.floats() | st.text(max_size=5),
                lambda inner: (
                    st.lists(inner, max_size=3)
                    | st.dictionaries(
                        st.sampled_from(["type", "check", "reading", "text", "value", "unit"]),
                        inner | st.sampled_from(["text", "reading", "undo", "open", "V"]),
                    )
                ),
                max_leaves=6,
            ).map(lambda value: json.dumps(value).encode()),
        ),
        max_size=6,
    )
)
def test_no_line_whatever_breaks_the_interface(lines: list[bytes]) -> None:
    drive = Driver()
    drive.open()
    for raw in lines:
        drive.raw(raw)
    assert drive("text", text="repeat")["type"] in {"check", "verdict", "confirm"}


# --- the real program ------------------------------------------------------------------------

WAGON = {
    "amplifier": {"channels": 5, "watts_per_channel": 75, "class": "D", "minimum_ohms": 2},
    "speakers": {
        "front_left": {"nominal_ohms": 4},
        "front_right": {"nominal_ohms": 4},
        "sub": {"nominal_ohms": 2},
    },
    "supply": {
        "wire": {"gauge": "4 AWG", "material": "copper", "length_m": 5.5},
        "main_fuse": {"amps": 100},
    },
}


def run(lines: list[bytes], home: Path, *options: str) -> subprocess.CompletedProcess[bytes]:
    environment = {**os.environ, "PROBETELL_HOME": str(home), "PROBETELL_WORLDS": "4000"}
    return subprocess.run(
        [sys.executable, "-m", "assistant", "case", "--jsonl", *options],
        input=b"".join(line + b"\n" for line in lines),
        capture_output=True,
        env=environment,
        check=False,
        timeout=120,
    )


def answers(output: bytes) -> list[list[dict[str, Any]]]:
    """Split what came out into answers, each ended by what is no belief."""
    grouped: list[list[dict[str, Any]]] = [[]]
    for raw in output.splitlines():
        grouped[-1].append(json.loads(raw))
        if grouped[-1][-1]["type"] != "belief":
            grouped.append([])
    assert grouped.pop() == []
    return grouped


def line(kind: str, **fields: Any) -> bytes:
    return json.dumps({"type": kind, **fields}).encode()


OPEN = line("open", installation=WAGON, complaint={"symptom": "protects", "when": ["running"]})


def test_the_program_answers_each_line_once_and_ends_with_zero(tmp_path: Path) -> None:
    lines = [
        OPEN,
        line("reading", check="battery_engine_running", reading={"value": 16.4, "unit": "V"}),
        b"nonsense",
        line("undo"),
        line("reading", check="battery_at_rest", reading={"value": 12600, "unit": "mV"}),
        line("text", text="why"),
        line("reading", check="battery_at_rest", reading={"seen": "lit"}),
        line("repaired", repair="remake_ground", fixed=False),
        line("close"),
    ]
    done = run(lines, tmp_path, "--seed", "3")
    assert done.returncode == 0
    assert done.stderr == b""
    ends = [hold(answer) for answer in answers(done.stdout)]
    assert len(ends) == len(lines)
    kinds = [end["type"] for end in ends]
    assert kinds[0] == "check"
    assert (kinds[2], ends[2]["line"]) == ("error", 3)
    assert ends[3]["id"] == ends[0]["id"]
    assert kinds[6] == "error"
    assert kinds[8] == "verdict"
    assert run(lines, tmp_path, "--seed", "3").stdout == done.stdout


def test_every_check_of_the_program_keeps_the_contract() -> None:
    """All checks of a full installation, not only those that a case happens to ask for."""
    from assistant.conversation.lines import check_object
    from assistant.diagnosis.session import Diagnosis
    from assistant.knowledge.schema import Complaint, Installation

    diagnosis = Diagnosis.open(
        installation=Installation.model_validate(WAGON),
        complaint=Complaint(symptom="protects"),
        worlds=1000,
    )
    assert len(diagnosis.checks) >= 45
    for check in diagnosis.checks:
        hold([check_object(diagnosis.describe(check), "say", ())])


def test_a_reader_that_goes_away_is_no_noise(tmp_path: Path) -> None:
    environment = {**os.environ, "PROBETELL_HOME": str(tmp_path), "PROBETELL_WORLDS": "1000"}
    process = subprocess.Popen(
        [sys.executable, "-m", "assistant", "case", "--jsonl"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env=environment,
    )
    assert process.stdin is not None
    assert process.stdout is not None
    assert process.stderr is not None
    process.stdout.close()
    process.stdin.write((b"nonsense\n") * 50)
    process.stdin.close()
    assert process.stderr.read() == b""
    assert process.wait(timeout=60) == 0
