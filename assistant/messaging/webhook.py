"""The webhook: signed posts of the carrier, for texts that come in and for delivery reports.

Every post is checked against the token before anything of it is looked at. A text is in the store
before it is answered. An answer that a worker has ready in time goes out in the webhook's own
answer; otherwise that stays empty, and the delivery sends it.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from fastapi import APIRouter, Request, Response

from assistant.errors import GivenError, MisuseError
from assistant.messaging.mishap import place_of
from assistant.messaging.numbers import normalise
from assistant.messaging.records import IncomingText
from assistant.messaging.reserved import reserved
from assistant.messaging.signature import (
    FORM_TYPE,
    LONGEST_BODY,
    SIGNATURE_HEADER,
    Form,
    form_schema,
    read_form,
)
from assistant.messaging.twiml import MEDIA_TYPE, printable, twiml

if TYPE_CHECKING:
    from assistant.messaging.desk import Desk
    from assistant.messaging.limits import Intake, Measure
    from assistant.messaging.signature import Seal

__all__ = ["REPORT_PATH", "TEXT_PATH", "Door", "webhook_router"]

TEXT_PATH: Final = "/sms"
REPORT_PATH: Final = "/sms/report"
_LOG: Final = logging.getLogger("probetell.webhook")
_ID: Final = re.compile(r"[A-Za-z0-9_-]{1,64}")
_NUMBER: Final = re.compile(r"\+[1-9][0-9]{7,14}")
_WORD: Final = re.compile(r"[A-Za-z0-9_-]{0,40}")
_TOO_MANY: Final = (
    "Too many texts at once, so this one was not read. Please wait a minute, then text again."
)
_REPORT_PAUSE: Final = 0.5
_RETRY_AFTER: Final = {"Retry-After": "20"}


class _RefusedError(Exception):
    """A post that is not taken; ``status`` is the HTTP status to answer with."""

    def __init__(self, status: int, why: str) -> None:
        super().__init__(why)
        self.status = status
        self.why = why


@dataclass(frozen=True, slots=True, kw_only=True)
class Door:
    """What the webhook needs: the desk, the seal of the account, and the limits."""

    desk: Desk
    seal: Seal
    intake: Intake


async def _body(request: Request) -> bytes:
    """Read the body, of one that is too long no more than shows it."""
    body = b""
    async for part in request.stream():
        body += part
        if len(body) > LONGEST_BODY:
            raise _RefusedError(413, "The body is too long.")
    return body


async def _signed_form(request: Request, seal: Seal) -> Form:
    """Give the form of a post that the carrier has signed; raise ``_RefusedError`` otherwise."""
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != FORM_TYPE:
        raise _RefusedError(415, f"Send {FORM_TYPE}.")
    try:
        form = read_form(await _body(request))
    except GivenError as error:
        raise _RefusedError(400, error.message) from error
    query = request.scope.get("query_string", b"").decode("latin-1")
    signature = request.headers.get(SIGNATURE_HEADER, "")
    if not seal.holds(path=request.url.path, query=query, form=form, signature=signature):
        _LOG.warning("a post without a right signature was refused")
        raise _RefusedError(403, "The signature is missing or wrong.")
    return form


def _count(text: str) -> int:
    return min(int(text), 1000) if text.isascii() and text.isdecimal() else 0


def _sender(text: str) -> str | None:
    """Give the sender's number; None for short codes and names, which cannot be answered.

    Numbers newer than the tables of the library are taken too: the carrier knows its own.
    """
    if not _NUMBER.fullmatch(text):
        return None
    with contextlib.suppress(GivenError):
        return normalise(text)
    return text


def _incoming(form: Form, received: str) -> IncomingText | None:
    """Read a text message; None when its sender is nobody who could be answered."""
    message_id = next(filter(None, map(form.first, ("MessageSid", "SmsMessageSid", "SmsSid"))), "")
    if not _ID.fullmatch(message_id):
        raise _RefusedError(400, "The message has no usable id.")
    number = _sender(form.first("From"))
    return (
        None
        if number is None
        else IncomingText(
            message_id=message_id,
            number=number,
            text=printable(form.first("Body")),
            received=received,
            media=_count(form.first("NumMedia")),
            place=bool(form.first("Latitude") and form.first("Longitude")),
        )
    )


def _markup(*bodies: str) -> Response:
    return Response(twiml(bodies), media_type=MEDIA_TYPE)


async def _take_text(door: Door, request: Request) -> Response:
    form = await _signed_form(request, door.seal)
    message = _incoming(form, door.desk.now())
    if message is None:
        _LOG.info("a text came from a sender that has no telephone number")
        return _markup()
    if reserved(message.text) != "leave":  # an opt-out is taken however many texts came
        measure = door.intake.measure(message.number)
        if measure != "take":
            return await _too_many(door, message, measure)
    desk = door.desk
    acceptance = await desk.call(desk.store.accept, message)
    if not acceptance.answered:
        desk.outlook.came(message.message_id)
        desk.wake_workers()
    if acceptance.fresh and not desk.worth_waiting:
        return _markup()
    found = await desk.answer_of(message.message_id, gone=request.is_disconnected)
    return _markup(*(() if found is None else found.inline))


async def _too_many(door: Door, message: IncomingText, measure: Measure) -> Response:
    """Answer a text over a limit; one that was taken before still gets its stored reply."""
    desk = door.desk
    with contextlib.suppress(MisuseError):
        return _markup(*(await desk.call(desk.store.answer_inline, message.message_id)).inline)
    if measure == "later":
        raise _RefusedError(429, "Too many texts from all numbers together.")
    _LOG.info("a number sends more texts than its limit")
    if measure == "silent" or await desk.call(desk.opted_out, message.number):
        return _markup()
    return _markup(_TOO_MANY)


async def _take_report(door: Door, request: Request) -> Response:
    form = await _signed_form(request, door.seal)
    carrier_id = form.first("MessageSid") or form.first("SmsSid")
    status, code = form.first("MessageStatus") or form.first("SmsStatus"), form.first("ErrorCode")
    if not _ID.fullmatch(carrier_id) or not _WORD.fullmatch(status) or not _WORD.fullmatch(code):
        raise _RefusedError(400, "The report names no message.")
    desk = door.desk
    for pause in (_REPORT_PAUSE, 0.0):
        known = await desk.call(
            desk.store.note_delivery, carrier_id, status=status, error=code, now=desk.now()
        )
        if known or not pause:
            break
        await asyncio.sleep(pause)  # the report may be faster than our note of the message
    return Response(status_code=204)


def webhook_router(door: Door) -> APIRouter:
    """Give the routes of the webhook."""
    router = APIRouter(tags=["carrier"])
    answers: dict[int | str, dict[str, Any]] = {
        code: {"description": "refused; nothing is kept"} for code in (400, 403, 413, 415, 429, 503)
    }

    async def guarded(take: Any, request: Request) -> Response:
        try:
            response: Response = await take(door, request)
        except _RefusedError as error:
            headers = _RETRY_AFTER if error.status == 429 else None
            return Response(error.why, error.status, headers, media_type="text/plain")
        except Exception as error:  # noqa: BLE001 - the carrier comes again later
            _LOG.error("a post could not be taken: %s", place_of(error))
            return Response("Not now.", 503, _RETRY_AFTER, media_type="text/plain")
        return response

    @router.post(
        TEXT_PATH,
        responses={**answers, 200: {"content": {MEDIA_TYPE: {}}}},
        openapi_extra=form_schema(
            {"MessageSid": _ID.pattern, "From": _NUMBER.pattern, "Body": ".*"},
            also={"NumMedia": "[0-9]{1,3}", "Latitude": ".*", "Longitude": ".*"},
        ),
    )
    async def text(request: Request) -> Response:
        """Take a text message."""
        return await guarded(_take_text, request)

    @router.post(
        REPORT_PATH,
        status_code=204,
        responses=answers,
        openapi_extra=form_schema(
            {"MessageSid": _ID.pattern, "MessageStatus": _WORD.pattern},
            also={"ErrorCode": _WORD.pattern},
        ),
    )
    async def report(request: Request) -> Response:
        """Take a delivery report."""
        return await guarded(_take_report, request)

    return router
