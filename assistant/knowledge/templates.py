"""The shapes of the data files, before they are made concrete for an installation."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from assistant.knowledge.schema import Audio, VehicleState
from assistant.readings.reading import Quantity

__all__ = ["CheckEntry", "DoEntry", "FaultEntry", "Labour", "RepairEntry", "Spread", "Spreads"]


def _off(raw: object) -> object:
    """YAML 1.1 reads a bare ``off`` as False; the word is meant."""
    return "off" if raw is False else raw


_Each = Literal["position", "pair"]
_Needs = Literal["converter", "second_battery", "charge_relay"]
"""What an installation must have for an entry to count; a relay that nobody denies may be there."""


class _Entry(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class DoEntry(_Entry):
    """A check's measurement with ``{POS}``, ``{PAIR}`` and ``{OTHERS}`` still open."""

    quantity: Quantity
    red: str
    black: str | None = None
    vehicle: Annotated[VehicleState, BeforeValidator(_off)]
    audio: Annotated[Audio, BeforeValidator(_off)]
    setup: tuple[str, ...] = ()


class CheckEntry(_Entry):
    """One entry of ``checks.yaml``."""

    id: str
    name: str
    each: _Each | None = None
    needs: _Needs | None = None
    do: DoEntry
    minutes: Annotated[float, Field(gt=0)]
    place: Literal["battery", "engine_bay", "amplifier", "speaker", "source", "seat"]
    people: Literal[1, 2] = 1
    cautions: tuple[str, ...] = ()
    clears: tuple[Literal["supply", "remote", "load", "signal"], ...] = ()
    grammar: str
    spoken: str
    typed: str


class Spread(_Entry):
    """A distribution by its quantile: exactly one of the kinds is given.

    ``opposite`` (written ``not`` in the file) is 1 where another parameter is 0.
    """

    uniform: tuple[float, float] | None = None
    loguniform: tuple[float, float] | None = None
    chance: Annotated[float, Field(ge=0, le=1)] | None = None
    const: float | None = None
    pick: dict[float, Annotated[float, Field(gt=0)]] | None = None
    opposite: str | None = Field(default=None, alias="not")

    @model_validator(mode="after")
    def _one_kind(self) -> Spread:
        kinds = [name for name in type(self).model_fields if getattr(self, name) is not None]
        if len(kinds) != 1:
            raise ValueError(f"a spread has exactly one kind, not {kinds}")
        for pair in (self.uniform, self.loguniform):
            if pair and pair[0] > pair[1]:
                raise ValueError(f"a spread runs from low to high, not {pair}")
        if self.loguniform and self.loguniform[0] <= 0:
            raise ValueError("a logarithmic spread needs a low end above zero")
        return self


class FaultEntry(_Entry):
    """One entry of ``faults.yaml``; ``effect`` maps a parameter to its spread when faulty."""

    id: str
    repair: str
    rate: Annotated[float, Field(gt=0, lt=1)]
    group: Literal["supply", "remote", "load", "signal", "noise", "amplifier"]
    each: _Each | None = None
    needs: _Needs | None = None
    words: str
    effect: dict[str, Spread]


class RepairEntry(_Entry):
    """One entry of ``repairs.yaml``.

    ``live``: it is done on what a second battery keeps live as well as the first.
    """

    id: str
    minutes: Annotated[float, Field(gt=0)]
    parts: bool
    live: bool = False
    words: str
    customer: str
    beyond: str | None = None
    before: tuple[str, ...] = ()


class Spreads(_Entry):
    """Spreads of sound parts: for the whole, for a second battery, each position, each pair."""

    scalar: dict[str, Spread]
    second_battery: dict[str, Spread]
    position: dict[str, Spread]
    pair: dict[str, Spread]


_Minutes = Annotated[float, Field(ge=0)]


class Labour(_Entry):
    """Minutes for each change of state."""

    vehicle: dict[VehicleState, _Minutes]
    audio: dict[Audio, _Minutes]
    place: dict[str, _Minutes]
    setup: dict[str, _Minutes]
    second_person: _Minutes
    answer: _Minutes
