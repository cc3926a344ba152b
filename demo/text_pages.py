"""One case by text of an invented customer, as the two pages of ``probetell serve`` show it.

The exchange, the store and the worker are the service's own; clock, seed and ids stand still, so
that the pictures change only when the program does.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from markupsafe import escape

from assistant.commands.workplace import open_diagnosis
from assistant.messaging import clock
from assistant.messaging.dialogue_cache import DialogueCache
from assistant.messaging.numbers import Numbers
from assistant.messaging.practice_phone import FICTION_NUMBERS
from assistant.messaging.records import IncomingText
from assistant.messaging.shop import Shop
from assistant.messaging.store_memory import MemoryMessageStore
from assistant.messaging.worker import Worker
from assistant.shopfront.board import row_of, spoken_of
from assistant.shopfront.pages import asset, page, rendered

if TYPE_CHECKING:
    from assistant.messaging.records import ThreadView
    from assistant.messaging.summary import Summary

__all__ = ["TEXTS", "Pages", "pages"]

TEXTS: Final = (
    "hey my amp goes into protect when i turn it up",
    "yes, an old one",
    "go",
    "1",
    "10.6",
    "10.1 now",
    "which one is the ground terminal?",
)
"""What the customer writes. The car has a ground that is poorly bolted; it is not told."""
_SHOP: Final = Shop(name="Harbour Street Audio", now="", worlds=4000, seed=7)
_START: Final = "2026-03-02T10:00:00+00:00"
_BETWEEN: Final = 95.0
_SHOWN: Final = {"telephone": 6, "shop": 6}
_PATIENCE: Final = 5.0
_CASE: Final = re.compile(r"(Case \d{8}-\d{6})-[0-9a-f]{8}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Pages:
    """Two whole HTML pages that need no other file: the customer's telephone, the shop's screen."""

    telephone: str
    shop: str


@dataclass(slots=True)
class _Clock:
    at: str = _START

    def __call__(self) -> str:
        return self.at


def pages(texts: tuple[str, ...] = TEXTS) -> Pages:
    """Have ``texts`` answered one after the other, and fill the pages."""
    now = _Clock()
    store = MemoryMessageStore(Numbers(b"a key that is kept by nobody at all"))
    cache = DialogueCache(case_events=store.case_events, opener=open_diagnosis, limit=1)
    worker = Worker(name="w1", store=store, cache=cache, shop=_SHOP, patience=_PATIENCE, now=now)
    summary: Summary | None = None
    number_id = ""
    for count, text in enumerate(texts):
        message_id = f"SM{count:032x}"
        store.accept(
            IncomingText(
                message_id=message_id, number=FICTION_NUMBERS[0], text=text, received=now()
            )
        )
        answered = worker.step()
        store.answer_inline(message_id)
        if answered is not None:
            number_id, summary = answered.number_id, answered.summary or summary
        now.at = clock.shifted(now.at, _BETWEEN)
    view = store.thread(number_id)
    return Pages(telephone=_telephone(view), shop=_shop(view, summary))


def _whole(markup: str) -> str:
    """Put the style sheet into a page, and leave out what would ask a server."""
    style = f"<style>{asset('shop.css')}\n.phone {{ height: auto; min-height: 0 }}</style>"
    markup = re.sub(r'<link rel="stylesheet"[^>]*>', lambda _: style, markup)
    return re.sub(r"<link rel=\"icon\"[^>]*>|<script[^>]*></script>", "", markup)


def _telephone(view: ThreadView) -> str:
    lines = [spoken_of(line) for line in view.lines][-_SHOWN["telephone"] :]
    items = "".join(
        f'<li class="{"mine" if line.by == "customer" else "theirs"}">'
        f'<div class="text">{escape(line.text)}</div></li>'
        for line in lines
    )
    made = bytes(page("practice.html.j2", secret="", numbers=list(FICTION_NUMBERS)).body)
    return _whole(made.decode().replace("</ol>", f"{items}</ol>", 1))


def _shop(view: ThreadView, summary: Summary | None) -> str:
    row = row_of(view, summary)
    lines = [spoken_of(line) for line in view.lines][-_SHOWN["shop"] :]
    part = _CASE.sub(r"\1-0d9c27f1", rendered("thread.part.j2", row=row, lines=lines))
    made = page(
        "thread.html.j2", shop_name=_SHOP.name, form_key="", masked=row.masked,
        number_id=row.number_id, part=part, opted_out=row.opted_out, held_by=row.held_by,
    )  # fmt: skip
    return _whole(bytes(made.body).decode())
