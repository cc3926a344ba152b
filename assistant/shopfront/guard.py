"""Who may use the shop's screen: whoever knows its token, and forms only from its own pages.

The token goes into a cookie once, by a link or a form. A form carries a second value that only a
page of this service can know, so that no other site can post in the name of the shop. Where no
token is set, one is made for this run, and only a browser on the same machine is let in, without
anything in between that could speak for others.
"""

from __future__ import annotations

import hashlib
import hmac
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from starlette.responses import RedirectResponse, Response

from assistant.errors import GivenError
from assistant.messaging.plan import is_loopback
from assistant.messaging.signature import LONGEST_BODY, Form, read_form

if TYPE_CHECKING:
    from collections.abc import Mapping

    from starlette.requests import Request

__all__ = ["FORM_FIELD", "Guard", "NotAllowedError", "asked_locally", "posted_form"]

COOKIE: Final = "probetell_shop"
FORM_FIELD: Final = "form_key"
_BETWEEN: Final = ("forwarded", "x-forwarded-for", "x-forwarded-host", "x-real-ip", "via")


class NotAllowedError(Exception):
    """Whoever asked may not; ``why`` is for people."""

    def __init__(self, why: str) -> None:
        super().__init__(why)
        self.why = why


def _host_of(header: str) -> str:
    """Give the host name of a ``Host`` header without its port."""
    if header.startswith("["):
        return header.partition("]")[0].lstrip("[")
    return header.partition(":")[0]


def asked_locally(request: Request) -> bool:
    """Say whether a browser of this machine asks by this machine's own name, directly."""
    headers: Mapping[str, str] = request.headers
    if any(name in headers for name in _BETWEEN):
        return False
    client = request.client
    if client is None or not is_loopback(client.host):
        return False
    return is_loopback(_host_of(headers.get("host", "")))


async def posted_form(request: Request) -> Form:
    """Read a form of the shop's screen; raise ``GivenError`` when it is too long or none."""
    body = b""
    async for part in request.stream():
        body += part
        if len(body) > LONGEST_BODY:
            raise GivenError("The form is too long.", next_step="Write less.")
    return read_form(body)


@dataclass(frozen=True, slots=True)
class Guard:
    """Checks requests against the shop's ``token``."""

    token: str
    local_only: bool

    def _derived(self, purpose: bytes) -> str:
        return hmac.new(self.token.encode(), purpose, hashlib.sha256).hexdigest()

    @property
    def form_key(self) -> str:
        """The value that forms of our own pages carry."""
        return self._derived(b"form of the shop's screen")

    def enter(self, token: str) -> Response:
        """Let in whoever gives the right token; raise ``NotAllowedError`` otherwise."""
        if not hmac.compare_digest(token.encode(), self.token.encode()):
            raise NotAllowedError("That is not the shop's token.")
        response = RedirectResponse("/shop", status_code=303)
        response.set_cookie(
            COOKIE, self._derived(b"session"), httponly=True, samesite="strict", max_age=30 * 86_400
        )
        return response

    def check_place(self, request: Request) -> None:
        """Raise ``NotAllowedError`` unless the request comes from where it may come."""
        if self.local_only and not asked_locally(request):
            raise NotAllowedError(
                "The shop's screen is for this machine only, unless PROBETELL_SHOP_TOKEN is set."
            )

    def check(self, request: Request) -> None:
        """Raise ``NotAllowedError`` unless the request is the shop's."""
        self.check_place(request)
        given = request.cookies.get(COOKIE, "")
        if not hmac.compare_digest(given.encode(), self._derived(b"session").encode()):
            raise NotAllowedError("Please give the shop's token first.")

    def check_form(self, form: Form) -> None:
        """Raise ``NotAllowedError`` unless a form was on a page of our own."""
        if not hmac.compare_digest(form.first(FORM_FIELD).encode(), self.form_key.encode()):
            raise NotAllowedError("This form was not sent by the shop's own page.")
