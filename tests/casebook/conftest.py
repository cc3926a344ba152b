"""All stores behind one fixture: the same tests run over each."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from assistant.casebook.memory import MemoryCasebook
from assistant.casebook.sql import SqlCasebook

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assistant.casebook.records import Casebook


@pytest.fixture(params=["memory", "sqlite", "postgresql"])
def book(request: pytest.FixtureRequest) -> Iterator[Casebook]:
    """An empty casebook."""
    if request.param == "memory":
        yield MemoryCasebook()
        return
    store = SqlCasebook(str(request.getfixturevalue(f"{request.param}_url")))
    yield store
    store.dispose()
