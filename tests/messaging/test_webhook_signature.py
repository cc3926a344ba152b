"""The signature check: the carrier's published vectors, and what must not pass.

Vectors: tests of twilio-python (token 12345 and the addresses of mycompany.com), which the
carrier publishes with its library. Rows 7.10 to 7.14.
"""

from __future__ import annotations

from urllib.parse import urlencode

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.errors import GivenError
from assistant.messaging.signature import Form, Seal, read_form

TOKEN = "12345"  # noqa: S105
FIELDS = [
    ("CallSid", "CA1234567890ABCDE"),
    ("Caller", "+14158675309"),
    ("Digits", "1234"),
    ("From", "+14158675309"),
    ("To", "+18005551212"),
]
GOOD = "RSOYDt4T1cUTdK1PDd93/VVr8B8="
PATH, QUERY = "/myapp.php", "foo=1&bar=2"


def holds(form: list[tuple[str, str]], signature: str, url: str = "https://mycompany.com") -> bool:
    return Seal(token=TOKEN, public_url=url).holds(
        path=PATH, query=QUERY, form=Form(form), signature=signature
    )


def test_the_published_signature_holds() -> None:
    assert holds(FIELDS, GOOD)
    assert Seal(token=TOKEN, public_url="https://mycompany.com/").holds(
        path=PATH, query=QUERY, form=Form(FIELDS), signature=GOOD
    )


@pytest.mark.parametrize(
    ("url", "signature"),
    [
        ("http://mycompany.com:1234", "Zmvh+3yNM1Phv2jhDCwEM3q5ebU="),
        ("https://mycompany.com:443", "kvajT1Ptam85bY51eRf/AJRuM3w="),
        ("http://mycompany.com:80", "0ZXoZLH/DfblKGATFgpif+LLRf4="),
    ],
)
def test_addresses_with_a_port(url: str, signature: str) -> None:
    assert holds(FIELDS, signature, url)


def test_a_repeated_field_counts_with_every_value() -> None:
    repeated = [
        ("Sid", "CA123"),
        ("SidAccount", "AC123"),
        ("Digits", "5678"),
        ("Digits", "1234"),
    ]
    seal = Seal(token=TOKEN, public_url="https://mycompany.com")
    form = read_form(urlencode(repeated).encode())
    signature = "IK+Dwps556ElfBT0I3Rgjkr1wJU="
    assert seal.holds(path=PATH, query=QUERY, form=form, signature=signature)
    fewer = Form(repeated[:3])
    assert not seal.holds(path=PATH, query=QUERY, form=fewer, signature=signature)


@pytest.mark.parametrize(
    "changed",
    [
        [(name, "9999" if name == "Digits" else value) for name, value in FIELDS],
        [*FIELDS, ("X", "1")],
        FIELDS[1:],
    ],
)
def test_a_changed_form_does_not_hold(changed: list[tuple[str, str]]) -> None:
    assert not holds(changed, GOOD)


@pytest.mark.parametrize("signature", ["", "x", "Ж" * 28, GOOD[:-1], GOOD + "=", GOOD.lower()])
def test_a_wrong_signature_does_not_hold(signature: str) -> None:
    assert not holds(FIELDS, signature)


def test_another_address_does_not_hold() -> None:
    assert not holds(FIELDS, GOOD, "https://mycompany.example")


def test_without_a_token_there_is_no_seal() -> None:
    with pytest.raises(GivenError, match="PROBETELL_SMS_TOKEN"):
        Seal(token="", public_url="https://mycompany.com")


@given(st.lists(st.tuples(st.text(min_size=1), st.text()), max_size=12))
def test_a_form_is_read_as_it_was_written(fields: list[tuple[str, str]]) -> None:
    def plain(text: str) -> str:
        return text.encode("utf-8", "replace").decode()

    written = [(plain(name), plain(value)) for name, value in fields]
    assert read_form(urlencode(written).encode()).multi_items() == written


@given(st.binary(max_size=200))
def test_any_body_is_a_form_or_refused(body: bytes) -> None:
    try:
        form = read_form(body)
    except GivenError:
        return
    assert all(isinstance(value, str) for _, value in form.multi_items())


@pytest.mark.parametrize("body", [b"a=%zz", b"a=%ff", b"\xff=1", b"a=%", b"&".join([b"a=1"] * 999)])
def test_a_broken_form_is_refused(body: bytes) -> None:
    with pytest.raises(GivenError):
        read_form(body)


def test_blank_values_and_order_are_kept() -> None:
    assert read_form(b"a=&b=2&a=3&c").multi_items() == [
        ("a", ""),
        ("b", "2"),
        ("a", "3"),
        ("c", ""),
    ]
