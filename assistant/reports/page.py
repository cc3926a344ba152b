"""The template environment: everything that is not markup of our own is escaped and cleaned."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Final

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

__all__ = ["clean", "environment"]

_UNPRINTABLE: Final = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff\ufdd0-\ufdef\ufffe\uffff]"
)


def clean(text: str) -> str:
    """Replace what a page must not hold: control characters, lone surrogates, text-order overrides.

    Such characters are no words, and they could hide or turn round what a reader sees.
    """
    return _UNPRINTABLE.sub("\ufffd", text.replace("\r\n", "\n").replace("\r", "\n"))


def _finalize(value: object) -> object:
    if isinstance(value, str) and not isinstance(value, Markup):
        return clean(value)
    return value


@lru_cache(maxsize=1)
def environment() -> Environment:
    """Give the one environment; a name that a template does not know is an error."""
    return Environment(
        loader=PackageLoader("assistant.reports"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_finalize,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=False,
    )
