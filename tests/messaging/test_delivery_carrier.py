"""The carrier's REST client against a carrier on loopback: what is sent, found and mapped."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from assistant.benchmarks.loopback_carrier import ACCOUNT, SENDER, TOKEN, LoopbackCarrier
from assistant.messaging.carrier_twilio import TwilioCarrier
from assistant.messaging.clock import now, shifted
from assistant.messaging.faults import CarrierBusyError, CarrierRefusedError

if TYPE_CHECKING:
    from collections.abc import Iterator

NUMBER = "+12125550142"


@pytest.fixture
def loopback() -> Iterator[LoopbackCarrier]:
    with LoopbackCarrier() as carrier:
        yield carrier


def client(loopback: LoopbackCarrier, token: str = TOKEN) -> TwilioCarrier:
    return TwilioCarrier(
        account=ACCOUNT,
        token=token,
        sender=SENDER,
        report_url="https://texts.example.com/sms/report",
        api_url=loopback.api_url,
    )


def test_a_message_is_sent_and_found_again(loopback: LoopbackCarrier) -> None:
    carrier = client(loopback)
    carrier_id = carrier.send(NUMBER, "Check fuse & ground < 0.1 Ω")
    assert loopback.bodies(NUMBER) == ["Check fuse & ground < 0.1 Ω"]
    assert carrier.find(NUMBER, "Check fuse & ground < 0.1 Ω", now()) == carrier_id
    assert carrier.find(NUMBER, "something else", now()) is None
    assert carrier.find("+13035550117", "Check fuse & ground < 0.1 Ω", now()) is None


def test_a_message_of_long_ago_is_another_one(loopback: LoopbackCarrier) -> None:
    carrier = client(loopback)
    carrier.send(NUMBER, "hello")
    assert carrier.find(NUMBER, "hello", shifted(now(), 3600)) is None


@pytest.mark.parametrize("status", [429, 500, 503])
def test_a_busy_carrier_may_be_tried_again(loopback: LoopbackCarrier, status: int) -> None:
    loopback.refuse = lambda: status
    with pytest.raises(CarrierBusyError):
        client(loopback).send(NUMBER, "hello")


@pytest.mark.parametrize("status", [400, 403])
def test_a_refusal_names_the_carriers_error_and_no_number(
    loopback: LoopbackCarrier, status: int
) -> None:
    loopback.refuse = lambda: status
    with pytest.raises(CarrierRefusedError, match="21610") as caught:
        client(loopback).send(NUMBER, "hello")
    assert "5550142" not in str(caught.value)


def test_a_wrong_token_is_a_refusal(loopback: LoopbackCarrier) -> None:
    with pytest.raises(CarrierRefusedError):
        client(loopback, "wrong").send(NUMBER, "hello")


def test_nobody_there_is_busy() -> None:
    with LoopbackCarrier() as loopback:
        carrier = client(loopback)
    with pytest.raises(CarrierBusyError):
        carrier.send(NUMBER, "hello")
    with pytest.raises(CarrierBusyError):
        carrier.find(NUMBER, "hello", now())
