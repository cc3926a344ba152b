"""Kill -9 at any instant: what was acknowledged is kept, and nothing is there twice.

``PROBETELL_TEST_KILLS`` sets how often; 6 by default.
"""

from __future__ import annotations

import os
import random
import subprocess
import sys
import threading
from collections import Counter
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from store_talk import at
from store_victim import work

from assistant.casebook.sql import SqlCasebook
from assistant.messaging.numbers import Numbers
from assistant.messaging.store_sql import SqlMessageStore

VICTIM = Path(__file__).with_name("store_victim.py")
KILLS = int(os.environ.get("PROBETELL_TEST_KILLS", "6"))


def run_and_kill(url: str, name: str, first: int, chance: random.Random) -> list[list[str]]:
    """Let a process work for a random while and kill it; give what it had acknowledged."""
    process = subprocess.Popen(
        [sys.executable, str(VICTIM), url, name, str(first)],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
    )
    assert process.stdout is not None
    told = [process.stdout.readline()]  # it has begun
    timer = threading.Timer(chance.uniform(0, 0.4), process.kill)
    timer.start()
    told += process.stdout.readlines()
    process.wait()
    assert process.returncode == -9
    return [line.split(maxsplit=1) for line in told if line.endswith("\n")]


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no SIGKILL")
def test_nothing_acknowledged_is_lost_or_doubled(database_url: str) -> None:
    chance = random.Random(17)  # noqa: S311
    casebook = SqlCasebook(database_url)
    store = SqlMessageStore(casebook, Numbers(bytes(32)))
    told: dict[str, list[str]] = {"accepted": [], "answered": [], "sent": []}
    for kill in range(KILLS):
        # The carrier delivers the last messages again: it cannot know what was taken.
        first = max(0, len(set(told["accepted"])) - 2)
        for what, which in run_and_kill(database_url, f"w{kill}", first, chance):
            told[what].append(which.strip())
        store.release(f"w{kill}")
    assert len(told["accepted"]) > KILLS
    while work(store, "last") is not None:
        pass
    kept: list[str] = []
    replies: Counter[str] = Counter()
    for view in store.threads():
        lines = store.thread(view.thread.number_id).lines
        replies.update(line.text for line in lines if line.by == "program")
        going = {line.text for line in lines if line.state == "sent"}
        assert going <= set(replies)
    for row in casebook.cases():
        events = casebook.events(row.case_id)
        assert [e.sequence for e in events] == list(range(len(events)))
        kept += [str(e.key) for e in events]
        # Messages of a number are answered in the order they came.
        order = [int(str(e.key)[1:]) for e in events]
        assert order == sorted(order)
    assert len(kept) == len(set(kept)), "a message was counted twice"
    assert set(told["accepted"]) <= set(kept), "an accepted message is lost"
    assert set(told["answered"]) <= set(kept)
    assert replies == Counter(f"re {message}" for message in kept), "a reply is lost or doubled"
    assert len(told["sent"]) == len(set(told["sent"])), "a reply was sent twice"
    left = {s.body for s in store.take_sendings("last", now=at(99), until=at(199), count=10_000)}
    assert not left & set(told["sent"]), "a reply that was sent would be sent again"
    assert left | set(told["sent"]) <= set(replies)
    casebook.dispose()
