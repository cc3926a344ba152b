"""Server-sent events: a part of a page is sent again whenever it has changed."""

from __future__ import annotations

import asyncio
import json
from typing import TYPE_CHECKING, Final

from starlette.responses import Response, StreamingResponse

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Awaitable, Callable

__all__ = ["live"]

_TICK: Final = 0.25
_LOOK_AGAIN: Final = 3.0
"""Seconds until a look without a hint: another machine may have answered."""
_STILL_HERE: Final = 15.0


def live(
    fragment: Callable[[], Awaitable[str]],
    *,
    hint: Callable[[], int],
    stopping: Callable[[], bool],
) -> Response:
    """Stream what ``fragment`` gives, each time it differs from the last.

    ``hint`` is a number that changes when something may be new. The stream ends with the service.
    """

    async def events() -> AsyncIterator[str]:
        sent, seen = None, hint()
        looked = written = -_STILL_HERE
        clock = asyncio.get_running_loop().time
        while not stopping():
            now = clock()
            if hint() != seen or now - looked >= _LOOK_AGAIN:
                seen, looked = hint(), now
                text = await fragment()
                if text != sent:
                    sent, written = text, now
                    yield f"event: part\ndata: {json.dumps(text)}\n\n"
            if now - written >= _STILL_HERE:
                written = now
                yield ": still here\n\n"
            await asyncio.sleep(_TICK)

    return StreamingResponse(
        events(), media_type="text/event-stream", headers={"X-Accel-Buffering": "no"}
    )
