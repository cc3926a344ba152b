"""Both stores behind one fixture: the same tests run over each."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from assistant.casebook.memory import MemoryCasebook
from assistant.casebook.sql import SqlCasebook

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from assistant.casebook.records import Casebook


@pytest.fixture(params=["memory", "sqlite"])
def book(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Casebook]:
    """An empty casebook."""
    if request.param == "memory":
        yield MemoryCasebook()
        return
    store = SqlCasebook(f"sqlite:///{tmp_path / 'book.sqlite'}")
    yield store
    store.dispose()
