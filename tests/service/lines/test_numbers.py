"""Who wrote: numbers as E.164, hidden ones, short codes and names."""

from __future__ import annotations

import pytest

from service.lines.numbers import e164, sender_of


@pytest.mark.parametrize(
    ("raw", "country", "number"),
    [
        # google/libphonenumber@f7e3e88:resources/PhoneNumberMetadata.xml, example numbers, written
        # as their countries do; the national prefix goes, but Italy's 0 stays.
        ("+447400123456", "FR", "+447400123456"),
        ("07400 123456", "GB", "+447400123456"),
        ("+33 6 12 34 56 78", "GB", "+33612345678"),
        ("06 12 34 56 78", "FR", "+33612345678"),
        ("(201) 555-0123", "US", "+12015550123"),
        ("1 201 555 0123", "US", "+12015550123"),
        ("011 44 7400 123456", "US", "+447400123456"),
        ("0044 7400 123456", "DE", "+447400123456"),
        ("02 1234 5678", "IT", "+390212345678"),
        ("612 34 56 78", "ES", "+34612345678"),
        ("0412 345 678", "AU", "+61412345678"),
        # Without a plus, as gateways write them: common practice, no source.
        ("447400123456", "GB", "+447400123456"),
        ("33612345678", "GB", "+33612345678"),
        ("12015550123", "GB", "+12015550123"),
        # A plus that was not escaped in a query arrives as a space.
        (" 447400123456", "GB", "+447400123456"),
        # RFC 3966, 6.
        ("tel:+1-201-555-0123", "GB", "+12015550123"),
        # Marks of direction from a telephone's address book.
        ("\u202a+44 7400 123456\u202c", "GB", "+447400123456"),
        # Drama numbers (Ofcom, from memory) are in no number plan, and are still numbers.
        ("07700 900333", "GB", "+447700900333"),
    ],
)
def test_numbers_become_e164(raw: str, country: str, number: str) -> None:
    """
    A number is the same text however it is written (ITU-T E.164: country code and number).
    """
    assert sender_of(raw, country) == number


@pytest.mark.parametrize(
    "raw",
    ["", "  ", "anonymous", "Anonymous", "UNKNOWN", "Restricted", "private", "266696687", "0"],
)
def test_hidden_senders(raw: str) -> None:
    """
    What networks write for a hidden number is one word (common practice, no source).
    """
    assert sender_of(raw, "GB") == "withheld"


@pytest.mark.parametrize(
    ("raw", "country"),
    [
        ("60777", "GB"),  # a short code
        ("12345", "US"),
        ("112", "DE"),
        ("PARCELS", "GB"),  # an alphanumeric sender
        ("1-800-FLOWERS", "US"),
        ("someone@example.com", "GB"),
        ("+4412", "GB"),
        ("+1234567890123456", "GB"),  # 16 digits, one more than E.164 has
        ("tel:7042;phone-context=example.com", "GB"),  # RFC 3966, 6: local to a network
    ],
)
def test_what_is_no_number_stays_as_it_is(raw: str, country: str) -> None:
    """
    Short codes, names and what no number can be are kept, and never made into a number.
    """
    assert sender_of(raw, country) == raw
    assert e164(raw, country) is None


def test_long_names_are_cut() -> None:
    """
    A sender of any length fits its column.
    """
    assert sender_of("A" * 1_000, "GB") == "A" * 64
