"""The shop's screen: who gets in, what is masked, taking over, and messages that were given up."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import html5lib
import pytest
from fastapi.testclient import TestClient
from text_kit import NUMBER, Counter, memory_store, text_form

from assistant.messaging.records import Outcome
from assistant.messaging.summary import Summary
from assistant.shopfront.guard import Guard, asked_locally
from assistant.shopfront.routes import shop_router

if TYPE_CHECKING:
    from collections.abc import Sequence

SECRET = "the shop's own long token"  # noqa: S105
LATER = "2099-01-01T00:00:00.000+00:00"
HERE = {"base_url": "http://127.0.0.1:8321", "client": ("127.0.0.1", 40000)}


class Shop:
    """A service with the screen, a browser that was let in, and a customer."""

    def __init__(self, *, local_only: bool = False, enter: bool = True, **browser: Any) -> None:
        self.counter = Counter(memory_store())
        self.store = self.counter.store
        guard = Guard(token=SECRET, local_only=local_only)
        self.counter.app.include_router(
            shop_router(self.counter.desk, guard, shop_name="Harbour Street Audio")
        )
        self.browser = TestClient(
            self.counter.app,
            raise_server_exceptions=True,
            follow_redirects=False,
            **{**HERE, **browser},
        )
        if enter:
            self.enter()

    def enter(self, token: str = SECRET) -> Any:
        return self.browser.post("/shop/enter", data={"token": token})

    def customer(self, text: str, number: str = NUMBER) -> str:
        self.counter.post(text_form(text, number=number))
        return self.store.threads()[0].thread.number_id

    def page(self, path: str) -> str:
        answer = self.browser.get(path)
        assert answer.status_code == 200
        html5lib.HTMLParser(strict=True).parse(answer.text)
        return str(answer.text)

    def form_key(self, path: str) -> str:
        found = re.search(r'name="form_key" value="([0-9a-f]+)"', self.page(path))
        assert found
        return found[1]

    def act(self, number_id: str, action: str, **fields: str) -> Any:
        path = f"/shop/threads/{number_id}"
        data = {"form_key": self.form_key(path), "person": "Ada", **fields}
        return self.browser.post(f"{path}/{action}", data=data)


def test_nobody_gets_in_without_the_token() -> None:
    shop = Shop(enter=False)
    number_id = shop.customer("hello")
    paths = ["/shop", "/shop/live", "/shop/dead", f"/shop/threads/{number_id}"]
    for path in [*paths, f"/shop/threads/{number_id}/live"]:
        answer = shop.browser.get(path)
        assert answer.status_code == 403
        assert "hello" not in answer.text
    for action in ("take", "say", "back"):
        assert shop.browser.post(f"/shop/threads/{number_id}/{action}").status_code == 403
    assert shop.browser.post("/shop/dead/1/retry").status_code == 403
    assert shop.enter("wrong").status_code == 403
    assert shop.browser.get("/shop/enter?token=wrong").status_code == 403
    assert shop.browser.get("/shop").status_code == 403


@pytest.mark.parametrize("cookie", [b"", b"x", SECRET.encode(), "Ж".encode()])
def test_a_cookie_that_was_made_up_does_not_help(cookie: bytes) -> None:
    shop = Shop(enter=False)
    answer = shop.browser.get("/shop", headers={b"Cookie": b"probetell_shop=" + cookie})
    assert answer.status_code == 403


def test_the_link_with_the_token_lets_in() -> None:
    shop = Shop(enter=False)
    answer = shop.browser.get("/shop/enter", params={"token": SECRET})
    assert (answer.status_code, answer.headers["location"]) == (303, "/shop")
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert SECRET not in cookie
    assert shop.browser.get("/shop").status_code == 200


@pytest.mark.parametrize(
    ("client", "headers"),
    [
        (("10.0.0.9", 1), {}),
        (("127.0.0.1", 1), {"Host": "texts.example.com"}),
        (("127.0.0.1", 1), {"X-Forwarded-For": "10.0.0.9"}),
        (("127.0.0.1", 1), {"Forwarded": "for=10.0.0.9"}),
        (("127.0.0.1", 1), {"Via": "1.1 tunnel"}),
    ],
)
def test_a_token_of_this_run_is_good_on_this_machine_only(
    client: tuple[str, int], headers: dict[str, str]
) -> None:
    shop = Shop(local_only=True, enter=False, client=client, headers=headers)
    assert shop.enter().status_code == 403
    assert Shop(local_only=True).browser.get("/shop").status_code == 200


def test_asked_locally_reads_addresses_of_both_kinds() -> None:
    from starlette.requests import Request

    def request(host: str, client: str) -> Request:
        return Request(
            {"type": "http", "headers": [(b"host", host.encode())], "client": (client, 1)}
        )

    assert asked_locally(request("[::1]:8321", "::1"))
    assert asked_locally(request("localhost:8321", "127.0.0.1"))
    assert not asked_locally(request("localhost.evil.example", "127.0.0.1"))
    assert not asked_locally(request("", "127.0.0.1"))


def test_numbers_are_masked_on_every_page() -> None:
    shop = Shop()
    number_id = shop.customer("12.6 <b>key</b> on")
    for path in ("/shop", f"/shop/threads/{number_id}", "/shop/dead"):
        page = shop.page(path)
        assert "5550142" not in page
        assert "<b>key</b>" not in page
    assert "***42" in shop.page("/shop")
    assert "12.6 &lt;b&gt;key" in shop.page(f"/shop/threads/{number_id}")


def test_the_list_shows_state_next_check_and_belief() -> None:
    shop = Shop()

    def opens(thread: Any, *_: Any, **__: Any) -> Outcome:
        return Outcome(thread=replace(thread, case_id="c1", cases=("c0", "c1")), replies=("hi",))

    asked: list[str] = []
    shop.counter.desk.ask_look = asked.append
    shop.counter.worker.answer = opens
    shop.customer("hello")
    assert "case is open" in shop.page("/shop")
    shop.page("/shop")
    assert asked == ["c1"]
    shop.counter.desk.summed(
        Summary(
            case_id="c1", state="measuring", check="Fuse drop", top=(("renew_main_fuse", 0.62),)
        )
    )
    page = shop.page("/shop")
    for words in ("waits for a reading", "Fuse drop", "62 %", "renew main fuse", "2 cases"):
        assert words in page


def test_a_person_takes_over_answers_and_hands_back() -> None:
    shop = Shop()
    number_id = shop.customer("hello")
    assert shop.act(number_id, "take").status_code == 303
    assert shop.store.thread(number_id).thread.held_by == "Ada"
    assert "Ada answers" in shop.page("/shop")
    assert shop.act(number_id, "say", text="Ring me – please.").status_code == 303
    (sending,) = shop.store.take_sendings("d", now=LATER, until=LATER, count=5)
    assert sending.body == "Ring me - please."
    assert shop.act(number_id, "back").status_code == 303
    assert shop.store.thread(number_id).thread.held_by == ""


def test_writing_takes_over() -> None:
    shop = Shop()
    number_id = shop.customer("hello")
    shop.act(number_id, "say", text="Hello from the shop.")
    assert shop.store.thread(number_id).thread.held_by == "Ada"


@pytest.mark.parametrize(
    ("action", "fields", "status"),
    [
        ("say", {"text": " "}, 422),
        ("say", {"text": "word " * 600}, 422),
        ("take", {"person": " "}, 422),
        ("burn", {}, 404),
        ("take", {"form_key": ""}, 403),
        ("say", {"form_key": "0" * 64, "text": "x"}, 403),
        ("back", {"form_key": "Ж"}, 403),
    ],
)
def test_a_form_that_cannot_be_used_changes_nothing(
    action: str, fields: dict[str, str], status: int
) -> None:
    shop = Shop()
    number_id = shop.customer("hello")
    assert shop.act(number_id, action, **fields).status_code == status
    assert shop.store.thread(number_id).thread.held_by == ""
    assert shop.store.take_sendings("d", now=LATER, until=LATER, count=5) == ()


@pytest.mark.parametrize("number_id", ["x", "0" * 64, "..x", "%00"])
def test_an_unknown_conversation_is_said(number_id: str) -> None:
    shop = Shop()
    for path in (f"/shop/threads/{number_id}", f"/shop/threads/{number_id}/live"):
        assert shop.browser.get(path).status_code == 404


def test_nothing_can_be_written_to_who_opted_out() -> None:
    shop = Shop()

    def leave(thread: Any, *_: Any, **__: Any) -> Outcome:
        return Outcome(thread=replace(thread, opted_out=True))

    number_id = shop.customer("hello")
    key = shop.form_key(f"/shop/threads/{number_id}")
    shop.counter.worker.answer = leave
    shop.customer("STOP")
    assert "wants no more messages" in shop.page(f"/shop/threads/{number_id}")
    answer = shop.browser.post(
        f"/shop/threads/{number_id}/say", data={"form_key": key, "person": "Ada", "text": "x"}
    )
    assert answer.status_code == 422


def test_a_message_that_was_given_up_can_be_tried_again() -> None:
    shop = Shop()
    number_id = shop.customer("hello")
    shop.act(number_id, "say", text="Ring me.")
    (sending,) = shop.store.take_sendings("d", now=LATER, until=LATER, count=5)
    shop.store.mark_failed(sending.sending_id, why="refused (30005)", retry_at=None, now=LATER)
    assert "1 message could not" in shop.page("/shop")
    page = shop.page("/shop/dead")
    for words in ("***42", "Ring me.", "refused (30005)"):
        assert words in page
    key = shop.form_key("/shop/dead")
    path = f"/shop/dead/{sending.sending_id}/retry"
    assert shop.browser.post(path, data={"form_key": "x"}).status_code == 403
    assert shop.browser.post(path, data={"form_key": key}).status_code == 303
    assert shop.store.dead() == ()
    assert shop.browser.post(path, data={"form_key": key}).status_code == 404


def test_the_list_is_live() -> None:
    shop = Shop()
    shop.customer("hello")
    stops = iter([False] * 2 + [True] * 50)
    shop.counter.desk.stopping = lambda: next(stops)
    answer = shop.browser.get("/shop/live")
    assert answer.headers["content-type"].startswith("text/event-stream")
    assert answer.text.count("event: part") == 1
    assert "***42" in answer.text


def test_style_and_script_are_served() -> None:
    shop = Shop(enter=False)
    types: Sequence[str] = [
        shop.browser.get(path).headers["content-type"].split(";")[0]
        for path in ("/shop/style.css", "/shop/live.js")
    ]
    assert types == ["text/css", "text/javascript"]
