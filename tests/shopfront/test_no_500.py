"""schemathesis over the whole service: whatever it sends, nothing ends in a 500."""

from __future__ import annotations

from collections import defaultdict
from typing import Any
from urllib.parse import urlencode

import httpx
import schemathesis
from hypothesis import HealthCheck, Phase, settings
from schemathesis.checks import not_a_server_error
from text_kit import NUMBER, PUBLIC, TOKEN, Counter, memory_store, signature, text_form

from assistant.messaging import webhook
from assistant.messaging.practice_phone import PracticeCarrier, PracticePhones
from assistant.messaging.quiet import Quiet
from assistant.messaging.signature import SIGNATURE_HEADER, Seal, read_form
from assistant.shopfront.guard import Guard
from assistant.shopfront.practice_page import KEY_HEADER, practice_router
from assistant.shopfront.routes import shop_router

REACHED: defaultdict[tuple[str, str], set[int]] = defaultdict(set)
SECRET, KEY = "the shop's own long token", "the key of this run"


def whole_service() -> Any:
    """The webhook, the shop's screen and the practice page over one memory store."""
    counter = Counter(memory_store(), per_number=100_000, for_all=1_000_000)
    guard = Guard(token=SECRET, local_only=False)
    counter.app.include_router(shop_router(counter.desk, guard, shop_name="Harbour Street Audio"))
    phones = PracticePhones(
        carrier=PracticeCarrier(),
        seal=Seal(token=TOKEN, public_url=PUBLIC),
        client=httpx.AsyncClient(transport=httpx.ASGITransport(app=counter.app)),
    )
    counter.app.include_router(practice_router(phones, secret=KEY, stopping=lambda: True))
    counter.app.add_middleware(Quiet)
    counter.post(text_form("hello", number=NUMBER))

    async def from_here(scope: Any, receive: Any, send: Any) -> None:
        await counter.app({**scope, "client": ("127.0.0.1", 4)}, receive, send)

    return from_here


webhook._REPORT_PAUSE = 0.0
APP = whole_service()
schema = schemathesis.openapi.from_asgi("/openapi.json", APP)


def _cookie() -> str:
    answer = Guard(token=SECRET, local_only=False).enter(SECRET)
    return answer.headers["set-cookie"].partition(";")[0]


@schema.parametrize()
@settings(
    max_examples=25,
    deadline=None,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=list(HealthCheck),
)
def test_nothing_ends_in_a_500(case: Any) -> None:
    """Each request is sent as it is, and again as the carrier or the shop would send it."""
    case.call_and_validate(checks=[not_a_server_error])
    headers = {"Cookie": _cookie(), KEY_HEADER: KEY, "Host": "127.0.0.1"}
    if isinstance(case.body, dict) and "form_key" in case.body:
        case.body["form_key"] = Guard(token=SECRET, local_only=False).form_key
    body = case.as_transport_kwargs().get("data")
    if case.path.startswith("/sms") and isinstance(body, dict):
        pairs = read_form(urlencode(body, doseq=True).encode()).multi_items()
        headers[SIGNATURE_HEADER] = signature(pairs, path=case.path)
    answer = case.call_and_validate(checks=[not_a_server_error], headers=headers)
    REACHED[case.method, case.path].add(answer.status_code)


def test_requests_came_through_to_the_pages_and_the_store() -> None:
    assert 200 in REACHED["POST", "/sms"]
    assert 204 in REACHED["POST", "/sms/report"]
    assert 200 in REACHED["GET", "/shop"]
    assert 200 in REACHED["GET", "/practice"]
    assert REACHED["POST", "/shop/threads/{number_id}/{action}"] & {303, 404}
