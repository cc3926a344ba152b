"""Customers' telephones for practice: no account, no network, the very same signed webhook.

``PracticeCarrier`` stands for the carrier: it keeps what was sent, in memory. ``PracticePhones``
are the telephones: what is written on one is signed as the carrier signs and posted to the
service over loopback, and the replies, at once or later, are lines on it.
"""

from __future__ import annotations

import asyncio
import logging
import re
import secrets
import threading
from collections import Counter, defaultdict
from dataclasses import dataclass, field
from html import unescape
from typing import TYPE_CHECKING, Final, Literal

import httpx

from assistant.errors import GivenError
from assistant.messaging import clock
from assistant.messaging.mishap import place_of
from assistant.messaging.numbers import normalise
from assistant.messaging.signature import SIGNATURE_HEADER, Form
from assistant.messaging.webhook import TEXT_PATH

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.messaging.signature import Seal

__all__ = ["FICTION_NUMBERS", "PhoneLine", "PracticeCarrier", "PracticePhones", "bodies_of"]

FICTION_NUMBERS: Final = ("+12125550142", "+13035550117", "+14155550163")
"""Of the range 555-0100 to 555-0199, which is kept for fiction."""
_LOG: Final = logging.getLogger("probetell.practice")
_MESSAGE: Final = re.compile(r"<Message>(.*?)</Message>", re.DOTALL)
_TRIES: Final = 5
_LONGEST: Final = 4000


@dataclass(frozen=True, slots=True, kw_only=True)
class PhoneLine:
    """One line on a telephone; ``mine`` tells that the customer wrote it."""

    mine: bool
    text: str
    at: str
    way: Literal["typed", "answer", "later"]


def bodies_of(markup: str) -> tuple[str, ...]:
    """Give the message bodies of a webhook's answer."""
    return tuple(unescape(body) for body in _MESSAGE.findall(markup))


@dataclass(slots=True)
class PracticeCarrier:
    """A ``Carrier`` that keeps messages in memory; may be called from any thread."""

    now: Callable[[], str] = clock.now
    changes: int = 0
    _lines: defaultdict[str, list[PhoneLine]] = field(default_factory=lambda: defaultdict(list))
    _sent: list[tuple[str, str, str, str]] = field(default_factory=list)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def put(self, number: str, text: str, way: Literal["typed", "answer", "later"]) -> None:
        """Put a line on a telephone."""
        line = PhoneLine(mine=way == "typed", text=text, at=self.now(), way=way)
        with self._lock:
            self._lines[number].append(line)
            self.changes += 1

    def lines(self, number: str) -> list[PhoneLine]:
        """Give the lines on a telephone, oldest first."""
        with self._lock:
            return list(self._lines.get(number, ()))

    def numbers(self) -> list[str]:
        """Give the numbers of the telephones in use."""
        with self._lock:
            return list(self._lines)

    def send(self, to: str, body: str) -> str:
        """Take a message to a telephone."""
        carrier_id = f"SM{secrets.token_hex(16)}"
        with self._lock:
            self._sent.append((carrier_id, to, body, self.now()))
        self.put(to, body, "later")
        return carrier_id

    def find(self, to: str, body: str, since: str) -> str | None:
        """Give the id of a message that was taken since then."""
        with self._lock:
            for carrier_id, number, text, at in self._sent:
                if (number, text) == (to, body) and at >= since:
                    return carrier_id
        return None


class PracticePhones:
    """Writes texts on behalf of customers; ``client`` reaches the service over loopback."""

    def __init__(self, *, carrier: PracticeCarrier, seal: Seal, client: httpx.AsyncClient) -> None:
        self.carrier = carrier
        self._seal = seal
        self._client = client
        self._pending: Counter[str] = Counter()
        self._turn: defaultdict[str, asyncio.Lock] = defaultdict(asyncio.Lock)
        self._tasks: set[asyncio.Task[None]] = set()

    def pending(self, number: str) -> int:
        """Count the texts of a number that the service has not taken yet."""
        return self._pending[number]

    def write(self, number: str, text: str) -> str:
        """Put a text on its way; give the number in its one form.

        Raises ``GivenError`` for a number that is none and for an empty text.
        """
        phone = normalise(number)
        if not text.strip():
            raise GivenError("There is nothing to send.", next_step="Write a text.")
        if len(text) > _LONGEST:
            raise GivenError("The text is too long.", next_step=f"Write at most {_LONGEST}.")
        self.carrier.put(phone, text, "typed")
        self._pending[phone] += 1
        task = asyncio.create_task(self._post(phone, text))
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)
        return phone

    async def _post(self, number: str, text: str) -> None:
        form = Form(
            [
                ("MessageSid", f"SM{secrets.token_hex(16)}"),
                ("From", number),
                ("To", "+12125550100"),
                ("Body", text),
                ("NumMedia", "0"),
                ("FromCity", ""),
            ]
        )
        try:
            async with self._turn[number]:
                for body in await self._posted(form):
                    self.carrier.put(number, body, "answer")
        except Exception as error:  # noqa: BLE001 - the telephone shows that nothing came
            _LOG.error("a practice text could not be sent: %s", place_of(error))
        finally:
            self._pending[number] -= 1
            self.carrier.changes += 1

    async def _posted(self, form: Form) -> tuple[str, ...]:
        """Post a form until the service takes it, always under the same message id."""
        signature = self._seal.sign(path=TEXT_PATH, form=form)
        for tried in range(_TRIES):
            try:
                answer = await self._client.post(
                    TEXT_PATH,
                    data=dict(form.items()),
                    headers={SIGNATURE_HEADER: signature},
                )
            except httpx.TransportError:
                answer = None
            if answer is not None and answer.status_code == 200:
                return bodies_of(answer.text)
            await asyncio.sleep(0.3 * 2**tried)
        return ()
