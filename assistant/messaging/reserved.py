"""The words that carriers and the law keep to themselves on text channels.

Sources: CTIA Messaging Principles (STOP, END, CANCEL, UNSUBSCRIBE, QUIT; HELP, INFO) and
47 CFR 64.1200(a)(10) (stop, quit, end, revoke, opt out, cancel, unsubscribe, and any reasonable
wording).
"""

from __future__ import annotations

import re
from functools import cache
from typing import Annotated, Final, Literal, TypeAlias

from pydantic import BaseModel, ConfigDict, Field

from assistant.messaging.datafile import Pattern, read_data

__all__ = ["Reserved", "ReservedFile", "load_reserved", "reserved"]

Reserved: TypeAlias = Literal["leave", "back", "help"]
"""``leave``: nothing more may be sent. ``back``: messages are wanted again. ``help``: who is
writing, and how to end it."""

_MARKS: Final = re.compile(r"[^\w\s]|_")
_LONGEST: Final = 160


class ReservedFile(BaseModel):
    """The content of ``reserved.yaml``; ``leaving`` are regular expressions for a whole text."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    leave: Annotated[tuple[str, ...], Field(min_length=1)]
    back: Annotated[tuple[str, ...], Field(min_length=1)]
    help: Annotated[tuple[str, ...], Field(min_length=1)]
    around: tuple[str, ...]
    leaving: tuple[Pattern, ...]

    @property
    def words(self) -> frozenset[str]:
        """Every reserved word, in small letters."""
        return frozenset((*self.leave, *self.back, *self.help))


@cache
def load_reserved() -> ReservedFile:
    """Read and validate the package's reserved words; raise ``MisuseError`` if not valid."""
    return read_data("reserved.yaml", ReservedFile)


def _words(text: str) -> str:
    """Give the words of ``text`` in small letters; apostrophes join, other marks part."""
    joined = re.sub(r"['\u2019\u2018`]", "", text.casefold())
    return " ".join(_MARKS.sub(" ", joined).split())


def _bare(said: str, around: tuple[str, ...]) -> str:
    """Leave off the words that may stand around a reserved one."""
    before = ""
    while before != said:
        before = said
        for word in around:
            said = said.removeprefix(f"{word} ").removesuffix(f" {word}")
    return said


def reserved(text: str) -> Reserved | None:
    """Tell which reserved word a text is as a whole, None when it is none."""
    said = _words(text)
    if not said or len(said) > _LONGEST:
        return None
    file = load_reserved()
    bare = _bare(said, file.around)
    if bare in file.leave or any(re.fullmatch(p, said) for p in file.leaving):
        return "leave"
    if bare in file.help:
        return "help"
    # "yes please" is an answer; only the bare word may be meant for the carrier
    return "back" if said in file.back else None
