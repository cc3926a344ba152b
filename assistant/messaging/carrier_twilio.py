"""The carrier behind Twilio's REST interface."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import urlsplit, urlunsplit

from requests.exceptions import RequestException
from twilio.base.exceptions import TwilioException, TwilioRestException
from twilio.http.http_client import TwilioHttpClient
from twilio.rest import Client

from assistant.messaging.faults import CarrierBusyError, CarrierRefusedError

if TYPE_CHECKING:
    from twilio.http.response import Response

__all__ = ["TwilioCarrier"]

_PATIENCE: Final = 20.0
_SEARCHED: Final = 50
"""So many of the newest messages to a number are looked through for one that was sent before."""
_SLACK: Final = timedelta(seconds=10)
"""The carrier's clock may differ from ours by so much."""
_LATER: Final = frozenset({408, 425, 429})


class _OtherAddress(TwilioHttpClient):  # type: ignore[misc]
    """Sends what is meant for the usual address to another one, such as a relay."""

    def __init__(self, base: str) -> None:
        super().__init__(timeout=_PATIENCE)
        self._base = urlsplit(base)

    def request(self, method: str, url: str, *args: Any, **fields: Any) -> Response:
        place = urlsplit(url)
        moved = place._replace(
            scheme=self._base.scheme,
            netloc=self._base.netloc,
            path=self._base.path.rstrip("/") + place.path,
        )
        return super().request(method, urlunsplit(moved), *args, **fields)


class TwilioCarrier:
    """A ``Carrier``; ``sender`` is a number in E.164 or the id of a messaging service (MG...).

    ``report_url`` is where delivery reports go. ``api_url`` stands for the usual address.
    """

    def __init__(
        self, *, account: str, token: str, sender: str, report_url: str, api_url: str | None = None
    ) -> None:
        http = TwilioHttpClient(timeout=_PATIENCE) if api_url is None else _OtherAddress(api_url)
        self._client = Client(account, token, http_client=http)
        self._sender = sender
        self._report_url = report_url

    @property
    def _from(self) -> dict[str, str]:
        if self._sender.startswith("MG"):
            return {"messaging_service_sid": self._sender}
        return {"from_": self._sender}

    def send(self, to: str, body: str) -> str:
        """Send one message and give the carrier's id of it."""
        try:
            sent = self._client.messages.create(
                to=to, body=body, status_callback=self._report_url, **self._from
            )
        except (TwilioException, RequestException) as error:
            raise _translated(error) from error
        return str(sent.sid)

    def find(self, to: str, body: str, since: str) -> str | None:
        """Give the id of a message with this body that the carrier took after ``since``."""
        earliest = datetime.fromisoformat(since) - _SLACK
        try:
            for each in self._client.messages.list(to=to, limit=_SEARCHED):
                made = each.date_created
                if made is not None and made < earliest:
                    continue
                # A trial account puts words of its own in front.
                if str(each.direction).startswith("outbound") and (each.body or "").endswith(body):
                    return str(each.sid)
        except (TwilioException, RequestException) as error:
            raise _translated(error) from error
        return None


def _translated(error: Exception) -> CarrierBusyError | CarrierRefusedError:
    """Say whether trying again may help: 4xx does not, except when it asks for patience."""
    if isinstance(error, TwilioRestException) and 400 <= error.status < 500:
        code = error.code or error.status
        if error.status not in _LATER:
            return CarrierRefusedError(
                f"The carrier refused the message (error {code}).",
                next_step="Look the error's number up with the carrier, then try the message again "
                "from the shop's screen.",
            )
    return CarrierBusyError(
        f"The carrier could not be reached ({type(error).__name__}).",
        next_step="Nothing: the message is tried again.",
    )
