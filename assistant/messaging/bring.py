"""What to bring to the shop for each repair, and the cautions for whoever does it alone."""

from __future__ import annotations

from functools import cache
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, RootModel

from assistant.messaging.datafile import read_data

__all__ = ["Bring", "bring_for", "load_bring"]


class Bring(BaseModel):
    """``bring`` ends the sentence "for the shop bring"; ``cautions`` are ids."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    bring: Annotated[str, Field(min_length=1)]
    cautions: tuple[str, ...]


class _Brings(RootModel[dict[str, Bring]]):
    model_config = ConfigDict(frozen=True)


_OTHERWISE = Bring(bring="these readings", cautions=())


@cache
def load_bring() -> dict[str, Bring]:
    """Read and validate the package's list; keys are repair ids without position and pair."""
    return read_data("bring.yaml", _Brings).root


def bring_for(repair: str) -> Bring:
    """Give the entry of a repair id."""
    return load_bring().get(repair.partition(".")[0], _OTHERWISE)
