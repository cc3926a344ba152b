"""Makes the service in the test's own process importable; it lies with the tests of messages."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "messaging"))
