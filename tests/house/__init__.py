"""A house of eight facts, small enough to know by heart: where it is, and its two secrets."""

from __future__ import annotations

from pathlib import Path

__all__ = ["DOOR_CODE", "GROWN", "SECRETS", "SMALL", "WIFI_PASSWORD"]

SMALL = Path(__file__).parent / "small" / "ferry-lodge.yaml"
"""The house in the smallest form: one file."""

GROWN = Path(__file__).parent / "grown" / "ferry-lodge"
"""The same house as a folder with typed values, facts by topic, and a how-to note."""

WIFI_PASSWORD = "heron-lantern-52"
DOOR_CODE = "4826"
SECRETS = (WIFI_PASSWORD, DOOR_CODE)
