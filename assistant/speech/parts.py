"""Optional parts, imported when first used, so that the core works without them."""

from __future__ import annotations

from importlib import import_module
from typing import Any

from assistant.errors import GivenError

__all__ = ["MissingPartError", "need", "want"]

_VOICE = "'probetell[voice]'"


class MissingPartError(GivenError):
    """A library that this needs is not installed, or it does not load on this machine."""


def need(module: str, package: str | None = None) -> Any:
    """Import ``module``; raise ``MissingPartError`` that says what to install.

    ``package`` is what holds it, as PyPI names it; without one it comes with the extra ``voice``.
    """
    try:
        return import_module(module)
    except (ImportError, OSError) as error:
        raise MissingPartError(
            f"The part {package or module!r} cannot be loaded: {error}.",
            next_step=f"Install it: pip install {package or _VOICE}.",
        ) from error


def want(module: str) -> Any | None:
    """Import ``module``, or give None where it cannot be loaded."""
    try:
        return need(module)
    except MissingPartError:
        return None
