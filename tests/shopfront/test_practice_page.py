"""The practice page and its telephones: the very same signed webhook, on this machine only."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Any

import html5lib
import httpx
import pytest
from fastapi.testclient import TestClient
from text_kit import NUMBER, PUBLIC, TOKEN, Counter, memory_store

from assistant.messaging.practice_phone import FICTION_NUMBERS, PracticeCarrier, PracticePhones
from assistant.messaging.practice_state import forget_state, read_state, write_state
from assistant.messaging.signature import Seal
from assistant.shopfront.practice_page import KEY_HEADER, practice_router

if TYPE_CHECKING:
    from pathlib import Path

KEY = "the key of this run"


class Telephone:
    """A service with the practice page; its texts go through the app itself."""

    def __init__(self, token: str = TOKEN, **browser: Any) -> None:
        self.counter = Counter(memory_store())
        self.carrier = PracticeCarrier()
        transport = httpx.ASGITransport(app=self.counter.app)
        self.phones = PracticePhones(
            carrier=self.carrier,
            seal=Seal(token=token, public_url=PUBLIC),
            client=httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1"),
        )
        self.counter.app.include_router(
            practice_router(self.phones, secret=KEY, stopping=lambda: False)
        )
        given = {"base_url": "http://127.0.0.1:8321", "client": ("127.0.0.1", 4), **browser}
        self.browser = TestClient(self.counter.app, **given)

    def post(self, path: str, key: str = KEY, **fields: Any) -> Any:
        return self.browser.post(f"/practice/{path}", json=fields, headers={KEY_HEADER: key})


async def written(telephone: Telephone, *texts: str) -> None:
    for text in texts:
        telephone.phones.write(NUMBER, text)
    async with asyncio.timeout(20):
        while telephone.phones.pending(NUMBER):  # noqa: ASYNC110
            await asyncio.sleep(0.01)


def test_a_text_goes_through_the_signed_webhook_and_its_answer_comes_back() -> None:
    telephone = Telephone()
    asyncio.run(written(telephone, "12.6 <key> & on", "8 Ω\nrunning"))
    assert [(line.mine, line.text) for line in telephone.carrier.lines(NUMBER)] == [
        (True, "12.6 <key> & on"),
        (True, "8 Ω\nrunning"),
        (False, "You said: 12.6 <key> & on"),
        (False, "You said: 8 Ω\nrunning"),
    ]


def test_with_another_token_nothing_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("assistant.messaging.practice_phone._TRIES", 1)
    telephone = Telephone(token="another")  # noqa: S106
    asyncio.run(written(telephone, "12.6"))
    assert telephone.counter.store.threads() == ()
    assert len(telephone.carrier.lines(NUMBER)) == 1


def test_the_page_carries_the_key_and_numbers_of_fiction() -> None:
    page = Telephone().browser.get("/practice")
    html5lib.HTMLParser(strict=True).parse(page.text)
    assert KEY in page.text
    for number in FICTION_NUMBERS:
        assert number in page.text
        assert number[-7:-2] == "55501"  # kept for fiction: 555-0100 to 555-0199


def test_a_text_of_the_page_and_its_lines() -> None:
    telephone = Telephone()
    assert telephone.post("texts", number="(212) 555-0142", text="x").status_code == 422
    assert telephone.post("texts", number=NUMBER, text=" ").status_code == 422
    assert telephone.post("texts", number=NUMBER, text="x" * 5000).status_code == 422
    telephone.carrier.send(NUMBER, "Hello.")
    found = telephone.post("lines", number="+1 212 555 0142").json()
    assert [line["text"] for line in found["lines"]] == ["Hello."]
    assert found["pending"] == 0


@pytest.mark.parametrize("key", ["", "wrong"])
def test_without_the_key_nothing_is_sent_or_shown(key: str) -> None:
    telephone = Telephone()
    assert telephone.post("texts", key, number=NUMBER, text="x").status_code == 403
    assert telephone.post("lines", key, number=NUMBER).status_code == 403


@pytest.mark.parametrize(
    "browser",
    [
        {"client": ("10.0.0.9", 1)},
        {"headers": {"Host": "evil.example"}},
        {"headers": {"X-Forwarded-For": "10.0.0.9"}},
    ],
)
def test_from_elsewhere_the_page_is_shut(browser: dict[str, Any]) -> None:
    telephone = Telephone(**browser)
    for path in ("/practice", "/practice/live"):
        answer = telephone.browser.get(path)
        assert answer.status_code == 403
        assert KEY not in answer.text
    assert telephone.post("texts", number=NUMBER, text="x").status_code == 403


def test_a_message_that_was_taken_is_found_by_its_time() -> None:
    carrier = PracticeCarrier(now=lambda: "2031-03-01T09:00:00.000+00:00")
    carrier_id = carrier.send(NUMBER, "Hello.")
    assert carrier.find(NUMBER, "Hello.", "2031-03-01T08:59:00.000+00:00") == carrier_id
    assert carrier.find(NUMBER, "Hello.", "2031-03-01T09:01:00.000+00:00") is None
    assert carrier.find(NUMBER, "Bye.", "2031-03-01T08:59:00.000+00:00") is None


def test_where_the_service_is_is_kept_for_this_user_only(tmp_path: Path) -> None:
    from assistant.errors import GivenError

    with pytest.raises(GivenError, match="serve --practice"):
        read_state(tmp_path)
    write_state(tmp_path, url="http://127.0.0.1:1", secret="s")  # noqa: S106
    write_state(tmp_path, url="http://127.0.0.1:2", secret="t")  # noqa: S106
    assert read_state(tmp_path) == ("http://127.0.0.1:2", "t")
    assert (tmp_path / "practice.json").stat().st_mode & 0o077 == 0
    (tmp_path / "practice.json").write_text("[]", encoding="utf-8")
    with pytest.raises(GivenError):
        read_state(tmp_path)
    forget_state(tmp_path)
    forget_state(tmp_path)
