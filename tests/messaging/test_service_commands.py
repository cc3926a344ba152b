"""``serve``, ``text`` and ``forget`` as commands: practice from start to end, and refusals."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from assistant.errors import GivenError
from assistant.messaging.numbers import load_key
from assistant.messaging.plan import plan_service
from assistant.messaging.practice_phone import FICTION_NUMBERS
from assistant.messaging.work_order import open_store
from assistant.settings import load_settings

if TYPE_CHECKING:
    from collections.abc import Iterator

NUMBER = FICTION_NUMBERS[0]


def command(home: Path, *arguments: str, given: str = "", **more: str) -> tuple[int, str, str]:
    done = subprocess.run(
        [sys.executable, "-m", "assistant", *arguments],
        env=environment(home, **more),
        input=given,
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    return done.returncode, done.stdout, done.stderr


def environment(home: Path, **more: str) -> dict[str, str]:
    kept = {k: v for k, v in os.environ.items() if not k.startswith("PROBETELL_")}
    return {**kept, "PROBETELL_HOME": str(home), "PROBETELL_WORLDS": "1500", **more}


@contextmanager
def practice(home: Path) -> Iterator[subprocess.Popen[str]]:
    served = subprocess.Popen(
        [sys.executable, "-m", "assistant", "serve", "--practice", "--port", "0"],
        env=environment(home),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    end = time.monotonic() + 60
    while not (home / "practice" / "practice.json").exists():
        assert served.poll() is None
        assert time.monotonic() < end
        time.sleep(0.05)
    try:
        yield served
    finally:
        if served.poll() is None:
            served.kill()
        served.wait()


def children(pid: int) -> list[int]:
    found: list[int] = []
    for task in Path(f"/proc/{pid}/task").glob("*/children"):
        found += [int(child) for child in task.read_text().split()]
    return found


@pytest.mark.slow
def test_practice_from_the_first_text_to_being_forgotten(tmp_path: Path) -> None:
    with practice(tmp_path) as served:
        code, said, _ = command(tmp_path, "text", "--as", NUMBER, "my amp won't turn on")
        assert code == 0
        assert "When does it happen?" in said
        # A second customer writes line after line; the answers come in between.
        code, said, _ = command(
            tmp_path, "text", "--as", FICTION_NUMBERS[1], given="my amp cuts out\n\nwhen its loud\n"
        )
        assert code == 0
        assert "cuts out" in said
        assert "multimeter" in said
        code, _, wrong = command(tmp_path, "text", "--as", "+1", "x")
        assert code == 2
        assert "telephone number" in wrong
        workers = children(served.pid)
        assert workers
        served.send_signal(signal.SIGTERM)
        out, log = served.communicate(timeout=60)
    assert served.returncode == 0
    assert "/practice" in out
    assert "5550" not in log
    assert "amp" not in log
    assert not [pid for pid in workers if Path(f"/proc/{pid}").exists()]
    code, _, wrong = command(tmp_path, "text", "--as", NUMBER, "x")
    assert (code, "serve --practice" in wrong) == (2, True)

    directory = tmp_path / "practice"
    url = f"sqlite:///{directory / 'casebook.sqlite'}"
    assert len(open_store(url, load_key(directory)).threads()) == 2
    code, said, _ = command(tmp_path, "forget", "--practice", NUMBER, given="n\n")
    assert (code, "Nothing was erased" in said) == (1, True)
    assert len(open_store(url, load_key(directory)).threads()) == 2
    code, said, _ = command(tmp_path, "forget", "--practice", NUMBER, given="y\n")
    assert code == 0
    assert "***42" in said
    assert "5550142" not in said
    assert len(open_store(url, load_key(directory)).threads()) == 1
    assert command(tmp_path, "forget", "--practice", "--yes", NUMBER)[0] == 0
    assert command(tmp_path, "forget", "--yes", "nobody")[0] == 2


def test_serving_without_a_token_ends_in_one_line(tmp_path: Path) -> None:
    code, out, wrong = command(tmp_path, "serve", "--port", "0")
    assert code == 2
    assert "PROBETELL_SMS_TOKEN" in wrong
    assert wrong.count("\n") == 1
    assert out == ""


ACCOUNT = {
    "PROBETELL_SMS_TOKEN": "x",
    "PROBETELL_SMS_ACCOUNT": "AC1",
    "PROBETELL_SMS_FROM": "+12125550100",
    "PROBETELL_PUBLIC_URL": "https://texts.example.com",
}


@pytest.mark.parametrize(
    ("given", "host", "words"),
    [
        ({"PROBETELL_SMS_TOKEN": ""}, None, "PROBETELL_SMS_TOKEN"),
        ({"PROBETELL_SMS_TOKEN": "x"}, None, "PROBETELL_PUBLIC_URL"),
        (ACCOUNT, "0.0.0.0", "PROBETELL_SHOP_TOKEN"),  # noqa: S104
        ({**ACCOUNT, "PROBETELL_SHOP_TOKEN": "short"}, None, "PROBETELL_SHOP_TOKEN"),
        (
            {**ACCOUNT, "PROBETELL_DATABASE": "postgresql://nobody@127.0.0.1:1/none"},
            None,
            "PROBETELL_NUMBER_KEY",
        ),
    ],
)
def test_what_must_not_be_served_is_refused_with_a_next_step(
    tmp_path: Path, given: dict[str, str], host: str | None, words: str
) -> None:
    settings = load_settings({"PROBETELL_HOME": str(tmp_path), **given})
    with pytest.raises(GivenError) as caught:
        plan_service(settings, practice=False, host=host)
    assert words in str(caught.value)


def test_practice_is_for_this_machine_only(tmp_path: Path) -> None:
    settings = load_settings({"PROBETELL_HOME": str(tmp_path)})
    with pytest.raises(GivenError, match="this machine only"):
        plan_service(settings, practice=True, host="0.0.0.0")  # noqa: S104
    plan = plan_service(settings, practice=True)
    assert plan.practice
    assert plan.directory == tmp_path / "practice"
    assert plan.token != plan_service(settings, practice=True).token


def test_a_plan_takes_what_the_settings_say(tmp_path: Path) -> None:
    given = {"PROBETELL_HOME": str(tmp_path), **ACCOUNT, "PROBETELL_WORKERS": "3"}
    plan = plan_service(load_settings(given), practice=False, port=0)
    assert (plan.workers, plan.port, plan.public_url) == (3, 0, "https://texts.example.com")
    assert not plan.shop_token_is_set
    assert len(plan.shop_token) >= 16
