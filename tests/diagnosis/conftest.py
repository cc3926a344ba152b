"""Makes the cases and the networks of this house importable."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from assistant.diagnosis import weighing

sys.path.insert(0, str(Path(__file__).parent))


@pytest.fixture(autouse=True)
def small_renewals(monkeypatch: pytest.MonkeyPatch) -> None:
    """Renew with fewer worlds than a real case does: these tests ask for rules, not for figures."""
    monkeypatch.setattr(weighing, "LATER_WORLDS", 1500)
