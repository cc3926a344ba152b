"""A service in the test's own process: memory store, no worker processes, a signing carrier."""

from __future__ import annotations

import itertools
from contextlib import contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from fastapi import FastAPI
from fastapi.testclient import TestClient
from twilio.request_validator import RequestValidator

from assistant.messaging.desk import Desk
from assistant.messaging.dialogue_cache import DialogueCache
from assistant.messaging.limits import Intake
from assistant.messaging.numbers import Numbers
from assistant.messaging.records import Outcome
from assistant.messaging.shop import Shop
from assistant.messaging.signature import Seal
from assistant.messaging.store_memory import MemoryMessageStore
from assistant.messaging.webhook import TEXT_PATH, Door, webhook_router
from assistant.messaging.worker import Worker

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from assistant.messaging.records import Acceptance, IncomingText, MessageStore, Thread

TOKEN = "a token that nobody has"  # noqa: S105
PUBLIC = "https://texts.example.com"
KEY = b"0123456789abcdef0123456789abcdef"
NUMBER = "+12125550142"
SHOP = Shop(name="Harbour Street Audio", now="", phone="212 555 0199", worlds=1500)
_IDS = itertools.count(1)

Pairs = list[tuple[str, str]]


def echo(thread: Thread, message: IncomingText, **_: Any) -> Outcome:
    """Stands for the exchange: says back what was said."""
    return Outcome(thread=replace(thread), replies=(f"You said: {message.text}",))


def new_id() -> str:
    return f"SM{next(_IDS):032x}"


def text_form(body: str, *, number: str = NUMBER, message_id: str = "", **more: str) -> Pairs:
    fields = {"MessageSid": message_id or new_id(), "From": number, "Body": body, "NumMedia": "0"}
    return [*fields.items(), ("To", "+12125550100"), ("FromCity", ""), *more.items()]


def encoded(form: Pairs) -> bytes:
    from urllib.parse import urlencode

    return urlencode(form).encode()


class Many(dict[str, list[str]]):
    """Fields in the form that the library knows from other frameworks: lists by name."""

    def __init__(self, form: Pairs) -> None:
        super().__init__()
        for name, value in form:
            self.setdefault(name, []).append(value)

    def getlist(self, name: str) -> list[str]:
        return self[name]


def signature(form: Pairs, *, path: str = TEXT_PATH, token: str = TOKEN, at: str = PUBLIC) -> str:
    return str(RequestValidator(token).compute_signature(f"{at}{path}", Many(form)))


class Counter:
    """Where a test stands: posts texts as the carrier does, lets a worker answer."""

    def __init__(
        self,
        store: MessageStore,
        *,
        answer: Callable[..., Outcome] = echo,
        patience: float = 5.0,
        per_number: int = 1000,
        for_all: int = 10_000,
        answering: bool = True,
    ) -> None:
        self.store = store
        self.answering = answering
        self.worker = make_worker(store, answer=answer)
        self.desk = Desk(
            store=store,
            patience=patience,
            number_id=Numbers(KEY).look_up,
            wake_workers=self.work,
        )
        self.app = FastAPI()
        door = Door(
            desk=self.desk,
            seal=Seal(token=TOKEN, public_url=PUBLIC),
            intake=Intake(per_number=per_number, for_all=for_all),
        )
        self.app.include_router(webhook_router(door))
        self.client = TestClient(self.app, raise_server_exceptions=False)

    def work(self) -> None:
        """Answer all that waits; the webhook calls it where the service would wake a worker."""
        while self.answering and self.worker.step() is not None:
            pass

    def post(self, form: Pairs, *, path: str = TEXT_PATH, sign: str | None = None) -> Any:
        return self.client.post(
            path,
            content=encoded(form),
            headers={
                "Content-Type": "application/x-www-form-urlencoded",
                "X-Twilio-Signature": signature(form, path=path) if sign is None else sign,
            },
        )


def make_worker(store: MessageStore, *, answer: Callable[..., Outcome] = echo, **more: Any) -> Any:
    from assistant.commands.workplace import open_diagnosis

    cache = DialogueCache(case_events=store.case_events, opener=open_diagnosis, limit=4)
    given = {"name": "w1", "cache": cache, "shop": SHOP, "patience": 5.0, **more}
    return Worker(store=store, answer=answer, **given)


def memory_store() -> MemoryMessageStore:
    return MemoryMessageStore(Numbers(KEY))


class BrokenStore:
    """A store whose database is away."""

    def __getattr__(self, name: str) -> Callable[..., Acceptance]:
        from assistant.errors import GivenError

        def away(*_: object, **__: object) -> Acceptance:
            raise GivenError("The casebook cannot be used: +12125550142.", next_step="Wait.")

        return away


@contextmanager
def entered(client: TestClient) -> Iterator[TestClient]:
    """A client whose app's life has begun, as a server would begin it."""
    with client:
        yield client


def messages_in(markup: str) -> Sequence[str]:
    from lxml import etree

    return [node.text or "" for node in etree.fromstring(markup.encode()).findall("Message")]
