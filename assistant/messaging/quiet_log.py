"""The log of the service and its workers: its own lines, few of libraries that tell too much."""

from __future__ import annotations

import logging
import sys
from typing import Final

__all__ = ["set_up_log"]

# Their lines hold addresses and what was asked for.
_NOISY: Final = (
    "alembic", "asyncio", "httpcore", "httpx", "sqlalchemy", "twilio", "twilio.http_client",
    "urllib3", "uvicorn",
)  # fmt: skip


def set_up_log() -> None:
    """Log to standard error, lines of libraries from warnings upwards."""
    logging.basicConfig(
        level=logging.INFO, format="%(levelname)s %(name)s %(message)s", stream=sys.stderr
    )
    for name in _NOISY:
        logging.getLogger(name).setLevel(logging.WARNING)
