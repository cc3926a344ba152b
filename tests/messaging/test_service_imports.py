"""The web side of the message service keeps no engine in memory: the workers have it."""

from __future__ import annotations

import subprocess
import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

CODE = """
import sys
import assistant.messaging.service
from assistant.messaging.work_order import open_store
open_store(sys.argv[1], b"k" * 32)
heavy = {"numpy", "scipy", "assistant.diagnosis.session", "assistant.conversation.dialogue"}
print(*sorted(heavy & set(sys.modules)))
"""


def test_the_web_side_imports_no_engine(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'shop.sqlite'}"
    done = subprocess.run(
        [sys.executable, "-c", CODE, url], capture_output=True, text=True, check=True
    )
    assert done.stdout.split() == []
