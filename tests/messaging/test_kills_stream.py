"""Kill -9 at random instants, of workers and of the whole service, during a stream of texts.

The same over 40 kills: ``python -m assistant.benchmarks webhook --kills 40``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from assistant.benchmarks.texting_kills import kill_during_stream

if TYPE_CHECKING:
    from pathlib import Path


@pytest.mark.slow
def test_no_accepted_text_is_lost_and_no_case_is_doubled(tmp_path: Path) -> None:
    report = kill_during_stream(
        tmp_path / "home", kills=5, customers=2, seed=1, spread=0.6, texts=8
    )
    assert report.broken == []
    assert report.kills == 5
    assert report.service_kills >= 1
    assert report.texts >= 2 * 8
    assert report.posts > report.texts
    assert report.replies >= report.texts / 2
