"""Pieces of long messages: by fields, and by the header in hex."""

from __future__ import annotations

import pytest

from service.lines.arrived import PieceOf
from service.lines.pieces import piece_of, piece_of_header


@pytest.mark.parametrize(
    ("header", "piece"),
    [
        # 3GPP TS 23.040, 9.2.3.24.1: element 00, length 03: reference, count, number.
        ("050003CC0201", PieceOf(reference="204", number=1, of=2)),
        ("050003cc0202", PieceOf(reference="204", number=2, of=2)),
        # 9.2.3.24.8: element 08, length 04: a reference of two octets.
        ("06080412340302", PieceOf(reference="4660", number=2, of=3)),
        # Another element before it (9.2.3.24.4: port numbers, 05).
        ("0B0504158200000003CC0201", PieceOf(reference="204", number=1, of=2)),
        # No concatenation, one piece of one, nothing at all.
        ("06050415820000", None),
        ("050003CC0101", None),
        ("", None),
    ],
)
def test_header(header: str, piece: PieceOf | None) -> None:
    """
    The header of concatenation tells reference, number and count.
    """
    assert piece_of_header(header) == piece


@pytest.mark.parametrize(
    ("header", "said"),
    [
        ("xyz", "in hex"),
        ("0500", "shorter than it says"),
        ("050003CC0203", "from 1"),
        ("050003CC0200", "from 1"),
        ("050003CC0000", "from 1"),
    ],
)
def test_bad_header(header: str, said: str) -> None:
    """
    What is no header, or counts beyond its count, is told and not guessed at.
    """
    with pytest.raises(ValueError, match=said):
        piece_of_header(header)


def test_fields() -> None:
    """
    Three fields tell the same; one piece of one, or no count at all, is a whole message.
    """
    assert piece_of("ref", "2", "3") == PieceOf(reference="ref", number=2, of=3)
    assert piece_of("ref", "1", "1") is None
    assert piece_of("", "", "") is None
    with pytest.raises(ValueError, match="whole numbers"):
        piece_of("ref", "two", "3")
    with pytest.raises(ValueError, match="at most 255"):
        piece_of("ref", "1", "256")
