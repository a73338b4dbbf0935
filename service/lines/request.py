"""A gateway's request, as both sides see it: ours that reads it, and a sample's that makes it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

__all__ = ["LineRequest"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LineRequest:
    """One HTTP request to a line.

    Attributes:
        query: Raw, without the question mark.
        headers: By name in lower case.
        path_secret: The part of the path after the line's name, if there is one.
    """

    method: str
    query: str = ""
    headers: Mapping[str, str] = field(default_factory=dict)
    body: bytes = b""
    path_secret: str | None = None
