"""The service's own access log and safe headers: nothing personal in the one, no framing by others.

A log line names the route as it was declared, never the address that was asked for.
"""

from __future__ import annotations

import logging
import time
from typing import TYPE_CHECKING, Final

from assistant.messaging.mishap import place_of

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["Quiet"]

_LOG: Final = logging.getLogger("probetell.access")
_POLLED: Final = frozenset({"/practice/lines"})
_HEADERS: Final = (
    (
        b"content-security-policy",
        b"default-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'",
    ),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cache-control", b"no-store"),
)


class Quiet:
    """ASGI middleware; an error that reaches it is logged by kind and place, and answered 500."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        began, status = time.monotonic(), 0

        async def sending(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                message["headers"] = [*message.get("headers", ()), *_HEADERS]
            await send(message)

        try:
            await self._app(scope, receive, sending)
        except Exception as error:  # noqa: BLE001 - its words may hold what a customer wrote
            _LOG.error("a request failed: %s", place_of(error))
            if not status:
                await sending({"type": "http.response.start", "status": 500, "headers": []})
                await send({"type": "http.response.body", "body": b"Something went wrong."})
        finally:
            route = getattr(scope.get("route"), "path", "(no such page)")
            spent = 1000 * (time.monotonic() - began)
            level = logging.DEBUG if route in _POLLED else logging.INFO
            _LOG.log(level, "%s %s %s %.0f ms", scope["method"], route, status, spent)
