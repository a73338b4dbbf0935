"""Emergency numbers, against the number plans that telephones themselves rely on.

Source: google/libphonenumber, resources/ShortNumberMetadata.xml at f7e3e88, Apache-2.0; the
`phonenumbers` package carries the same data. Its patterns accept more than one should show: they
take 112 in the United States, since networks redirect it. So they check a number, and choose none.
"""

from __future__ import annotations

import phonenumbers
import pytest

from askhouse.triage.guidance import guidance

# What is usually advised, by country.
ADVISED = {
    # Americas
    "US": "911",
    "CA": "911",
    "MX": "911",
    "BR": "190 192 193",
    "AR": "911 107 100 101",
    "CL": "131 132 133",
    "CO": "123",
    "PE": "105 116",
    "CR": "911",
    "DO": "911",
    "JM": "119 110 911",
    "BS": "911 919",
    # British Isles
    "GB": "999 112",
    "IE": "112 999",
    # European Union and European Economic Area: 112 everywhere (European Commission), and others
    "FR": "112 15 17 18",
    "DE": "112 110",
    "ES": "112",
    "PT": "112",
    "IT": "112",
    "AT": "112 133 144 122",
    "BE": "112",
    "NL": "112",
    "LU": "112 113",
    "DK": "112",
    "SE": "112",
    "NO": "110 112 113",
    "FI": "112",
    "IS": "112",
    "EE": "112",
    "LV": "112",
    "LT": "112",
    "PL": "112",
    "CZ": "112",
    "SK": "112",
    "HU": "112",
    "SI": "112 113",
    "HR": "112",
    "GR": "112",
    "CY": "112 199",
    "MT": "112",
    "RO": "112",
    "BG": "112",
    # Other Europe
    "CH": "112 117 118 144",
    "TR": "112",
    "UA": "112 101 102 103",
    "GE": "112",
    # Asia and the Pacific
    "AU": "000 112 106",
    "NZ": "111",
    "JP": "119 110",
    "KR": "119 112",
    "SG": "995 999",
    "HK": "999",
    "TW": "119 110",
    "IN": "112",
    "TH": "191 1669",
    "MY": "999",
    "ID": "112",
    "PH": "911",
    "VN": "113 114 115",
    # Africa and the Middle East
    "ZA": "10111 10177 112",
    "KE": "999 112",
    "MA": "19 15",
    "EG": "122 123 180",
    "AE": "999 998 997",
    "IL": "100 101 102",
}


@pytest.mark.parametrize(("country", "numbers"), ADVISED.items())
def test_advised_numbers_are_emergency_numbers(country: str, numbers: str) -> None:
    """
    Each number that is advised reaches the emergency services of its country.
    """
    for number in numbers.split():
        assert phonenumbers.is_emergency_number(number, country), number


@pytest.mark.parametrize(
    ("country", "number", "emergency"),
    [
        # 111 is health advice in the United Kingdom and the emergency number in New Zealand.
        ("GB", "111", False),
        ("NZ", "111", True),
        # In practice used in Morocco, but not in the number plan's pattern.
        ("MA", "150", False),
        ("MA", "190", False),
        # One country's number does not help in another.
        ("DE", "911", False),
        ("FR", "999", False),
        # Accepted, as networks redirect it; it is not what a guest should be shown there.
        ("US", "112", True),
    ],
)
def test_numbers_that_mislead(country: str, number: str, emergency: bool) -> None:
    """
    Where a number means something else, the number plan tells.
    """
    assert phonenumbers.is_emergency_number(number, country) is emergency


@pytest.mark.parametrize(("country", "line"), guidance().poison_lines.items())
def test_poison_lines_are_not_emergency_numbers(country: str, line: str) -> None:
    """
    A poison line stands beside the emergency number, never in its place.
    """
    digits = "".join(character for character in line if character.isdigit())

    assert not phonenumbers.is_emergency_number(digits, country)
