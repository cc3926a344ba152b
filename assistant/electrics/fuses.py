"""Fuses: cold resistance, the drop that shows a current, and how long they hold an overload.

Only three blade resistances were read at a published source (10 A and 15 A standard, 15 A mini);
the other blade values and both power laws are from memory and say so. Opening times are
bands from memory of the standards' tables: they bound, they do not predict.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal, TypeAlias

import numpy as np

from assistant.electrics.arrays import FloatArray, checked
from assistant.errors import GivenError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import ArrayLike

__all__ = [
    "BLADE_COLD_MILLIOHM",
    "COLD_SPREAD",
    "CONTINUOUS_SHARE",
    "OPENING_BANDS",
    "FuseKind",
    "OpeningBand",
    "cold_resistance_ohm",
    "continuous_limit_a",
    "current_from_drop_a",
    "drop_v",
    "fuse_kind",
    "opening_time_band_s",
]

FuseKind: TypeAlias = Literal["blade", "mini", "maxi", "midi", "anl"]

BLADE_COLD_MILLIOHM: Final[Mapping[float, float]] = {
    5.0: 17.0, 7.5: 11.0, 10.0: 1000.0 / 130.0, 15.0: 4.8, 20.0: 3.2, 25.0: 2.4, 30.0: 1.9,
}  # fmt: skip
"""Standard blade fuse, cold, by rating in A. 10 A: 1 mV is 130 mA (mvwautotechniek.nl). 15 A:
maker's datasheet quoted in an automotive forum. The others: maker sheets, from memory."""

_MINI_15_MILLIOHM: Final = 1.0 / 0.218
"""15 A mini: 1.0 mV is 218 mA (MACS Service Reports, June 2017)."""

_POWER_LAW: Final[Mapping[FuseKind, tuple[float, float, float]]] = {
    "maxi": (1.3e-3, 40.0, 1.2),
    "midi": (0.6e-3, 100.0, 1.1),
    "anl": (0.7e-3, 100.0, 1.0),
}
"""Own power laws R0 (I0/I)^n in ohm, A: fitted to maker sheets as remembered, low sureness."""

COLD_SPREAD: Final = 0.10
"""Relative standard deviation between fuses of a kind: 4.5 against 4.8 milliohm on a 15 A blade
says some 6 %; rounded up for makers."""

CONTINUOUS_SHARE: Final = 0.75
"""Of the rating at 25 degC (maker's guide to fuse selection)."""

_ALIASES: Final[Mapping[str, FuseKind]] = {
    "blade": "blade", "ato": "blade", "atc": "blade", "ats": "blade", "regular": "blade",
    "mini": "mini", "atm": "mini", "maxi": "maxi", "max": "maxi", "apx": "maxi",
    "midi": "midi", "ami": "midi", "mini-anl": "midi", "mini_anl": "midi", "manl": "midi",
    "anl": "anl", "agu": "anl", "mega": "anl", "amg": "anl",
}  # fmt: skip
_RATINGS: Final[Mapping[FuseKind, tuple[float, float]]] = {
    "blade": (1.0, 40.0),
    "mini": (2.0, 30.0),
    "maxi": (20.0, 120.0),
    "midi": (20.0, 200.0),
    "anl": (5.0, 750.0),
}


def fuse_kind(text: str | None, rating_a: float | None = None) -> FuseKind:
    """Read the kind of a fuse; None gives blade up to 40 A and anl above.

    Trade short names (ATO, AMI, mini-ANL ...) are understood: common practice, no source.
    Raises ``GivenError`` for a kind that is not known.
    """
    if text is None:
        return "blade" if rating_a is not None and rating_a <= 40.0 else "anl"
    kind = _ALIASES.get(text.strip().lower().replace(" ", "-"))
    if kind is None:
        raise GivenError(
            f"The fuse kind {text!r} is not known.",
            next_step=f"Use one of {', '.join(_RATINGS)}.",
        )
    return kind


def _known(kind: str) -> FuseKind:
    for known in _RATINGS:
        if known == kind:
            return known
    raise GivenError(
        f"The fuse kind {kind!r} is not known.",
        next_step=f"Use one of {', '.join(_RATINGS)}.",
    )


def cold_resistance_ohm(rating_a: ArrayLike, kind: str) -> FloatArray:
    """Cold resistance in ohm without its holder, of the shape of ``rating_a`` (A).

    Blade: table, interpolated over the logarithms, end slopes kept beyond. Mini: the blade table
    scaled to its one published value. Maxi, midi, anl: power law from memory. Raises
    ``GivenError`` for an unknown kind or a rating that the kind is not made in.
    """
    known = _known(kind)
    lowest, highest = _RATINGS[known]
    rating = checked(f"The rating in A of a {known} fuse", rating_a, low=lowest, high=highest)
    if known in _POWER_LAW:
        ohm, at, exponent = _POWER_LAW[known]
        return np.asarray(ohm * (at / rating) ** exponent)
    scale = 1.0 if known == "blade" else _MINI_15_MILLIOHM / BLADE_COLD_MILLIOHM[15.0]
    log_i = np.log(np.array(list(BLADE_COLD_MILLIOHM)))
    log_r = np.log(np.array(list(BLADE_COLD_MILLIOHM.values())))
    x = np.log(rating)
    y = np.interp(x, log_i, log_r)
    first = (log_r[1] - log_r[0]) / (log_i[1] - log_i[0])
    last = (log_r[-1] - log_r[-2]) / (log_i[-1] - log_i[-2])
    y = np.where(x < log_i[0], log_r[0] + first * (x - log_i[0]), y)
    y = np.where(x > log_i[-1], log_r[-1] + last * (x - log_i[-1]), y)
    return np.asarray(1e-3 * scale * np.exp(y))


def drop_v(current_a: ArrayLike, rating_a: ArrayLike, kind: str) -> FloatArray:
    """Drop in V over a good cold fuse at ``current_a`` A (Ohm's law); shapes broadcast."""
    current = checked("A fuse current in A", current_a)
    return np.asarray(current * cold_resistance_ohm(rating_a, kind))


def current_from_drop_a(drop: ArrayLike, rating_a: ArrayLike, kind: str) -> FloatArray:
    """Give the current in A that a drop in V shows; wrong on counterfeit fuses (MACS, 2017)."""
    return np.asarray(checked("A fuse drop in V", drop) / cold_resistance_ohm(rating_a, kind))


def continuous_limit_a(rating_a: ArrayLike) -> FloatArray:
    """Give the current in A that a fuse may carry all day at 25 degC: 75 % of its rating."""
    return np.asarray(CONTINUOUS_SHARE * checked("A fuse rating in A", rating_a, above=0.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class OpeningBand:
    """At ``percent`` of the rating a fuse opens between ``low_s`` and ``high_s`` seconds.

    ``source`` names the standards, ``sureness`` how well the figure is known: all are from
    memory ("medium" or "low"); none may be a hard limit.
    """

    percent: float
    low_s: float
    high_s: float
    source: str
    sureness: Literal["medium", "low"]


def _band(
    percent: float, low_s: float, high_s: float, source: str, sureness: Literal["medium", "low"]
) -> OpeningBand:
    return OpeningBand(
        percent=percent, low_s=low_s, high_s=high_s, source=source, sureness=sureness
    )


_BLADE_SOURCE: Final = "ISO 8820-3, SAE J1284, SAE J2077"
_MAXI_SOURCE: Final = "ISO 8820-3, SAE J1888"
_HUNDRED_HOURS_S: Final = 360_000.0
_BLADE_BANDS: Final = (
    _band(110.0, _HUNDRED_HOURS_S, np.inf, _BLADE_SOURCE, "medium"),
    _band(135.0, 0.75, 1800.0, _BLADE_SOURCE, "medium"),
    _band(160.0, 0.25, 50.0, _BLADE_SOURCE, "low"),
    _band(200.0, 0.15, 5.0, _BLADE_SOURCE, "medium"),
    _band(350.0, 0.04, 0.5, _BLADE_SOURCE, "low"),
    _band(600.0, 0.0, 0.1, _BLADE_SOURCE, "low"),
)
OPENING_BANDS: Final[Mapping[FuseKind, tuple[OpeningBand, ...]]] = {
    "blade": _BLADE_BANDS,
    "mini": _BLADE_BANDS,
    "maxi": (
        _band(110.0, _HUNDRED_HOURS_S, np.inf, _MAXI_SOURCE, "medium"),
        _band(135.0, 60.0, 1800.0, _MAXI_SOURCE, "medium"),
        _band(200.0, 2.0, 60.0, _MAXI_SOURCE, "medium"),
        _band(350.0, 0.2, 7.0, _MAXI_SOURCE, "medium"),
        _band(600.0, 0.04, 1.0, _MAXI_SOURCE, "medium"),
    ),
    "midi": (
        _band(135.0, 120.0, 1800.0, "ISO 8820-5", "low"),
        _band(200.0, 1.0, 15.0, "ISO 8820-5", "low"),
        _band(350.0, 0.3, 5.0, "ISO 8820-5", "low"),
    ),
}
"""Opening bands by kind. ANL fuses have no common table: take the maker's curve."""


def opening_time_band_s(load_percent: ArrayLike, kind: str) -> tuple[FloatArray, FloatArray]:
    """Soonest and latest opening time in s at ``load_percent`` of the rating, two arrays.

    Bands hold over ranges: the soonest is that of the next tabled load up (heavier loads
    open sooner), the latest that of the next one down, so the band always contains the
    standard's own; below the first it may never open (inf), above the last it may open at
    once (0 s). Raises ``GivenError`` for a kind without a table (anl) or a negative load.
    """
    known = _known(kind)
    if known not in OPENING_BANDS:
        raise GivenError(
            f"Fuses of kind {known} have no common table of opening times.",
            next_step="Take the times from the fuse maker's curve.",
        )
    load = checked("A load in percent of the rating", load_percent, low=0.0)
    bands = OPENING_BANDS[known]
    percents = np.array([band.percent for band in bands])
    soonest = np.array([*(band.low_s for band in bands), 0.0])
    latest = np.array([np.inf, *(band.high_s for band in bands)])
    low = soonest[np.searchsorted(percents, load, side="left")]
    high = latest[np.searchsorted(percents, load, side="right")]
    return np.asarray(low), np.asarray(high)
