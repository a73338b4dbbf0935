"""Askhouse's own sentences, by language; the facts say the rest."""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import files

from ruamel.yaml import YAML

__all__ = ["phrase", "phrases"]


@lru_cache(maxsize=1)
def phrases() -> dict[str, dict[str, str]]:
    """All phrases: name -> language -> text."""
    text = (files("askhouse.answer") / "phrases.yaml").read_text(encoding="utf-8")
    loaded: dict[str, dict[str, str]] = YAML(typ="safe").load(text)
    return loaded


def phrase(name: str, tongue: str, **fields: str) -> str:
    """One phrase in the language, or in English where there is none."""
    forms = phrases()[name]
    return forms.get(tongue, forms["en"]).format(**fields)
