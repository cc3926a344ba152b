"""The webhook over HTTP: what is taken, what is refused, and what a duplicate gets."""

from __future__ import annotations

import asyncio
import logging
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from text_kit import (
    NUMBER,
    BrokenStore,
    Counter,
    encoded,
    memory_store,
    messages_in,
    new_id,
    signature,
    text_form,
)

from assistant.messaging.numbers import Numbers
from assistant.messaging.records import Outcome
from assistant.messaging.webhook import REPORT_PATH, TEXT_PATH

if TYPE_CHECKING:
    from assistant.messaging.records import Thread

NOW = "2031-03-01T09:00:00.000+00:00"
FORM = {"Content-Type": "application/x-www-form-urlencoded"}


@pytest.fixture
def counter() -> Counter:
    return Counter(memory_store())


def lines_of(counter: Counter) -> list[tuple[str, str]]:
    views = counter.store.threads()
    return [
        (line.by, line.text)
        for view in views
        for line in counter.store.thread(view.thread.number_id).lines
    ]


def test_a_signed_text_is_answered_inline(counter: Counter) -> None:
    answer = counter.post(text_form("12.6 key on"))
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("application/xml")
    assert messages_in(answer.text) == ["You said: 12.6 key on"]
    assert lines_of(counter) == [
        ("customer", "12.6 key on"),
        ("program", "You said: 12.6 key on"),
    ]


def test_what_went_out_inline_is_never_taken_by_a_delivery(counter: Counter) -> None:
    counter.post(text_form("hello"))
    later = "2099-01-01T00:00:00.000+00:00"
    assert counter.store.take_sendings("d", now=later, until=later, count=9) == ()


@pytest.mark.parametrize("sign", ["", "bm90IHRoaXM=", signature(text_form("x"), token="other")])  # noqa: S106
def test_without_a_right_signature_nothing_is_stored(counter: Counter, sign: str) -> None:
    answer = counter.post(text_form("x"), sign=sign)
    assert answer.status_code == 403
    assert counter.store.threads() == ()
    assert counter.store.waiting() == 0


def test_a_missing_signature_header_is_refused(counter: Counter) -> None:
    answer = counter.client.post(TEXT_PATH, content=encoded(text_form("x")), headers=FORM)
    assert answer.status_code == 403


def test_the_host_header_is_not_what_is_signed(counter: Counter) -> None:
    form = text_form("x")
    wrong = signature(form, at="http://testserver")
    assert counter.post(form, sign=wrong).status_code == 403
    answer = counter.client.post(
        TEXT_PATH,
        content=encoded(form),
        headers={**FORM, "Host": "evil.example", "X-Twilio-Signature": signature(form)},
    )
    assert answer.status_code == 200


def test_a_query_is_signed_too(counter: Counter) -> None:
    form = text_form("x")
    path = f"{TEXT_PATH}?shop=1"
    assert counter.post(form, path=path).status_code == 200
    assert counter.post(form, path=path, sign=signature(form)).status_code == 403


def test_a_duplicate_gets_the_stored_reply(counter: Counter) -> None:
    form = text_form("12.6")
    first = counter.post(form)
    counter.worker.answer = None  # nothing may be worked out anew
    assert counter.post(form).text == first.text
    assert len(lines_of(counter)) == 2


def test_a_duplicate_of_what_the_delivery_has_gets_nothing(counter: Counter) -> None:
    counter.answering = False
    counter.desk.patience = 0.0
    form = text_form("12.6")
    assert messages_in(counter.post(form).text) == []
    counter.answering = True
    counter.work()
    later = "2099-01-01T00:00:00.000+00:00"
    taken = counter.store.take_sendings("d", now=later, until=later, count=9)
    assert [each.body for each in taken] == ["You said: 12.6"]
    assert messages_in(counter.post(form).text) == []


def test_patience_ends_with_an_empty_answer(counter: Counter) -> None:
    counter.answering = False
    counter.desk.patience = 0.05
    answer = counter.post(text_form("x"))
    assert (answer.status_code, messages_in(answer.text)) == (200, [])
    assert counter.store.waiting() == 1


def test_nobody_waits_for_what_will_surely_take_longer(counter: Counter) -> None:
    counter.answering = False
    counter.desk.patience = 60.0
    counter.desk.outlook.took(1000.0)
    for number in range(3):
        answer = counter.post(text_form(f"t{number}"))
        assert (answer.status_code, messages_in(answer.text)) == (200, [])
    assert counter.store.waiting() == len(counter.desk.outlook) == 3
    counter.desk.outlook.at_most(0)
    for _ in range(40):
        counter.desk.outlook.took(0.1)
    counter.answering = True
    assert messages_in(counter.post(text_form("t")).text) == ["You said: t"]
    assert counter.store.waiting() == 0


def test_an_answer_that_comes_while_waiting_goes_out_inline() -> None:
    counter = Counter(memory_store(), answering=False)
    form = text_form("late")

    async def later() -> None:
        await asyncio.sleep(0.1)
        counter.answering = True
        counter.work()
        counter.desk.answered(dict(form)["MessageSid"], Numbers(b"k" * 32).look_up(NUMBER))

    counter.desk.wake_workers = lambda: kept.append(asyncio.ensure_future(later()))
    kept: list[Any] = []
    assert messages_in(counter.post(form).text) == ["You said: late"]


def test_blank_and_unknown_fields_are_kept_for_the_signature(counter: Counter) -> None:
    answer = counter.post([*text_form("x"), ("Blank", ""), ("Again", "1"), ("Again", "2")])
    assert answer.status_code == 200


@pytest.mark.parametrize(
    ("content_type", "body", "status"),
    [
        ("application/json", b"{}", 415),
        ("text/plain", b"a=1", 415),
        ("multipart/form-data; boundary=x", b"--x--", 415),
        ("", b"a=1", 415),
        ("application/x-www-form-urlencoded", b"a=%zz", 400),
        ("application/x-www-form-urlencoded", b"\xff\xfe", 400),
        ("application/x-www-form-urlencoded", b"a=" + b"x" * 70_000, 413),
        ("application/x-www-form-urlencoded", b"", 403),
    ],
)
def test_what_is_no_signed_form_is_refused(
    counter: Counter, content_type: str, body: bytes, status: int
) -> None:
    for path in (TEXT_PATH, REPORT_PATH):
        answer = counter.client.post(path, content=body, headers={"Content-Type": content_type})
        assert answer.status_code == status
    assert counter.store.threads() == ()


@pytest.mark.parametrize("message_id", ["", "a b", "x" * 65, "../x", "ä"])
def test_a_message_without_a_usable_id_is_refused(counter: Counter, message_id: str) -> None:
    form = [("MessageSid", message_id), ("From", NUMBER), ("Body", "x")]
    assert counter.post(form).status_code == 400


@pytest.mark.parametrize("sender", ["72345", "BANK", "", "whatsapp:+12125550142", "+1"])
def test_a_sender_without_a_telephone_number_gets_nothing(counter: Counter, sender: str) -> None:
    answer = counter.post(text_form("x", number=sender))
    assert (answer.status_code, messages_in(answer.text)) == (200, [])
    assert counter.store.threads() == ()


def test_pictures_and_places_are_counted(counter: Counter) -> None:
    seen = []

    def look(thread: Thread, message: Any, **_: Any) -> Outcome:
        seen.append((message.media, message.place, message.text))
        return Outcome(thread=thread)

    counter.worker.answer = look
    counter.post([*text_form("a\x00b\x1bc")[:3], ("NumMedia", "2"), ("Latitude", "1.5"),
                  ("Longitude", "2")])  # fmt: skip
    counter.post([*text_form("x")[:3], ("NumMedia", "many"), ("Latitude", "1.5")])
    assert seen == [(2, True, "abc"), (0, False, "x")]


def test_a_number_over_its_limit_is_told_once_and_then_nothing() -> None:
    counter = Counter(memory_store(), per_number=2)
    texts = [messages_in(counter.post(text_form(f"t{n}")).text) for n in range(5)]
    assert texts[0] == ["You said: t0"]
    assert texts[1] == ["You said: t1"]
    assert len(texts[2]) == 1
    assert "wait a minute" in texts[2][0]
    assert texts[3:] == [[], []]
    assert [text for by, text in lines_of(counter) if by == "customer"] == ["t0", "t1"]
    other = counter.post(text_form("t", number="+13035550117"))
    assert messages_in(other.text) == ["You said: t"]


def test_a_duplicate_over_the_limit_gets_the_stored_reply() -> None:
    for limits in ({"per_number": 1}, {"for_all": 1}):
        counter = Counter(memory_store(), **limits)
        form = text_form("12.6")
        first = counter.post(form)
        for _ in range(3):
            again = counter.post(form)
            assert (again.status_code, again.text) == (200, first.text)
        assert len(lines_of(counter)) == 2


def test_an_opt_out_is_taken_over_the_limit_and_nothing_is_said_after() -> None:
    counter = Counter(memory_store(), per_number=1)

    def leave(thread: Thread, message: Any, **_: Any) -> Outcome:
        from dataclasses import replace

        gone = thread.opted_out or message.text == "STOP"
        return Outcome(thread=replace(thread, opted_out=gone))

    counter.worker.answer = leave
    counter.post(text_form("one"))
    counter.post(text_form("STOP"))
    assert ("customer", "STOP") in lines_of(counter)
    assert messages_in(counter.post(text_form("two")).text) == []


def test_too_much_from_all_numbers_is_put_off() -> None:
    counter = Counter(memory_store(), for_all=1)
    assert counter.post(text_form("a")).status_code == 200
    answer = counter.post(text_form("b", number="+13035550117"))
    assert answer.status_code == 429
    assert int(answer.headers["retry-after"]) > 0
    assert len(counter.store.threads()) == 1


def test_a_database_that_is_away_is_said_and_not_logged_in_words(
    caplog: pytest.LogCaptureFixture,
) -> None:
    counter = Counter(memory_store())
    counter.desk.store = BrokenStore()  # type: ignore[assignment]
    with caplog.at_level(logging.DEBUG):
        answer = counter.post(text_form("secret words"))
    assert answer.status_code == 503
    assert "retry-after" in answer.headers
    assert "5550142" not in caplog.text + answer.text
    assert "secret" not in caplog.text + answer.text


def test_a_delivery_report_is_kept(counter: Counter) -> None:
    counter.answering, counter.desk.patience = False, 0.0
    counter.post(text_form("x"))
    counter.answering = True
    counter.work()
    later = "2099-01-01T00:00:00.000+00:00"
    (sending,) = counter.store.take_sendings("d", now=later, until=later, count=1)
    counter.store.mark_sent(sending.sending_id, carrier_id="SM1", now=NOW)
    report = [("MessageSid", "SM1"), ("MessageStatus", "undelivered"), ("ErrorCode", "30005")]
    assert counter.post(report, path=REPORT_PATH).status_code == 204
    number_id = counter.store.threads()[0].thread.number_id
    assert counter.store.thread(number_id).lines[-1].delivery == "undelivered"
    assert counter.post(report, path=REPORT_PATH, sign="no").status_code == 403
    unknown = [("MessageSid", new_id()), ("MessageStatus", "sent")]
    assert counter.post(unknown, path=REPORT_PATH).status_code == 204
    assert counter.post([("MessageStatus", "sent")], path=REPORT_PATH).status_code == 400


COUNTER = Counter(memory_store(), per_number=10_000, for_all=1_000_000)


@settings(max_examples=150, suppress_health_check=[HealthCheck.too_slow], deadline=None)
@given(st.text(max_size=400))
def test_any_text_is_answered_in_well_formed_markup(text: str) -> None:
    clean = text.encode("utf-8", "replace").decode()
    answer = COUNTER.post(text_form(clean))
    assert answer.status_code == 200
    assert len(messages_in(answer.text)) == 1
