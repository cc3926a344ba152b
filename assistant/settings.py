"""Settings of the program: defaults, then a settings file, then the environment.

The file is ``settings.toml`` or ``settings.yaml`` in the configuration directory, or the file
that ``PROBETELL_SETTINGS`` names. Every field can also be given as ``PROBETELL_<FIELD>``; the
environment wins. ``PROBETELL_HOME`` moves the data and the configuration to one directory.
"""

from __future__ import annotations

import os
import sys
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final, Literal

import yaml
from pydantic import BaseModel, ConfigDict, Field, SecretStr, ValidationError

from assistant.errors import GivenError
from assistant.knowledge.schema import model_error

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["PREFIX", "Settings", "config_directory", "data_directory", "load_settings"]

PREFIX: Final = "PROBETELL_"
_OTHER_NAMES: Final = frozenset({"HOME", "SETTINGS"})
_FILES: Final = ("settings.toml", "settings.yaml", "settings.yml")


class Settings(BaseModel):
    """All settings, validated. Times are in seconds, the voice's rate in words per minute.

    Of text messages: ``sms_per_number`` and ``sms_for_all`` count texts a minute,
    ``webhook_patience_seconds`` is how long a text's own answer is waited for, ``sms_api_url``
    stands for the provider's usual address, ``live_cases`` is how many cases each of the
    ``workers`` keeps in memory, ``retention_days`` how long a silent number is kept.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    data_dir: Path
    model_dir: Path | None = None
    recogniser: Literal["auto", "vosk", "pocketsphinx", "both"] = "auto"
    voice_rate: Annotated[int, Field(ge=60, le=400)] = 165
    voice: Literal["on", "off"] = "on"
    silence_seconds: Annotated[float, Field(gt=0, le=3600, allow_inf_nan=False)] = 30.0
    workshop: Annotated[str, Field(max_length=120)] = ""
    worlds: Annotated[int, Field(ge=100, le=1_000_000)] | None = None
    database: str | None = None
    sms_account: str | None = None
    sms_token: SecretStr | None = None
    sms_from: str | None = None
    public_url: str | None = None
    sms_api_url: str | None = None
    sms_per_number: Annotated[int, Field(ge=1, le=10_000)] = 30
    sms_for_all: Annotated[int, Field(ge=1, le=1_000_000)] = 6000
    webhook_patience_seconds: Annotated[float, Field(ge=0, le=12, allow_inf_nan=False)] = 4.0
    number_key: SecretStr | None = None
    retention_days: Annotated[int, Field(ge=1, le=3650)] = 365
    shop_hours: Annotated[str, Field(max_length=120)] = ""
    shop_phone: Annotated[str, Field(max_length=40)] = ""
    shop_token: SecretStr | None = None
    host: str = "127.0.0.1"
    port: Annotated[int, Field(ge=0, le=65_535)] = 8321
    workers: Annotated[int, Field(ge=1, le=64)] = 1
    live_cases: Annotated[int, Field(ge=1, le=10_000)] = 4

    @property
    def database_url(self) -> str:
        """Where the casebook is kept, as a database URL; a SQLite file in ``data_dir``."""
        if self.database is not None:
            return self.database
        return f"sqlite:///{(self.data_dir / 'casebook.sqlite').as_posix()}"


def _user_directory(environment: Mapping[str, str], *, platform: str, xdg: str, unix: str) -> Path:
    if home := environment.get(f"{PREFIX}HOME"):
        return Path(home).expanduser()
    if platform == "win32":
        base = environment.get("LOCALAPPDATA") or "~/AppData/Local"
    elif platform == "darwin":
        base = "~/Library/Application Support"
    else:
        base = environment.get(xdg) or unix
    return Path(base).expanduser() / "probetell"


def data_directory(environment: Mapping[str, str], *, platform: str = sys.platform) -> Path:
    """Give the directory for cases: ``PROBETELL_HOME``, or the platform's own place."""
    return _user_directory(
        environment, platform=platform, xdg="XDG_DATA_HOME", unix="~/.local/share"
    )


def config_directory(environment: Mapping[str, str], *, platform: str = sys.platform) -> Path:
    """Give the directory of the settings file."""
    return _user_directory(environment, platform=platform, xdg="XDG_CONFIG_HOME", unix="~/.config")


def _read(path: Path) -> dict[str, Any]:
    try:
        text = path.read_text(encoding="utf-8")
        raw = tomllib.loads(text) if path.suffix == ".toml" else yaml.safe_load(text)
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError, yaml.YAMLError) as error:
        raise GivenError(
            f"The settings file {path} cannot be read: {' '.join(str(error).split())}.",
            next_step="Mend the file, or name another one in PROBETELL_SETTINGS.",
        ) from error
    if raw is None:
        return {}
    if not isinstance(raw, dict):
        raise GivenError(
            f"The settings file {path} is not a table of names and values.",
            next_step='Write lines such as workshop = "Harbour Street Audio".',
        )
    # YAML 1.1 reads a bare on or off as a truth value; the word is meant.
    words = {True: "on", False: "off"}
    return {str(k): words[v] if isinstance(v, bool) else v for k, v in raw.items()}


def _settings_file(environment: Mapping[str, str], platform: str) -> Path | None:
    if named := environment.get(f"{PREFIX}SETTINGS"):
        return Path(named).expanduser()
    directory = config_directory(environment, platform=platform)
    return next((directory / name for name in _FILES if (directory / name).is_file()), None)


def load_settings(
    environment: Mapping[str, str] | None = None, *, platform: str = sys.platform
) -> Settings:
    """Load the settings; raise ``GivenError`` that names the field and where it was given."""
    given = os.environ if environment is None else environment
    path = _settings_file(given, platform)
    fields: dict[str, Any] = {} if path is None else _read(path)
    where = dict.fromkeys(fields, str(path))
    for name, value in given.items():
        if not name.startswith(PREFIX) or name[len(PREFIX) :] in _OTHER_NAMES or not value:
            continue
        field = name[len(PREFIX) :].lower()
        if field in Settings.model_fields:
            fields[field] = value
            where[field] = name
    fields.setdefault("data_dir", data_directory(given, platform=platform))
    try:
        settings = Settings.model_validate(fields)
    except ValidationError as error:
        places = sorted({where.get(str(e["loc"][0]), "the settings") for e in error.errors()})
        raise GivenError(
            f"A setting cannot be used ({', '.join(places)}): {model_error(error)}.",
            next_step="Correct it or leave it out; every setting has a default.",
        ) from error
    return settings.model_copy(
        update={
            "data_dir": settings.data_dir.expanduser(),
            "model_dir": None if settings.model_dir is None else settings.model_dir.expanduser(),
        }
    )
