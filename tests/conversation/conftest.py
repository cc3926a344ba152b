"""Makes the toy diagnosis importable and opens dialogues over it."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from toy_talk import Talk, fresh

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.conversation.dialogue import Dialogue


@pytest.fixture
def talk() -> Talk:
    return Talk()


@pytest.fixture
def talk_on() -> type[Talk]:
    return Talk


@pytest.fixture
def fresh_dialogue() -> Callable[[], Dialogue]:
    return fresh
