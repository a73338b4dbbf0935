"""Commands build whole assistants, and leave them behind in the tracebacks of their exits."""

from __future__ import annotations

import gc
from collections.abc import Iterator

import pytest


@pytest.fixture(autouse=True)
def models_are_closed() -> Iterator[None]:
    """Each test's models go with it; unswept, a run would hold gigabytes by its end."""
    yield
    gc.collect()
