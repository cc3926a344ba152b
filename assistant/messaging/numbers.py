"""Telephone numbers: their one form, and how they are kept without lying open.

At rest a number is a keyed hash, by which it is found, beside an encrypted value, by which it can
be written to. Both keys are derived from one secret: HKDF with SHA-256 (RFC 5869), HMAC with
SHA-256 (RFC 2104) and AES-256 in Galois/counter mode (NIST SP 800-38D).
"""

from __future__ import annotations

import hashlib
import hmac
import os
import re
import secrets
import sys
from typing import TYPE_CHECKING, Final

from assistant.errors import GivenError, MisuseError

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["KEY_FILE", "Numbers", "load_key", "masked", "normalise"]

KEY_FILE: Final = "numbers.key"
_KEY_BYTES: Final = 32
_NONCE_BYTES: Final = 12
_FORMAT: Final = b"\x01"
_E164: Final = re.compile(r"\+[1-9][0-9]{1,14}")
_PRIVATE: Final = 0o600


def normalise(text: str, *, region: str | None = None) -> str:
    """Give a telephone number in the form of E.164, such as ``+12125550142``.

    ``region`` is the country (``US``) of numbers that are written without one. Raises
    ``GivenError`` for what is no number.
    """
    import phonenumbers  # noqa: PLC0415  its tables take a while to load

    example = "Write it with its country code, as in +12125550142."
    try:
        number = phonenumbers.parse(text, region)
    except phonenumbers.NumberParseException as error:
        raise GivenError("This is no telephone number.", next_step=example) from error
    if not phonenumbers.is_valid_number(number):
        raise GivenError("No telephone has this number.", next_step=example)
    return str(phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.E164))


def masked(number: str) -> str:
    """Give what logs and screens may show of a number: its last two digits."""
    return f"***{number[-2:]}" if _E164.fullmatch(number) else "***"


class Numbers:
    """Hashes and encrypts with keys of one secret of at least 32 bytes.

    What was sealed for one ``purpose`` does not open for another, so that a value that was moved
    to another row is noticed.
    """

    def __init__(self, secret: bytes) -> None:
        from cryptography.hazmat.primitives.ciphers.aead import AESGCM  # noqa: PLC0415
        from cryptography.hazmat.primitives.hashes import SHA256  # noqa: PLC0415
        from cryptography.hazmat.primitives.kdf.hkdf import HKDF  # noqa: PLC0415

        if len(secret) < _KEY_BYTES:
            raise GivenError(
                "The secret that telephone numbers are kept with is too short.",
                next_step=f"Give at least {_KEY_BYTES} random bytes.",
            )

        def derived(purpose: bytes) -> bytes:
            return HKDF(algorithm=SHA256(), length=32, salt=None, info=purpose).derive(secret)

        self._hash_key: Final = derived(b"probetell look-up of numbers")
        self._cipher: Final = AESGCM(derived(b"probetell sealing"))

    def look_up(self, number: str) -> str:
        """Give the keyed hash of a number in E.164: 64 hexadecimal digits.

        Raises ``MisuseError`` when the number was not normalised.
        """
        if not _E164.fullmatch(number):
            raise MisuseError(
                f"The number {masked(number)} is not in the form of E.164.",
                next_step="Normalise it first.",
            )
        return hmac.new(self._hash_key, number.encode(), hashlib.sha256).hexdigest()

    @property
    def mark(self) -> str:
        """A fingerprint that tells this secret from others and says nothing about it."""
        return hmac.new(self._hash_key, b"mark of the key", hashlib.sha256).hexdigest()

    def seal(self, text: str, purpose: str) -> bytes:
        """Encrypt a text; two calls never give the same bytes."""
        nonce = secrets.token_bytes(_NONCE_BYTES)
        clear = text.encode("utf-8", "surrogatepass")
        return _FORMAT + nonce + self._cipher.encrypt(nonce, clear, purpose.encode())

    def open(self, sealed: bytes, purpose: str) -> str:
        """Give back a sealed text; raise ``GivenError`` when it was sealed otherwise."""
        from cryptography.exceptions import InvalidTag  # noqa: PLC0415

        head = len(_FORMAT) + _NONCE_BYTES
        nonce, rest = sealed[len(_FORMAT) : head], sealed[head:]
        try:
            if not sealed.startswith(_FORMAT):
                raise InvalidTag  # noqa: TRY301
            clear = self._cipher.decrypt(nonce, rest, purpose.encode())
        except (InvalidTag, ValueError) as error:
            raise GivenError(
                "An encrypted value of the database cannot be opened: it was made with another "
                "key, or was changed.",
                next_step="Put back the key that belongs to the database.",
            ) from error
        return clear.decode("utf-8", "surrogatepass")


def load_key(directory: Path) -> bytes:
    """Give the secret in ``directory``, made at random on the first call; 32 bytes.

    The file is for its owner only. Keep a copy apart from the database: without it no number can
    be read or found again. Raises ``GivenError`` when the file cannot be used.
    """
    path = directory / KEY_FILE
    try:
        directory.mkdir(parents=True, exist_ok=True)
        if not path.exists():
            _make_key(path)
        text = path.read_text(encoding="ascii").strip()
        mode = path.stat().st_mode
    except (OSError, UnicodeDecodeError) as error:
        why = getattr(error, "strerror", None) or "it is no text"
        raise GivenError(
            f"The key file {path} cannot be used: {why}.",
            next_step="Put back the file that belongs to the database, or let yourself read it.",
        ) from error
    if sys.platform != "win32" and mode & 0o077:
        raise GivenError(
            f"The key file {path} can be read by others.", next_step=f"Run: chmod 600 {path}"
        )
    if not re.fullmatch(r"[0-9a-f]{64}", text):
        raise GivenError(
            f"The key file {path} holds no key.",
            next_step="Put back the file that belongs to the database.",
        )
    return bytes.fromhex(text)


def _make_key(path: Path) -> None:
    """Make the file whole before it has its name: another process may be doing the same."""
    draft = path.with_name(f"{path.name}.{secrets.token_hex(8)}")
    try:
        descriptor = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, _PRIVATE)
        with os.fdopen(descriptor, "w", encoding="ascii") as file:
            file.write(secrets.token_hex(_KEY_BYTES) + "\n")
            file.flush()
            os.fsync(file.fileno())
        try:
            os.link(draft, path)
        except FileExistsError:
            return
    finally:
        draft.unlink(missing_ok=True)
