"""What a log may show of a number and of a path."""

from __future__ import annotations

import pytest

from service.lines.masking import masked, masked_path


@pytest.mark.parametrize(
    ("sender", "shown"),
    [
        ("+447700900312", "+44••••••••12"),
        ("+12015550123", "+12•••••••23"),
        ("60777", "•••••"),
        ("withheld", "wit•••ld"),
        ("", ""),
    ],
)
def test_numbers_are_masked(sender: str, shown: str) -> None:
    """
    A number's beginning and its last two digits are shown, of a short one nothing.
    """
    assert masked(sender) == shown
    assert len(shown) == len(sender)


@pytest.mark.parametrize(
    ("path", "shown"),
    [
        ("/lines/quay-line", "/lines/quay-line"),
        ("/lines/quay-line/kT4vR9wL", "/lines/quay-line/…"),
        ("/lines/quay-line/a/b", "/lines/quay-line/…"),
        ("/v1/replies", "/v1/replies"),
    ],
)
def test_secret_of_a_path_is_masked(path: str, shown: str) -> None:
    """
    What follows a line's name in a path is never shown.
    """
    assert masked_path(path) == shown
