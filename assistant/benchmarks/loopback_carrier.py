"""A carrier on this machine: it takes messages by the REST interface, and posts signed texts.

It outlives the service that is killed, so it knows what a customer's telephone has really got: an
answer of the webhook counts once for each message id, however often that was posted.
"""

from __future__ import annotations

import base64
import json
import threading
import time
from collections import defaultdict
from dataclasses import dataclass
from datetime import UTC, datetime
from email.utils import format_datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import TYPE_CHECKING, Any, Final, Self
from urllib.parse import parse_qs, urlsplit

import httpx
from twilio.request_validator import RequestValidator

from assistant.errors import MisuseError
from assistant.messaging.practice_phone import bodies_of

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["ACCOUNT", "SENDER", "TOKEN", "Got", "LoopbackCarrier"]

ACCOUNT: Final = "AC00000000000000000000000000000000"
TOKEN: Final = "the loopback carrier's token"  # noqa: S105 - of nobody
SENDER: Final = "+12125550100"
_API: Final = f"/2010-04-01/Accounts/{ACCOUNT}/Messages.json"
_PAUSE: Final = 0.15


@dataclass(frozen=True, slots=True, kw_only=True)
class Got:
    """One message on a customer's telephone; ``answers`` is the text whose answer it was."""

    carrier_id: str
    body: str
    at: float
    made: datetime
    answers: str = ""


class LoopbackCarrier:
    """The carrier, its REST interface in threads of its own; use it as a context manager.

    ``refuse`` is asked at each sending and may give an HTTP status to fail with. ``patience`` is
    how long a text is posted again and again, in seconds.
    """

    def __init__(
        self, *, refuse: Callable[[], int | None] = lambda: None, patience: float = 120.0
    ) -> None:
        self.refuse = refuse
        self.got: defaultdict[str, list[Got]] = defaultdict(list)
        self.posts = 0
        self._patience = patience
        self._ids = 0
        self._answered: dict[str, str] = {}
        self._lock = threading.Lock()
        self._validator = RequestValidator(TOKEN)
        self._server = ThreadingHTTPServer(("127.0.0.1", 0), _handler(self))
        self._server.daemon_threads = True
        self.api_url = f"http://127.0.0.1:{self._server.server_address[1]}"
        self.service_url = ""

    def __enter__(self) -> Self:
        threading.Thread(target=self._server.serve_forever, daemon=True).start()
        return self

    def __exit__(self, *_: object) -> None:
        self._server.shutdown()
        self._server.server_close()

    def new_id(self) -> str:
        """Make a message id."""
        with self._lock:
            self._ids += 1
            return f"SM{self._ids:032x}"

    def signed(self, number: str, body: str, message_id: str) -> tuple[dict[str, str], str]:
        """Give the form of a text and its signature."""
        form = {
            "MessageSid": message_id,
            "AccountSid": ACCOUNT,
            "From": number,
            "To": SENDER,
            "Body": body,
            "NumMedia": "0",
            "FromCity": "",
        }
        return form, str(self._validator.compute_signature(f"{self.service_url}/sms", form))

    def text(
        self, client: httpx.Client, number: str, body: str, *, message_id: str = "", times: int = 1
    ) -> str:
        """Post a text until the service takes it, ``times`` over; give its message id.

        Raises ``MisuseError`` when the service does not take it in time.
        """
        used = message_id or self.new_id()
        form, signature = self.signed(number, body, used)
        end = time.monotonic() + self._patience
        left = times
        while left:
            self.posts += 1
            try:
                answer = client.post("/sms", data=form, headers={"X-Twilio-Signature": signature})
            except httpx.TransportError:
                answer = None
            if answer is not None and answer.status_code == 200:
                self.take_answer(number, used, answer.text)
                left -= 1
            elif time.monotonic() > end:
                raise MisuseError("The service takes no texts.", next_step="Read its log.")
            else:
                time.sleep(_PAUSE)
        return used

    def take_answer(self, number: str, message_id: str, markup: str) -> None:
        """Put the bodies of a webhook's answer on the telephone, once for each message id.

        Raises ``MisuseError`` when a message id was answered otherwise before.
        """
        bodies = bodies_of(markup)
        with self._lock:
            before = self._answered.get(message_id)
            if before is None and bodies:
                self._answered[message_id] = markup
                for body in bodies:
                    self._put(number, body, message_id)
            elif bodies and before != markup:
                raise MisuseError("A text has two answers.", next_step="Read the store.")

    def _put(self, number: str, body: str, answers: str) -> Got:
        self._ids += 1
        got = Got(
            carrier_id=f"SM{self._ids:032x}",
            body=body,
            at=time.monotonic(),
            made=datetime.now(UTC),
            answers=answers,
        )
        self.got[number].append(got)
        return got

    def bodies(self, number: str) -> list[str]:
        """Give what is on a customer's telephone, in the order it came."""
        with self._lock:
            return [got.body for got in self.got[number]]

    # --- the REST interface ------------------------------------------------------------

    def post(self, form: dict[str, list[str]]) -> tuple[int, dict[str, Any]]:
        """Take a message, or fail as told."""
        status = self.refuse()
        if status is not None:
            return status, {"code": 20429 if status == 429 else 21610, "message": "no", "status": 0}
        with self._lock:
            got = self._put(form["To"][0], form["Body"][0], "")
        return 201, _shown(form["To"][0], got)

    def listed(self, to: str) -> dict[str, Any]:
        """Give the messages to a number, the newest first."""
        with self._lock:
            kept = [_shown(to, got) for got in reversed(self.got[to])]
        return {
            "messages": kept, "page": 0, "page_size": 50, "uri": _API, "first_page_uri": _API,
            "next_page_uri": None, "previous_page_uri": None, "start": 0, "end": len(kept),
        }  # fmt: skip


def _shown(to: str, got: Got) -> dict[str, Any]:
    return {
        "sid": got.carrier_id,
        "account_sid": ACCOUNT,
        "to": to,
        "from": SENDER,
        "body": got.body,
        "status": "queued",
        "direction": "outbound-reply" if got.answers else "outbound-api",
        "date_created": format_datetime(got.made),
        "date_sent": None,
        "num_segments": "1",
    }


def _handler(carrier: LoopbackCarrier) -> type[BaseHTTPRequestHandler]:
    expected = "Basic " + base64.b64encode(f"{ACCOUNT}:{TOKEN}".encode()).decode()

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def _answer(self, status: int, found: dict[str, Any]) -> None:
            body = json.dumps(found).encode()
            self.send_response(status)
            self.send_header("Content-Type", "application/json")
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def _allowed(self) -> bool:
            if self.headers.get("Authorization") == expected:
                return True
            self._answer(401, {"code": 20003, "message": "no", "status": 401})
            return False

        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers.get("Content-Length", "0"))).decode()
            if self._allowed():
                self._answer(*carrier.post(parse_qs(body, keep_blank_values=True)))

        def do_GET(self) -> None:
            if self._allowed():
                asked = parse_qs(urlsplit(self.path).query)
                self._answer(200, carrier.listed(asked.get("To", [""])[0]))

        def log_message(self, *_: object) -> None:
            """Keep quiet."""

    return Handler
