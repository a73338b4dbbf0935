"""Which piece of a long message it is: in fields of the gateway's own, or in the header in hex."""

from __future__ import annotations

import binascii

from service.lines.arrived import PieceOf

__all__ = ["piece_of", "piece_of_header"]

MOST = 255  # pieces: 3GPP TS 23.040, 9.2.3.24.1, counts them in one octet
# 3GPP TS 23.040, 9.2.3.24: information elements of concatenation, and the octets of the reference.
_CONCATENATION = {0x00: 1, 0x08: 2}


def piece_of(reference: str, number: str, of: str) -> PieceOf | None:
    """The piece that three fields tell; None where the message is whole.

    Raises:
        ValueError: The numbers are none, or do not go together.
    """
    if not reference or not of or of == "1":
        return None
    if not (number.isdecimal() and of.isdecimal()):
        raise ValueError("number and of are whole numbers from 1")
    return _checked(reference, int(number), int(of))


def piece_of_header(header: str) -> PieceOf | None:
    """The piece that a user data header tells; None where it tells of none.

    Raises:
        ValueError: It is not hex, or shorter than it says.
    """
    try:
        octets = binascii.unhexlify(header.strip())
    except (binascii.Error, ValueError) as error:
        raise ValueError("a user data header is written in hex") from error
    if not octets:
        return None
    elements = octets[1 : 1 + octets[0]]
    if len(elements) < octets[0]:
        raise ValueError("the user data header is shorter than it says")
    while len(elements) >= 2:
        kind, length = elements[0], elements[1]
        content, elements = elements[2 : 2 + length], elements[2 + length :]
        octets_of_reference = _CONCATENATION.get(kind)
        if octets_of_reference and len(content) == octets_of_reference + 2:
            reference = int.from_bytes(content[:octets_of_reference], "big")
            of, number = content[-2], content[-1]
            return None if of == 1 else _checked(str(reference), number, of)
    return None


def _checked(reference: str, number: int, of: int) -> PieceOf:
    if not 1 <= number <= of <= MOST:
        raise ValueError(f"a piece has a number from 1 to the count of pieces, at most {MOST}")
    return PieceOf(reference=reference, number=number, of=of)
