"""What one run of the service is made of: from the settings, checked before it starts."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from ipaddress import ip_address
from typing import TYPE_CHECKING, Final

from assistant.errors import GivenError
from assistant.messaging.numbers import load_key

if TYPE_CHECKING:
    from pathlib import Path

    from assistant.settings import Settings

__all__ = [
    "Account",
    "ServicePlan",
    "database_of",
    "is_loopback",
    "key_of",
    "plan_service",
    "practice_directory",
]

TEXT_WORLDS: Final = 5000
"""Worlds of a case by text where the settings name no number: many cases share one machine."""
LEASE_SECONDS: Final = 180.0
"""A long case on a busy machine takes a while to be built again; the dead are noticed at once."""
_SHORTEST_TOKEN: Final = 16


@dataclass(frozen=True, slots=True, kw_only=True)
class Account:
    """The account at the carrier."""

    account: str
    sender: str
    api_url: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ServicePlan:
    """Everything that ``probetell serve`` needs; without an ``account`` it is for practice."""

    directory: Path
    database_url: str
    number_key: bytes
    token: str
    public_url: str | None
    account: Account | None
    host: str
    port: int
    workers: int
    live_cases: int
    worlds: int
    patience: float
    per_number: int
    for_all: int
    retention_days: int
    shop_name: str
    shop_hours: str
    shop_phone: str
    shop_token: str
    shop_token_is_set: bool

    @property
    def practice(self) -> bool:
        """Whether there is no account behind it."""
        return self.account is None


def is_loopback(host: str) -> bool:
    """Say whether only this machine can reach a host name or address."""
    if host == "localhost":
        return True
    try:
        return ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


def practice_directory(settings: Settings) -> Path:
    """Give where practice keeps its cases, apart from those of customers."""
    return settings.data_dir / "practice"


def database_of(settings: Settings, *, practice: bool) -> str:
    """Give the database of real or of practice messages."""
    if practice:
        return f"sqlite:///{(practice_directory(settings) / 'casebook.sqlite').as_posix()}"
    return settings.database_url


def key_of(settings: Settings, *, practice: bool) -> bytes:
    """Give the secret that numbers are kept with; made on the first call where none is set.

    Raises ``GivenError`` when several machines may share the database and none is set.
    """
    if practice:
        return load_key(practice_directory(settings))
    if settings.number_key is not None:
        return settings.number_key.get_secret_value().encode()
    if not settings.database_url.startswith("sqlite"):
        raise GivenError(
            "The database is not a file of this machine, and no key for telephone numbers is set.",
            next_step="Set PROBETELL_NUMBER_KEY to the same 32 or more random characters on every "
            "machine.",
        )
    return load_key(settings.data_dir)


def _account(settings: Settings) -> tuple[Account, str, str]:
    """Give account, token and public address; raise ``GivenError`` that names what is missing."""
    token = "" if settings.sms_token is None else settings.sms_token.get_secret_value()
    if not token:
        raise GivenError(
            "No token of a message provider is set, so no text could be trusted.",
            next_step="Set PROBETELL_SMS_TOKEN, or try without an account: "
            "probetell serve --practice.",
        )
    needed = {
        "PROBETELL_SMS_ACCOUNT": settings.sms_account,
        "PROBETELL_SMS_FROM": settings.sms_from,
        "PROBETELL_PUBLIC_URL": settings.public_url,
    }
    missing = [name for name, value in needed.items() if not value]
    if missing:
        raise GivenError(
            f"To take and send texts, {' and '.join(missing)} must be set too.",
            next_step="Take them from the message provider's pages; the public URL is the address "
            "under which the provider reaches this service.",
        )
    account = Account(
        account=str(settings.sms_account),
        sender=str(settings.sms_from),
        api_url=settings.sms_api_url,
    )
    return account, token, str(settings.public_url)


def plan_service(
    settings: Settings,
    *,
    practice: bool,
    host: str | None = None,
    port: int | None = None,
    workers: int | None = None,
) -> ServicePlan:
    """Plan a run; raise ``GivenError`` that says what is missing or must not be."""
    where = settings.host if host is None else host
    if not is_loopback(where):
        if practice:
            raise GivenError(
                "Practice is for this machine only.", next_step="Leave out --host, or 127.0.0.1."
            )
        if settings.shop_token is None:
            raise GivenError(
                f"On {where} the shop's screen could be opened by others.",
                next_step="Set PROBETELL_SHOP_TOKEN, or serve on 127.0.0.1 behind a tunnel.",
            )
    account: Account | None = None
    public_url: str | None = None
    token = secrets.token_hex(16)
    if not practice:
        account, token, public_url = _account(settings)
    directory = practice_directory(settings) if practice else settings.data_dir
    try:
        directory.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise GivenError(
            f"The directory {directory} cannot be made: {error.strerror}.",
            next_step="Set PROBETELL_HOME to a directory that you may write to.",
        ) from error
    shop_token = settings.shop_token
    if shop_token is not None and len(shop_token.get_secret_value()) < _SHORTEST_TOKEN:
        raise GivenError(
            f"The shop's token is shorter than {_SHORTEST_TOKEN} characters.",
            next_step="Set PROBETELL_SHOP_TOKEN to a longer one, or leave it out.",
        )
    return ServicePlan(
        directory=directory,
        database_url=database_of(settings, practice=practice),
        number_key=key_of(settings, practice=practice),
        token=token,
        public_url=public_url,
        account=account,
        host=where,
        port=settings.port if port is None else port,
        workers=settings.workers if workers is None else workers,
        live_cases=settings.live_cases,
        worlds=TEXT_WORLDS if settings.worlds is None else settings.worlds,
        patience=settings.webhook_patience_seconds,
        per_number=settings.sms_per_number,
        for_all=settings.sms_for_all,
        retention_days=settings.retention_days,
        shop_name=settings.workshop or "the workshop",
        shop_hours=settings.shop_hours,
        shop_phone=settings.shop_phone,
        shop_token=secrets.token_urlsafe(18)
        if shop_token is None
        else shop_token.get_secret_value(),
        shop_token_is_set=shop_token is not None,
    )
