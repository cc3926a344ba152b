"""Numbers in one form, found by a keyed hash, sealed against readers."""

from __future__ import annotations

import hashlib
import hmac
import os
import stat
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from hypothesis import given
from hypothesis import strategies as st

from assistant.errors import GivenError, MisuseError
from assistant.messaging.numbers import KEY_FILE, Numbers, load_key, masked, normalise

if TYPE_CHECKING:
    from pathlib import Path

SECRET = bytes(range(32))


@pytest.mark.parametrize(
    ("written", "region", "number"),
    [
        # The numbers of twilio-python's documentation and of Ofcom's range for drama.
        ("+14158675309", None, "+14158675309"),
        ("+442079460018", None, "+442079460018"),
        ("+1 (415) 867-5309", None, "+14158675309"),
        (" +44 20 7946 0018 ", None, "+442079460018"),
        ("(415) 867-5309", "US", "+14158675309"),
        ("020 7946 0018", "GB", "+442079460018"),
        ("+44 (0)20 7946 0018", None, "+442079460018"),
    ],
)
def test_numbers_come_to_the_form_of_e164(written: str, region: str | None, number: str) -> None:
    """ITU-T E.164 as libphonenumber has it: + and at most 15 digits."""
    assert normalise(written, region=region) == number


@pytest.mark.parametrize(
    "written",
    [
        "+1415867530",
        "4158675309",
        "(415) 867-5309",
        "",
        "anna",
        "+",
        "+1" + "5" * 20,
        "12345",
        "\x00",
    ],
)
def test_what_is_no_number_is_one_clear_error(written: str) -> None:
    """A digit too few, no country, no number at all: libphonenumber refuses them."""
    with pytest.raises(GivenError) as caught:
        normalise(written)
    assert "+1212" in caught.value.next_step
    assert len(written) < 4 or written not in str(caught.value)


@given(st.text(max_size=40))
def test_any_text_is_a_number_or_a_clear_error(written: str) -> None:
    try:
        number = normalise(written, region="US")
    except GivenError:
        return
    assert number[0] == "+"
    assert number[1:].isascii()
    assert number[1:].isdigit()
    assert 2 <= len(number[1:]) <= 15
    assert normalise(number) == number


@pytest.mark.parametrize(
    ("number", "shown"),
    [("+12125550142", "***42"), ("+12", "***12"), ("Anna 42", "***"), ("", "***")],
)
def test_a_mask_shows_the_last_two_digits_at_most(number: str, shown: str) -> None:
    assert masked(number) == shown


def test_the_look_up_depends_on_the_secret_and_tells_nothing() -> None:
    mine, same, other = Numbers(SECRET), Numbers(SECRET), Numbers(b"\x01" * 32)
    found = mine.look_up("+12125550142")
    assert found == same.look_up("+12125550142")
    assert found not in {mine.look_up("+12125550143"), other.look_up("+12125550142")}
    assert mine.mark == same.mark != other.mark
    # Without the key the few numbers that there are could all be tried.
    assert found != hashlib.sha256(b"+12125550142").hexdigest()
    assert found != hmac.new(SECRET, b"+12125550142", hashlib.sha256).hexdigest()


@pytest.mark.parametrize(
    "number", ["2125550142", "+1 212 555 0142", "", "+0123", "+1" * 9, "+１２１２"]
)
def test_only_numbers_in_the_one_form_are_looked_up(number: str) -> None:
    with pytest.raises(MisuseError):
        Numbers(SECRET).look_up(number)


@given(st.text(st.characters(exclude_categories=()), max_size=200), st.text(max_size=20))
def test_what_is_sealed_opens_again(clear: str, purpose: str) -> None:
    numbers = Numbers(SECRET)
    sealed = numbers.seal(clear, "p" + str(len(purpose)))
    assert numbers.open(sealed, "p" + str(len(purpose))) == clear
    assert numbers.seal(clear, "p") != numbers.seal(clear, "p")


def test_what_was_changed_moved_or_sealed_otherwise_does_not_open() -> None:
    numbers = Numbers(SECRET)
    sealed = numbers.seal("+12125550142", "number a")
    flipped = [sealed[:i] + bytes([sealed[i] ^ 1]) + sealed[i + 1 :] for i in range(len(sealed))]
    for wrong in [*flipped, b"", sealed[:5], sealed[:-1], sealed + b"x"]:
        with pytest.raises(GivenError, match="another key"):
            numbers.open(wrong, "number a")
    with pytest.raises(GivenError):
        numbers.open(sealed, "number b")
    with pytest.raises(GivenError):
        Numbers(b"\x01" * 32).open(sealed, "number a")


def test_the_cipher_gives_the_published_value() -> None:
    """AES-256-GCM: McGrew and Viega, The Galois/Counter Mode of Operation (2005), test case 16."""
    key = bytes.fromhex("feffe9928665731c6d6a8f9467308308" * 2)
    nonce = bytes.fromhex("cafebabefacedbaddecaf888")
    clear = bytes.fromhex(
        "d9313225f88406e5a55909c5aff5269a86a7a9531534f7da2e4c303d8a318a72"
        "1c3c0c95956809532fcf0e2449a6b525b16aedf5aa0de657ba637b39"
    )
    added = bytes.fromhex("feedfacedeadbeeffeedfacedeadbeefabaddad2")
    sealed = bytes.fromhex(
        "522dc1f099567d07f47f37a32a84427d643a8cdcbfe5c0c97598a2bd2555d1aa"
        "8cb08e48590dbb3da7b08b1056828838c5f61e6393ba7a0abcc9f662"
        "76fc6ece0f4e1768cddf8853bb2d551b"
    )
    assert AESGCM(key).encrypt(nonce, clear, added) == sealed


@pytest.mark.parametrize("secret", [b"", b"short", bytes(31)])
def test_a_short_secret_is_refused(secret: bytes) -> None:
    with pytest.raises(GivenError, match="too short"):
        Numbers(secret)


def test_the_key_is_made_once_and_for_its_owner_only(tmp_path: Path) -> None:
    directory = tmp_path / "new" / "data"
    first = load_key(directory)
    assert len(first) == 32
    assert load_key(directory) == first
    assert load_key(tmp_path / "elsewhere") != first
    assert [path.name for path in directory.iterdir()] == [KEY_FILE]
    if sys.platform != "win32":
        assert stat.S_IMODE((directory / KEY_FILE).stat().st_mode) == 0o600


def test_processes_that_start_together_get_one_key(tmp_path: Path) -> None:
    code = (
        "import sys, pathlib; from assistant.messaging.numbers import load_key\n"
        "print(load_key(pathlib.Path(sys.argv[1])).hex())"
    )
    started = [
        subprocess.Popen([sys.executable, "-c", code, str(tmp_path)], stdout=subprocess.PIPE)
        for _ in range(4)
    ]
    assert len({process.communicate(timeout=120)[0] for process in started}) == 1


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such modes")
def test_a_key_that_others_can_read_is_refused(tmp_path: Path) -> None:
    load_key(tmp_path)
    (tmp_path / KEY_FILE).chmod(0o644)
    with pytest.raises(GivenError, match="read by others") as caught:
        load_key(tmp_path)
    assert "chmod 600" in caught.value.next_step


@pytest.mark.parametrize("content", [b"", b"not a key", b"\xff" * 64, b"0" * 63])
def test_a_spoilt_key_file_is_never_replaced(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / KEY_FILE
    path.write_bytes(content)
    path.chmod(0o600)
    with pytest.raises(GivenError):
        load_key(tmp_path)
    assert path.read_bytes() == content


def test_a_directory_that_cannot_be_made_is_one_clear_error(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(GivenError, match="cannot be used"):
        load_key(tmp_path / "file" / "below")
    assert os.listdir(tmp_path) == ["file"]  # noqa: PTH208
