"""The template environment of the web screens: escaped, cleaned, strict about names."""

from __future__ import annotations

from datetime import datetime
from functools import lru_cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from starlette.responses import HTMLResponse, Response

from assistant.reports.page import clean

__all__ = ["asset", "page", "rendered"]


def _finalize(value: object) -> object:
    if isinstance(value, str) and not isinstance(value, Markup):
        return clean(value)
    return value


def _clock_time(at: str) -> str:
    """Write a stored time as people read it, in UTC."""
    try:
        return f"{datetime.fromisoformat(at):%d %b %H:%M}"
    except ValueError:
        return at


@lru_cache(maxsize=1)
def _environment() -> Environment:
    made = Environment(
        loader=PackageLoader("assistant.shopfront"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_finalize,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["clock_time"] = _clock_time
    return made


def rendered(template: str, **values: Any) -> str:
    """Fill a template."""
    return _environment().get_template(template).render(**values)


def page(template: str, *, status: int = 200, **values: Any) -> Response:
    """Give a filled template as a page."""
    return HTMLResponse(rendered(template, **values), status_code=status)


@lru_cache(maxsize=8)
def asset(name: str) -> str:
    """Give a style sheet or script of the package as it stands."""
    loader = _environment().loader
    if loader is None:  # it was made with one
        return ""
    return loader.get_source(_environment(), name)[0]
