"""What the service does beside the web side, and its load as the benchmark makes it, in small."""

from __future__ import annotations

import asyncio
import contextlib
from typing import TYPE_CHECKING

import pytest

from assistant.benchmarks.texting_load import Load, load_service, play_kinds
from assistant.messaging.clock import now, shifted
from assistant.messaging.plan import plan_service
from assistant.messaging.queue_outlook import QueueOutlook
from assistant.messaging.records import IncomingText
from assistant.messaging.service import Service
from assistant.settings import load_settings

if TYPE_CHECKING:
    from pathlib import Path

A_DAY = 86_400.0


def test_numbers_that_were_silent_too_long_are_erased(tmp_path: Path) -> None:
    given = {"PROBETELL_HOME": str(tmp_path), "PROBETELL_RETENTION_DAYS": "30"}
    service = Service(
        plan_service(load_settings(given), practice=True), local_url="http://127.0.0.1:1"
    )
    for number, days in (("+12125550142", 31), ("+13035550117", 29)):
        text = IncomingText(
            message_id=f"m{days}",
            number=number,
            text="hello",
            received=shifted(now(), -days * A_DAY),
        )
        service.store.accept(text)

    async def a_day_goes_by() -> None:
        task = asyncio.create_task(service._let_old_ones_go())
        async with asyncio.timeout(20):
            while len(service.store.threads()) > 1:  # noqa: ASYNC110
                await asyncio.sleep(0.05)
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task

    asyncio.run(a_day_goes_by())
    (left,) = service.store.threads()
    assert left.masked == "***17"


def test_the_outlook_goes_by_queue_and_pace() -> None:
    outlook = QueueOutlook(workers=2)
    for name in "abcd":
        outlook.came(name)
    assert outlook.wait == pytest.approx(2.0)  # four texts of a second each, two at a time
    for _ in range(60):
        outlook.took(0.5)
    assert outlook.wait == pytest.approx(1.0, rel=0.01)
    outlook.answered("b")
    outlook.answered("b")
    assert len(outlook) == 3
    outlook.at_most(1)
    assert len(outlook) == 1
    outlook.answered("d")
    assert outlook.wait == 0.0


@pytest.mark.slow
def test_copied_cases_are_answered_under_load(tmp_path: Path) -> None:
    load = Load(
        cases=2,
        rate=2.0,
        seconds=1.0,
        drain=60.0,
        workers=1,
        worlds=1500,
        live_cases=2,
        patience=0.0,
        seed=1,
    )
    report = load_service(tmp_path / "home", load, play_kinds(1, 1500, 1))
    assert (report.sent, report.failed, report.inline) == (2, 0, 0)
    assert report.answered == len(report.webhook) == 2
    assert report.memory > report.memory_service > 0
    assert all(reply > 0 for reply in report.replies)
