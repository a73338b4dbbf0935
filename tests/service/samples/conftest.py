"""The served line of the lines' tests."""

from tests.service.lines.conftest import served

__all__ = ["served"]
