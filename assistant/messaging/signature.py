"""The signed form that a carrier posts: read whole, then checked by the carrier's own library.

The signature covers the public address that the carrier was given, never the ``Host`` header, and
every field with blank values and repeated names as they came.
"""

from __future__ import annotations

import contextlib
import re
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import parse_qsl

from starlette.datastructures import ImmutableMultiDict
from twilio.request_validator import RequestValidator

from assistant.errors import GivenError

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

__all__ = [
    "FORM_TYPE",
    "LONGEST_BODY",
    "SIGNATURE_HEADER",
    "Form",
    "Seal",
    "form_schema",
    "read_form",
]

SIGNATURE_HEADER: Final = "X-Twilio-Signature"
FORM_TYPE: Final = "application/x-www-form-urlencoded"
LONGEST_BODY: Final = 64 * 1024
"""In bytes. A message of ten segments with its fields is far below."""
_MOST_FIELDS: Final = 400
_BROKEN_ESCAPE: Final = re.compile(r"%(?![0-9A-Fa-f]{2})")


class Form(ImmutableMultiDict[str, str]):
    """The fields of a form in the order they came, repeated names and blank values kept."""

    def __init__(self, fields: Iterable[tuple[str, str]]) -> None:
        super().__init__(list(fields))

    def first(self, name: str) -> str:
        """Give the first value of a field, empty when it is missing."""
        values = self.getlist(name)
        return values[0] if values else ""


def read_form(body: bytes) -> Form:
    """Read a form from the body of a request; raise ``GivenError`` when it is none."""
    text = body.decode("ascii", "replace")
    fields: list[tuple[str, str]] | None = None
    if body.isascii() and not _BROKEN_ESCAPE.search(text):
        with contextlib.suppress(ValueError):
            fields = parse_qsl(
                text,
                keep_blank_values=True,
                encoding="utf-8",
                errors="strict",
                max_num_fields=_MOST_FIELDS,
            )
    if fields is None:
        raise GivenError(
            "The body of the request is not a form in UTF-8.",
            next_step=f"Send it as {FORM_TYPE} with at most {_MOST_FIELDS} fields.",
        )
    return Form(fields)


def form_schema(
    required: Mapping[str, str], *, also: Mapping[str, str] | None = None
) -> dict[str, Any]:
    """Describe a form in the service's own description (OpenAPI): fields with their patterns."""
    fields = {**required, **({} if also is None else also)}
    schema = {
        "type": "object",
        "properties": {n: {"type": "string", "pattern": f"^{p}$"} for n, p in fields.items()},
        "required": list(required),
    }
    return {"requestBody": {"required": True, "content": {FORM_TYPE: {"schema": schema}}}}


class Seal:
    """Checks and makes signatures with the account's token; ``public_url`` is the service's.

    ``public_url`` is what stands before the path, such as ``https://texts.example.com``.
    """

    def __init__(self, *, token: str, public_url: str) -> None:
        if not token:
            raise GivenError(
                "No token of a message provider is set.",
                next_step="Set PROBETELL_SMS_TOKEN, or try without an account: "
                "probetell serve --practice.",
            )
        self._validator = RequestValidator(token)
        self._public_url = public_url.rstrip("/")

    def url(self, path: str, query: str = "") -> str:
        """Give the public address of a path of the service."""
        return f"{self._public_url}{path}{'?' if query else ''}{query}"

    def holds(self, *, path: str, query: str, form: Form, signature: str) -> bool:
        """Say whether ``signature`` was made with the token over this address and form."""
        if not signature.isascii():
            return False
        return bool(self._validator.validate(self.url(path, query), form, signature))

    def sign(self, *, path: str, form: Form, query: str = "") -> str:
        """Make the signature that a carrier would send."""
        return str(self._validator.compute_signature(self.url(path, query), form))
