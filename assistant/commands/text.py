"""``probetell text``: a customer's telephone on the command line, for a practice service."""

from __future__ import annotations

import sys
import time
from typing import TYPE_CHECKING, Any, Final

from assistant.errors import GivenError

if TYPE_CHECKING:
    from collections.abc import Iterator

    import httpx

    from assistant.settings import Settings

__all__ = ["run_text"]

_TICK: Final = 0.15
_QUIET: Final = 1.2
"""Seconds without a further message until a reply that came late counts as whole."""


class _Telephone:
    """One number's telephone at the service behind ``client``."""

    def __init__(self, client: httpx.Client, number: str) -> None:
        self._client = client
        self._number = number
        self._seen = len(self._lines()["lines"])

    def _post(self, path: str, fields: dict[str, str]) -> dict[str, Any]:
        import httpx

        try:
            answer = self._client.post(f"/practice/{path}", json=fields)
            found: dict[str, Any] = answer.json()
        except (httpx.TransportError, ValueError) as error:
            raise GivenError(
                "The practice service does not answer.",
                next_step="Start it again: probetell serve --practice.",
            ) from error
        if answer.status_code != 200:
            raise GivenError(
                str(found.get("error", "The text was not taken.")), next_step="Correct it."
            )
        return found

    def _lines(self) -> dict[str, Any]:
        return self._post("lines", {"number": self._number})

    def _new(self) -> tuple[list[str], bool]:
        """Give the replies since the last look, and whether a text is still on its way."""
        found = self._lines()
        fresh = found["lines"][self._seen :]
        self._seen = len(found["lines"])
        return [line["text"] for line in fresh if not line["mine"]], bool(found["pending"])

    def say(self, text: str, *, wait: float) -> Iterator[str]:
        """Send a text and give the replies as they come; end when all seem to be there."""
        yield from self._new()[0]
        self._post("texts", {"number": self._number, "text": text})
        end = time.monotonic() + wait
        last = None
        while (now := time.monotonic()) < end:
            replies, pending = self._new()
            if replies:
                last = now
                yield from replies
            if last is not None and not pending and now - last >= _QUIET:
                return
            time.sleep(_TICK)


def run_text(settings: Settings, *, number: str, message: list[str], wait: float) -> int:
    """Send one text, or one a line from standard input, and print the replies.

    Gives 1 when a single text had no reply in time.
    """
    import httpx

    from assistant.messaging.plan import practice_directory
    from assistant.messaging.practice_state import read_state

    url, secret = read_state(practice_directory(settings))
    with httpx.Client(base_url=url, headers={"X-Practice-Key": secret}, timeout=20.0) as client:
        telephone = _Telephone(client, number)
        if message:
            return _one(telephone, " ".join(message), wait)
        asking = sys.stdin.isatty()
        if asking:
            print("Write as the customer; an empty line or Ctrl-D ends.")
        while True:
            if asking:
                print("> ", end="", flush=True)
            raw = sys.stdin.readline()
            if not raw or (asking and not raw.strip()):
                return 0
            if raw.strip():
                _one(telephone, raw.rstrip("\n"), wait)


def _one(telephone: _Telephone, text: str, wait: float) -> int:
    answered = False
    for reply in telephone.say(text, wait=wait):
        answered = True
        print(reply, flush=True)
    if not answered:
        print(f"(no reply within {wait:.0f} s)", file=sys.stderr)
    return 0 if answered else 1
