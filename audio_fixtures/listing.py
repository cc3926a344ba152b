"""What shall be spoken (phrases.yaml) and what was rendered (index.yaml), validated."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final, Literal, TypeAlias

import yaml
from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from assistant.errors import GivenError
from assistant.readings.reading import Quantity, reading_from_json
from audio_fixtures.room import NOISES, ROOMS
from audio_fixtures.voices import ENGINES, engine_of

__all__ = ["HERE", "Entry", "Expect", "Phrase", "load_index", "load_phrases", "save_index"]

HERE: Final = Path(__file__).parent
Expect: TypeAlias = Quantity | Literal["command"]

_INDEX_HEAD: Final = """\
# The spoken fixtures, one entry a file. Written by render.py from phrases.yaml; heard and hard are
# written by listen.py, which plays each file to the real recogniser.
"""


class Phrase(BaseModel):
    """One thing to say and how: ``noise_db`` is the speech over the noise, null for no noise.

    ``expect`` is the quantity that is asked for when it is said, or ``command``; accordingly one
    of ``reading`` (the JSON form) and ``command`` is given. ``file`` is relative to this folder.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    file: str = Field(pattern=r"^[a-z0-9_]+/[a-z0-9_]+\.(wav|flac)$")
    words: str = Field(pattern=r"^[a-z']+( [a-z']+)*$")
    expect: Expect
    reading: dict[str, Any] | None = None
    command: str | None = None
    voice: str
    speed: float = Field(default=1.0, ge=0.7, le=1.4)
    room: str
    noise: str
    noise_db: float | None = Field(ge=0.0, le=60.0)
    level_db: float = Field(default=-26.0, ge=-40.0, le=-20.0)
    seed: int = Field(ge=0)

    @field_validator("voice")
    @classmethod
    def _voice_exists(cls, voice: str) -> str:
        engine_of(voice)
        return voice

    @model_validator(mode="after")
    def _fits(self) -> Phrase:
        if self.room not in ROOMS or self.noise not in NOISES:
            raise ValueError(f"no room {self.room!r} with noise {self.noise!r}")
        if (self.reading is None) == (self.command is None):
            raise ValueError("give either a reading or a command")
        if (self.command is None) == (self.expect == "command"):
            raise ValueError("expect is `command` for commands and a quantity for readings")
        if self.reading is not None:
            reading_from_json(self.reading)
        return self


class Entry(Phrase):
    """A rendered phrase. ``hard`` marks one that the recogniser mishears, ``heard`` as what."""

    engine: str
    licence: str
    hard: bool = False
    heard: str | None = None

    @classmethod
    def of(cls, phrase: Phrase) -> Entry:
        """Add the engine and the licence of its voices to ``phrase``."""
        engine, licence = ENGINES[engine_of(phrase.voice)]
        return cls(**phrase.model_dump(), engine=engine, licence=licence)


def _mapping(path: Path) -> dict[str, Any]:
    try:
        raw = yaml.safe_load(path.read_text("utf-8"))
    except (OSError, yaml.YAMLError) as problem:
        raise GivenError(f"{path.name} cannot be read: {problem}.", next_step="Mend it.") from None
    if not isinstance(raw, dict):
        raise GivenError(f"{path.name} is not a mapping.", next_step="See README.md beside it.")
    return raw


def load_phrases(path: Path = HERE / "phrases.yaml") -> dict[str, tuple[Phrase, ...]]:
    """Read the sets by name; raise ``GivenError`` where one is not valid or a file comes twice."""
    try:
        sets = {
            name: tuple(Phrase.model_validate(item) for item in items or ())
            for name, items in _mapping(path).items()
        }
    except ValidationError as problem:
        raise GivenError(f"{path.name} is not valid: {problem}", next_step="Mend it.") from None
    files = [phrase.file for phrases in sets.values() for phrase in phrases]
    twice = sorted({file for file in files if files.count(file) > 1})
    if twice:
        raise GivenError(f"{path.name} lists {twice[0]} twice.", next_step="Name each file once.")
    return sets


def load_index(path: Path = HERE / "index.yaml") -> tuple[Entry, ...]:
    """Read the rendered fixtures; raise ``GivenError`` where an entry is not valid."""
    try:
        return tuple(Entry.model_validate(item) for item in _mapping(path).get("fixtures", ()))
    except ValidationError as problem:
        raise GivenError(f"{path.name} is not valid: {problem}", next_step="Mend it.") from None


def save_index(entries: tuple[Entry, ...], path: Path = HERE / "index.yaml") -> None:
    """Write the fixtures in the order given; what is at its default or not given is left out."""
    items = [entry.model_dump(exclude_defaults=True) for entry in entries]
    for item, entry in zip(items, entries, strict=True):
        item["noise_db"] = entry.noise_db
    text = yaml.safe_dump(
        {"fixtures": items}, sort_keys=False, allow_unicode=True, width=100, default_flow_style=None
    )
    path.write_text(_INDEX_HEAD + text, "utf-8")
