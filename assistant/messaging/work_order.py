"""What a worker process is told when it starts, and the lines between it and the service.

The service writes JSON lines to the worker's standard input, the first of them a ``WorkOrder``;
the worker answers on its standard output. Secrets so never stand in arguments or environment.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from pydantic import BaseModel, ConfigDict

if TYPE_CHECKING:
    from assistant.messaging.store_sql import SqlMessageStore

__all__ = ["WorkOrder", "line", "open_store"]


class WorkOrder(BaseModel):
    """All that a worker process needs; times in seconds."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    worker: str
    database_url: str
    number_key_hex: str
    shop_name: str
    shop_hours: str
    shop_phone: str
    worlds: int | None
    seed: int | None
    patience: float
    lease: float
    live_cases: int


def line(**fields: Any) -> bytes:
    """Write one message between service and worker."""
    return json.dumps(fields, separators=(",", ":")).encode() + b"\n"


def open_store(database_url: str, number_key: bytes) -> SqlMessageStore:
    """Open the store of messages; raise ``GivenError`` when it cannot be used."""
    from assistant.casebook.sql import SqlCasebook  # noqa: PLC0415 - not all need it
    from assistant.messaging.numbers import Numbers  # noqa: PLC0415
    from assistant.messaging.store_sql import SqlMessageStore  # noqa: PLC0415

    return SqlMessageStore(SqlCasebook(database_url), Numbers(number_key))
