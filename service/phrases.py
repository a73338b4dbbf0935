"""The service's own sentences, by language."""

from __future__ import annotations

from functools import lru_cache

from askhouse.packaged import read_yaml

__all__ = ["phrase", "phrases"]


@lru_cache(maxsize=1)
def phrases() -> dict[str, dict[str, str]]:
    """All phrases: name -> language -> text."""
    loaded: dict[str, dict[str, str]] = read_yaml("service", "phrases.yaml")
    return loaded


def phrase(name: str, tongue: str, **fields: str) -> str:
    """One phrase in the language, or in English where there is none."""
    forms = phrases()[name]
    return forms.get(tongue, forms["en"]).format(**fields)
