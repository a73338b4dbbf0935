"""How many segments a text takes, against the published rules and worked counts."""

from __future__ import annotations

from itertools import pairwise

import gsm0338
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.lines.segments import Encoding, count, plain, split

GSM, UCS = Encoding.GSM_7, Encoding.UCS_2

# 3GPP TS 23.038, 6.2.1, as quoted in alphagov/notifications-utils@a9af02a:sanitise_text.py.
BASIC = (
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
EXTENSION = "^{}\\[~]|€\f"  # 6.2.1.1; form feed from memory


def test_alphabet_is_the_published_one() -> None:
    """
    Each of the 127 characters of the default table takes a septet, each of the extension two.
    """
    assert len(BASIC) == 127
    assert {c: count(c).units for c in BASIC} == dict.fromkeys(BASIC, 1)
    assert {c: count(c).units for c in EXTENSION} == dict.fromkeys(EXTENSION, 2)
    assert {count(c).encoding for c in BASIC + EXTENSION} == {GSM}


@pytest.mark.parametrize("character", "çáíóúêâëï’“”–—…`\t\x1b😀")
def test_other_characters_need_ucs_2(character: str) -> None:
    """
    What is in neither table turns the whole text to UCS-2 (3GPP TS 23.038, 6.2.1 and 6.2.3).
    """
    assert count("a" * 69 + character).encoding is UCS


@pytest.mark.parametrize(
    ("text", "encoding", "units", "segments"),
    [
        # alphagov/notifications-utils@a9af02a:tests/test_template_types.py; the limits 160 and 153
        # are 3GPP TS 23.040, 9.2.3.16 and 9.2.3.24.1.
        *[("à" * n, GSM, n, s) for n, s in ((160, 1), (161, 2), (306, 2), (307, 3))],
        *[("à" * n, GSM, n, s) for n, s in ((612, 4), (613, 5), (918, 6), (919, 7))],
        *[("ÿ" * n, UCS, n, s) for n, s in ((70, 1), (71, 2), (134, 2), (135, 3))],
        *[("ÿ" * n, UCS, n, s) for n, s in ((268, 4), (269, 5), (402, 6), (403, 7))],
        ("^" * 80, GSM, 160, 1),
        ("^" * 81, GSM, 162, 2),
        ("a" * 158 + "|", GSM, 160, 1),
        ("a" * 159 + "|", GSM, 161, 2),
        ("a" * 304 + "[", GSM, 306, 2),
        ("a" * 304 + "[]", GSM, 308, 3),
        ("à" * 70 + "ÿ", UCS, 71, 2),
        # "An escape sequence is not split in the middle" (3GPP TS 23.040, 9.2.3.24.1): 76 pairs fit
        # into 153 septets, and one is left empty. Worked out by hand.
        ("€" * 152, GSM, 304, 2),
        ("€" * 153, GSM, 306, 3),
        ("a" * 152 + "€" + "a" * 152, GSM, 306, 3),
        ("a" * 151 + "€" + "a" * 153, GSM, 306, 2),
        # Two code units each, 33 pairs to 67 units; keeping them whole is common practice, no
        # source. Worked out by hand.
        *[("😀" * n, UCS, 2 * n, s) for n, s in ((35, 1), (36, 2), (66, 2), (67, 3))],
        # An empty message is a message; common practice, no source.
        ("", GSM, 0, 1),
    ],
)
def test_worked_counts(text: str, encoding: Encoding, units: int, segments: int) -> None:
    """
    Texts at the limits take as many segments as the standard gives them.
    """
    cost = count(text)

    assert (cost.encoding, cost.units, cost.segments) == (encoding, units, segments)


gsm_texts = st.text(st.sampled_from(BASIC + EXTENSION), max_size=700)
any_texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=300)


@given(gsm_texts)
def test_septets_are_the_bytes_of_the_codec(text: str) -> None:
    """
    The units of a GSM-7 text are the octets that the codec gsm0338 writes, one to a septet.
    """
    assert count(text).units == len(gsm0338.Codec().encode(text)[0])


@given(any_texts.filter(lambda text: count(text).encoding is UCS))
def test_ucs_2_units_are_those_of_utf_16(text: str) -> None:
    """
    The units of a UCS-2 text are those that Python's own codec writes in UTF-16.
    """
    assert count(text).units == len(text.encode("utf-16-be")) // 2


@given(st.one_of(gsm_texts, any_texts))
def test_split_loses_nothing_and_is_full(text: str) -> None:
    """
    The parts are the text; each keeps to its room, and the next character did not fit in.
    """
    parts = split(text)
    cost = count(text)
    gsm = cost.encoding is GSM
    alone, joined = (160, 153) if gsm else (70, 67)

    def units(part: str) -> int:
        return len(gsm0338.Codec().encode(part)[0] if gsm else part.encode("utf-16-be")[::2])

    assert "".join(parts) == text
    assert len(parts) == cost.segments
    if len(parts) == 1:
        assert units(text) <= alone
    else:
        assert units(text) > alone
        assert all(units(part) <= joined for part in parts)
        for part, after in pairwise(parts):
            assert units(part + after[0]) > joined


@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("Under the “blue” pot – that’s it…", 'Under the "blue" pot - that\'s it...'),
        ("Arrivée\xa0: 16\u202fh", "Arrivée : 16 h"),
        ("Le bouton «\xa0ÉCO\xa0»", 'Le bouton "ÉCO"'),
        ("1½ cups at 60 °C, 20 m²", "1 1/2 cups at 60 C, 20 m2"),
        ("half: ½ cup", "half: 1/2 cup"),
        ("soft\xadhyphen, zero\u200bwidth", "softhyphen, zerowidth"),
        # Composed: one character of the table instead of two that are not in it.
        ("cafe\u0301", "café"),
    ],
)  # fmt: skip
def test_plain_writes_signs_plainly(text: str, written: str) -> None:
    """
    What one would call the same character on a typewriter is written so, and costs GSM-7.
    """
    assert plain(text) == written
    assert count(written).encoding is GSM


@pytest.mark.parametrize("text", ["está “aquí”", "ça va…", "“Danke” 😀", "…" * 70])
def test_plain_leaves_what_gains_nothing(text: str) -> None:
    """
    Where a letter or an emoji needs UCS-2 anyway, or plain signs would cost more, nothing changes.
    """
    assert plain(text) == text


def test_one_stray_character_no_longer_doubles_the_cost() -> None:
    """
    150 letters and one typographic apostrophe are three segments as they are, and one plainly.
    """
    text = "a" * 149 + "’"

    assert count(text).segments == 3
    assert count(plain(text)).segments == 1


@given(any_texts)
def test_plain_never_costs_more_and_is_stable(text: str) -> None:
    """
    Writing plainly never costs a segment more, and doing it twice changes nothing.
    """
    once = plain(text)

    assert count(once).segments <= count(text).segments
    assert plain(once) == once
