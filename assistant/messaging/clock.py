"""Times of text messages: ISO 8601 in UTC to the millisecond, so that texts compare as times."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

__all__ = ["moment", "now", "shifted"]


def moment(time: datetime) -> str:
    """Write a time that knows its zone."""
    return time.astimezone(UTC).isoformat(timespec="milliseconds")


def now() -> str:
    """Give the present time."""
    return moment(datetime.now(UTC))


def shifted(at: str, seconds: float) -> str:
    """Give the time that lies ``seconds`` after ``at``, or before it when they are negative."""
    return moment(datetime.fromisoformat(at) + timedelta(seconds=seconds))
