"""The practice page: a customer's telephone in the browser, and the same for ``probetell text``.

For this machine only. Whoever writes has to know the key of this run: the page carries it, and
the command reads it from a file of the user's.
"""

from __future__ import annotations

import hmac
from typing import TYPE_CHECKING, Annotated, Any, Final

from fastapi import APIRouter, Body, Header, Request, Response
from starlette.responses import JSONResponse

from assistant.errors import GivenError
from assistant.messaging.numbers import normalise
from assistant.messaging.practice_phone import FICTION_NUMBERS
from assistant.shopfront.guard import asked_locally
from assistant.shopfront.live import live
from assistant.shopfront.pages import asset, page

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.messaging.practice_phone import PracticePhones

__all__ = ["KEY_HEADER", "practice_router"]

KEY_HEADER: Final = "X-Practice-Key"
_Key = Annotated[str, Header(alias=KEY_HEADER)]
_Number = Annotated[str, Body(max_length=40, embed=True)]
_FOREIGN: Final = "Practice is for this machine only."


def _error(status: int, message: str) -> Response:
    return JSONResponse({"error": message}, status_code=status)


class _Routes:
    """The endpoints of the telephone; ``secret`` is the key of this run."""

    def __init__(self, phones: PracticePhones, secret: str, stopping: Callable[[], bool]) -> None:
        self._phones = phones
        self._secret = secret
        self._stopping = stopping

    def _refused(self, request: Request, key: str) -> Response | None:
        if not asked_locally(request):
            return _error(403, _FOREIGN)
        if not hmac.compare_digest(key.encode(), self._secret.encode()):
            return _error(403, "Reload the page: the service was started anew.")
        return None

    async def telephone(self, request: Request) -> Response:
        """Show the telephone."""
        if not asked_locally(request):
            return _error(403, _FOREIGN)
        numbers = list(dict.fromkeys([*FICTION_NUMBERS, *self._phones.carrier.numbers()]))
        return page("practice.html.j2", secret=self._secret, numbers=numbers)

    async def script(self) -> Response:
        """Give the script of the page."""
        return Response(asset("phone.js.j2"), media_type="text/javascript")

    async def write(
        self, request: Request, number: _Number, text: Annotated[str, Body()], key: _Key = ""
    ) -> Response:
        """Put a text of a customer on its way."""
        if (answer := self._refused(request, key)) is not None:
            return answer
        try:
            return JSONResponse({"number": self._phones.write(number, text)})
        except GivenError as error:
            return _error(422, str(error))

    async def lines(self, request: Request, number: _Number, key: _Key = "") -> Response:
        """Give the lines on a telephone, and how many texts are still on their way."""
        if (answer := self._refused(request, key)) is not None:
            return answer
        try:
            phone = normalise(number)
        except GivenError as error:
            return _error(422, str(error))
        shown = [
            {"mine": line.mine, "text": line.text, "at": line.at, "way": line.way}
            for line in self._phones.carrier.lines(phone)
        ]
        return JSONResponse({"lines": shown, "pending": self._phones.pending(phone)})

    async def changes(self, request: Request) -> Response:
        """Stream a count that goes up when there is something new."""
        if not asked_locally(request):
            return _error(403, _FOREIGN)
        carrier = self._phones.carrier

        async def count() -> str:
            return str(carrier.changes)

        return live(count, hint=lambda: carrier.changes, stopping=self._stopping)


def practice_router(
    phones: PracticePhones, *, secret: str, stopping: Callable[[], bool]
) -> APIRouter:
    """Give the routes of the practice page."""
    routes = _Routes(phones, secret, stopping)
    refused: dict[int | str, dict[str, Any]] = {
        code: {"description": "refused; nothing is sent"} for code in (403, 422)
    }
    router = APIRouter(prefix="/practice", tags=["practice"], responses=refused)
    router.add_api_route("", routes.telephone, methods=["GET"], response_class=Response)
    router.add_api_route("/phone.js", routes.script, methods=["GET"], response_class=Response)
    router.add_api_route("/texts", routes.write, methods=["POST"])
    router.add_api_route("/lines", routes.lines, methods=["POST"])
    router.add_api_route("/live", routes.changes, methods=["GET"], include_in_schema=False)
    return router
