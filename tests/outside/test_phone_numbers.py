"""Telephone numbers, against the number plans' published examples.

Sources:
- ITU-T E.164 (11/2010): at most 15 digits, country code and national number; `+` is presentation.
- google/libphonenumber, resources/PhoneNumberMetadata.xml at f7e3e88, Apache-2.0: the example
  number of each country's plan, fixed and mobile, and each national prefix.
- RFC 3966, 6: examples of `tel:` URIs; 4: which of them are equal.
- Numbers kept for fiction (NANPA 555-01xx; Ofcom 020 7946 0xxx, 07700 900xxx): from memory.
"""

from __future__ import annotations

import re

import pytest

from service.stays.phone_numbers import Look, NumberError, look, numbers_in, to_e164

# country: fixed, mobile
EXAMPLES = {
    "US": "+12015550123 +12015550123",
    "GB": "+441212345678 +447400123456",
    "IE": "+3532212345 +353850123456",
    "FR": "+33123456789 +33612345678",
    "DE": "+4930123456 +4915123456789",
    "ES": "+34810123456 +34612345678",
    "IT": "+390212345678 +393123456789",
    "AU": "+61212345678 +61412345678",
    "NZ": "+6432345678 +64211234567",
    "JP": "+81312345678 +819012345678",
    "IN": "+917410410123 +918123456789",
    "ZA": "+27101234567 +27711234567",
    "BR": "+551123456789 +5511961234567",
}


@pytest.mark.parametrize(("country", "numbers"), EXAMPLES.items())
def test_example_numbers(country: str, numbers: str) -> None:
    """
    Each plan's example number is itself in E.164, is at most 15 digits long, and is taken for a
    telephone when it sends.
    """
    for number in numbers.split():
        assert to_e164(number, country) == number
        assert re.fullmatch(r"\+[1-9]\d{1,14}", number)
        assert look(number, None, [country]) is Look.TELEPHONE


@pytest.mark.parametrize(
    ("country", "national", "number"),
    [
        # The national prefix 0 is dropped; where there is none nothing is; Italy's 0 stays.
        ("GB", "0121 234 5678", "+441212345678"),
        ("GB", "(0121) 234-5678", "+441212345678"),
        ("IE", "085 012 3456", "+353850123456"),
        ("FR", "06 12 34 56 78", "+33612345678"),
        ("DE", "030 123456", "+4930123456"),
        ("DE", "01512 3456789", "+4915123456789"),
        ("AU", "0412 345 678", "+61412345678"),
        ("NZ", "021 123 4567", "+64211234567"),
        ("JP", "090-1234-5678", "+819012345678"),
        ("ES", "612 34 56 78", "+34612345678"),
        ("IT", "02 1234 5678", "+390212345678"),
        ("IT", "312 345 6789", "+393123456789"),
        ("US", "(201) 555-0123", "+12015550123"),
        ("US", "1 201 555 0123", "+12015550123"),
        # The international prefix of the country that it is dialled from.
        ("GB", "00 49 30 123456", "+4930123456"),
        ("US", "011 49 30 123456", "+4930123456"),
        ("AU", "0011 49 30 123456", "+4930123456"),
        ("JP", "010 49 30 123456", "+4930123456"),
        # A zero written between brackets is not dialled from abroad.
        ("US", "+44 (0)121 234 5678", "+441212345678"),
    ],
)
def test_national_forms(country: str, national: str, number: str) -> None:
    """
    A number as the country dials it becomes its E.164 number.
    """
    assert to_e164(national, country) == number


@pytest.mark.parametrize(
    ("uri", "number"),
    [
        ("tel:+1-201-555-0123", "+12015550123"),  # RFC 3966, 6
        ("tel:201-555-0123;phone-context=+1", "+12015550123"),
        ("tel:+1-201-555-0123;isub=1411", "+12015550123"),
    ],
)
def test_tel_uris(uri: str, number: str) -> None:
    """
    RFC 3966 URIs of whole numbers are read.
    """
    assert to_e164(uri, "DE") == number


def test_visual_separators_do_not_count() -> None:
    """
    RFC 3966, 4 (and 5.1.1): numbers that differ in visual separators are equal.
    """
    written = ("tel:+1-201-555-0123", "tel:+1.201.(555)0123", "+1 201 555 0123")

    assert {to_e164(uri, None) for uri in written} == {"+12015550123"}


@pytest.mark.parametrize(
    ("text", "country"),
    [
        ("tel:7042;phone-context=example.com", "US"),  # RFC 3966, 6: a number of a company
        ("tel:863-1234;phone-context=+1-914-555", "US"),  # RFC 3966, 6: 914-555-863-1234
        ("+1234567890123456", None),  # E.164: 16 digits
        ("+999 123 456 789", None),  # no country code
        ("0121 234 5678", None),  # national, and no country to read it by
        ("112", "DE"),
        ("0121 234 567", "GB"),  # a digit short
        ("+41 44 668 18 00 x3", "CH"),
        ("tel:+41-44-668-18-00;ext=3", "CH"),  # RFC 3966, 3: an extension
        ("1-800-FLOWERS", "US"),
        ("not a number", "GB"),
        ("+1 900 234 5678", "US"),  # premium rate: metadata's example is 9002345678
        ("07700 900123", "GB"),  # kept for fiction: in no operator's hands
    ],
)
def test_no_numbers(text: str, country: str | None) -> None:
    """
    What no guest's telephone has is refused, with a way to mend it, and is not repeated.
    """
    with pytest.raises(NumberError, match=r"\w+; \w+") as raised:
        to_e164(text, country)
    assert text not in str(raised.value)


@pytest.mark.parametrize(
    ("sender", "what"),
    [
        ("withheld", Look.WITHHELD),
        ("", Look.WITHHELD),
        ("Lodge", Look.NAME),
        ("ΝΕΑ", Look.NAME),
        ("72345", Look.SHORT_CODE),
        ("112", Look.EMERGENCY),
        ("911", Look.SHORT_CODE),  # not in Germany
        ("1234567890", Look.IMPOSSIBLE),
        ("+4930123456", Look.OWN),
        ("+49110", Look.IMPOSSIBLE),
        ("+19002345678", Look.COSTLY),
        ("+4915123456789", Look.TELEPHONE),
    ],
)
def test_senders(sender: str, what: Look) -> None:
    """
    Only a number of some country's plan looks like a telephone.
    """
    assert look(sender, "+4930123456", ["DE"]) is what


@pytest.mark.parametrize(
    ("text", "numbers"),
    [
        ("Phone: 01512 3456789 (evenings)", ("+4915123456789",)),
        ("Tel +44 121 234 5678, or 01512 3456789", ("+441212345678", "+4915123456789")),
        ("Phone 01512 3456789 / +49 1512 3456789", ("+4915123456789",)),
        ("Last 4 digits: 6789", ()),
        ("Booking 4482913375, 2026-07-01 to 2026-07-04, 3 guests, 412.50", ()),
        ("", ()),
    ],
)
def test_numbers_in_a_text(text: str, numbers: tuple[str, ...]) -> None:
    """
    Whole numbers are found, each once; dates, prices and ends of numbers are none.
    """
    assert numbers_in(text, "DE") == numbers
